package config

import (
	"time"

	"go.yaml.in/yaml/v4"

	"spile/alert"
	"spile/detect"
	"spile/detect/beer"
	"spile/ingest"
)

// Limits of what is told of a tank or a probe, inside units: common practice,
// wide enough for any small brewery. They catch a wrong unit.
const (
	smallestVolume = 1       // L
	largestVolume  = 200_000 // L
	lowestRelief   = 20      // kPa gauge: less was meant in psi
	highestRelief  = 400     // kPa gauge

	largestGravityOffset     = 0.02 // SG
	largestTemperatureOffset = 10   // K
	largestPressureOffset    = 50   // kPa

	lightestSolution = 0.980 // SG
	densestSolution  = 1.200 // SG

	smallestDrift = 0.1 // K
	largestDrift  = 10  // K

	longestVesselDelay = 10 * time.Minute // of the alarms that guard the vessel itself
)

func (r *reader) tank(c *Config) func(at, name string, n *yaml.Node) {
	return func(at, name string, n *yaml.Node) {
		var t Tank
		r.mapping(map[string]take{
			"beer":      value(r, &t.BeerLiters, amount(beer.KindVolume, smallestVolume, largestVolume)),
			"headspace": value(r, &t.HeadspaceLiters, amount(beer.KindVolume, smallestVolume, largestVolume)),
			"relief":    value(r, &t.ReliefKPa, amount(beer.KindPressure, lowestRelief, highestRelief)),
			"sealed":    value(r, &t.Sealed, truth),
			"gas-group": value(r, &t.GasGroup, named),
		})(at, n)
		c.Tanks[name] = t
	}
}

func (r *reader) probe(c *Config) func(at, name string, n *yaml.Node) {
	return func(at, name string, n *yaml.Node) {
		var p Probe
		var gravity, temperature, pressure *float64
		r.mapping(map[string]take{
			"at":          value(r, &p.At, oneOf(detect.Head, detect.Bottom, detect.Top, detect.Middle, detect.Cone, detect.Outside)),
			"calibration": optional(r, &p.Calibration, amount(beer.KindTemperature, 0, 40)),
			"offset": r.mapping(map[string]take{
				"gravity":     optional(r, &gravity, amount(beer.KindGravity, -largestGravityOffset, largestGravityOffset)),
				"temperature": optional(r, &temperature, amount(beer.KindDifference, -largestTemperatureOffset, largestTemperatureOffset)),
				"pressure":    optional(r, &pressure, amount(beer.KindPressure, -largestPressureOffset, largestPressureOffset)),
			}),
			"solutions": r.list(r.solution(&p)),
			"from":      value(r, &p.From, instant),
		})(at, n)
		r.fit(at, &p)
		for q, offset := range map[detect.Quantity]*float64{detect.Gravity: gravity, detect.Temperature: temperature, detect.Pressure: pressure} {
			if offset != nil {
				if p.Offset == nil {
					p.Offset = map[detect.Quantity]float64{}
				}
				p.Offset[q] = *offset
			}
		}
		c.Probes[name] = p
	}
}

// solution reads one known solution that a hydrometer was dipped in.
func (r *reader) solution(p *Probe) func(at string, n *yaml.Node) {
	return func(at string, n *yaml.Node) {
		var reads, is *float64
		gravity := amount(beer.KindGravity, lightestSolution, densestSolution)
		r.mapping(map[string]take{"reads": optional(r, &reads, gravity), "is": optional(r, &is, gravity)})(at, n)
		if reads == nil || is == nil {
			r.faultAt(at, "%s: a solution needs reads and is: {reads: 1.0012, is: 1.000}", at)
			return
		}
		p.Solutions = append(p.Solutions, ingest.Solution{Reads: *reads, Is: *is})
	}
}

// fit lays the line through a probe's solutions.
func (r *reader) fit(at string, p *Probe) {
	if len(p.Solutions) == 0 {
		return
	}
	line, err := ingest.FitSolutions(p.Solutions)
	if err != nil {
		r.faultAt(at+".solutions", "%s.solutions: %v", at, err)
		return
	}
	p.Line = &line
}

// alarmNames lists the alarms that a rule can be given for.
func alarmNames() []detect.Alarm {
	return []detect.Alarm{
		detect.Refermentation, detect.CrashDrift, alert.CoolingPlant, detect.PressureRise, detect.OverPressure, detect.Vacuum, detect.Leak,
		detect.FreezeRisk, detect.NotFinished, detect.ProbeSilent, detect.ProbeFault, detect.HopCharge, detect.GravityCheck, detect.LinkLost,
		alert.WebhookFailing, alert.JournalStopped, alert.JournalDisk, alert.JournalDamaged, alert.InfluxBehind, alert.InfluxMissed, alert.ProbeFlood,
	}
}

func (r *reader) alarms(c *Config) take {
	known := map[string]take{}
	for _, alarm := range alarmNames() {
		known[string(alarm)] = r.alarm(c, alarm)
	}
	return r.mapping(known)
}

// alarm reads the rule of one alarm. The keys that only one alarm has are not
// known to the others.
func (r *reader) alarm(c *Config, alarm detect.Alarm) take {
	return func(at string, n *yaml.Node) {
		var rule AlarmRule
		known := map[string]take{
			"on_delay":  optional(r, &rule.OnDelay, span(0, day)),
			"off_delay": optional(r, &rule.OffDelay, span(0, day)),
		}
		switch alarm {
		case detect.CrashDrift:
			known["above"] = optional(r, &rule.Above, amount(beer.KindDifference, smallestDrift, largestDrift))
			known["below"] = optional(r, &rule.Below, amount(beer.KindDifference, smallestDrift, largestDrift))
		case detect.Refermentation:
			known["false_calls"] = optional(r, &rule.FalseCalls, falseCalls)
			known["wake"] = value(r, &rule.Wake, oneOf("always", "near"))
		}
		r.mapping(known)(at, n)
		vessel := alarm == detect.OverPressure || alarm == detect.Vacuum
		if vessel && rule.OnDelay != nil && *rule.OnDelay > longestVesselDelay {
			r.faultAt(at+".on_delay", "%s.on_delay: %s is too long to wait while a vessel is in danger: at most %s",
				at, length(*rule.OnDelay), length(longestVesselDelay))
		}
		c.Alarms[alarm] = rule
	}
}
