package main

type checkCommand struct{}
type reportCommand struct{}
