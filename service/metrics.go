package service

import (
	"rhizostat/policy"
	"rhizostat/service/desk"
	"rhizostat/service/wire"
)

type metrics struct{}

func newMetrics() *metrics { return &metrics{} }

func (m *metrics) Dryback(site string, share float64)                            {}
func (m *metrics) SetAside(site, zone string)                                    {}
func (m *metrics) Refused(reason string)                                         {}
func (m *metrics) Received(err error)                                            {}
func (m *metrics) Moved(move *wire.Move)                                         {}
func (m *metrics) Advised(a *wire.AdviceRecord)                                  {}
func (m *metrics) Decided(r *wire.Result)                                        {}
func (m *metrics) Zone(zone int, site, id string, s *policy.State, d *desk.Desk) {}
