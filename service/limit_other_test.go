//go:build !unix

package service

func limitChild() error { return nil }
