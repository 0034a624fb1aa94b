package config

import (
	"spile/alert"
	"spile/detect"
	"spile/ingest"
)

// Settings is what the detectors are told of a tank, named in the file or not.
func (c Config) Settings(tank string) detect.Settings {
	t := c.Tanks[tank]
	s := detect.Settings{
		BeerLiters: t.BeerLiters, HeadspaceLiters: t.HeadspaceLiters, ReliefKPa: t.ReliefKPa, Sealed: t.Sealed, GasGroup: t.GasGroup,
		AtmosphereKPa: c.AtmosphereKPa, At: map[string]detect.Place{}, Display: c.Display, Zone: c.Zone,
	}
	for name, p := range c.Probes {
		if p.At != "" {
			s.At[name] = p.At
		}
	}
	s.FalseCallsPerTankYear = orZero(c.Alarms[detect.Refermentation].FalseCalls)
	s.DriftAbove = orZero(c.Alarms[detect.CrashDrift].Above)
	s.DriftBelow = orZero(c.Alarms[detect.CrashDrift].Below)
	return s
}

// orZero is the figure, or the zero that stands for the default.
func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// Decoder is what the decoder is told: the sources and the corrections of probes.
func (c Config) Decoder() ingest.DecoderOptions {
	o := ingest.DecoderOptions{Sources: c.Sources, Probes: map[string]ingest.Correction{}}
	for name, p := range c.Probes {
		o.Probes[name] = ingest.Correction{Calibration: p.Calibration, Offset: p.Offset, Line: p.Line, From: p.From}
	}
	return o
}

// Policy is who is told of what, and when. A call goes on for as long as nobody answers only where messages carry a
// link to answer by.
func (c Config) Policy() alert.Policy {
	p := alert.Policy{
		Public: c.HTTP.Public != "" && c.HTTP.Token != "",
		Wake:   alert.Wake(c.Alarms[detect.Refermentation].Wake),
	}
	for _, w := range c.Webhooks {
		hook := alert.Webhook{
			Name: w.Name, Priority: w.Priority, Days: w.Days, Repeat: w.Repeat, Then: w.Then, After: w.After, Report: w.Report,
		}
		if w.Hours != nil {
			hook.Hours = alert.Hours{From: w.Hours.From, To: w.Hours.To}
		}
		p.Webhooks = append(p.Webhooks, hook)
	}
	return p
}
