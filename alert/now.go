package alert

import (
	"slices"
	"strings"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// Now is how the figures of an alarm stand at present. Its summary and its evidence are of the newest finding: when it was
// called, grew worse, or passed the limit that it was on its way to; hours later a person wants to know whether it goes on.
type Now struct {
	Time                time.Time        `json:"time"` // of the oldest of these readings
	GravitySG           *float64         `json:"gravity_sg,omitempty"`
	TemperatureCelsius  *float64         `json:"temperature_celsius,omitempty"`
	SetpointCelsius     *float64         `json:"setpoint_celsius,omitempty"`
	PressureKPa         *float64         `json:"pressure_kpa,omitempty"`
	ReliefKPa           *float64         `json:"relief_kpa,omitempty"`
	CO2GramsPerLiterDay *detect.Interval `json:"co2_grams_per_liter_day,omitempty"`
}

// nowOf takes the figures that an alarm is about out of its tank's; nil where it is about none, or none was read.
func nowOf(a detect.Alarm, s detect.Status) *Now {
	var n Now
	take := func(q detect.Quantity) *float64 {
		latest, known := s.Last[q]
		if !known {
			return nil
		}
		if n.Time.IsZero() || latest.Time.Before(n.Time) {
			n.Time = latest.Time
		}
		return &latest.Value
	}
	switch a {
	case detect.Refermentation:
		n.GravitySG, n.PressureKPa, n.CO2GramsPerLiterDay = take(detect.Gravity), take(detect.Pressure), s.CO2Rate
	case detect.NotFinished:
		n.GravitySG = take(detect.Gravity)
	case detect.CrashDrift:
		n.TemperatureCelsius, n.SetpointCelsius = take(detect.Temperature), s.SetpointCelsius
	case detect.FreezeRisk:
		n.TemperatureCelsius = take(detect.Temperature)
	case detect.OverPressure, detect.PressureRise, detect.Vacuum, detect.Leak:
		n.PressureKPa = take(detect.Pressure)
		if worst := worstGauge(a, s); worst != nil {
			n.PressureKPa, n.Time = &worst.Value, worst.Time
		}
		if a == detect.OverPressure && s.ReliefKPa > 0 {
			n.ReliefKPa = &s.ReliefKPa
		}
	}
	if n.Time.IsZero() {
		return nil
	}
	return &n
}

// gaugesTogether is how far apart two gauges may be read to speak of the same pressure: a gauge that speaks each hour is
// one of them.
const gaugesTogether = 90 * time.Minute

// worstGauge is of several gauges in one tank the one that the vessel is most in danger by; nil for other alarms, and where
// there is one gauge. The newest reading may be of the other, and would tell somebody at night that it is over.
func worstGauge(a detect.Alarm, s detect.Status) *detect.Latest {
	if a != detect.OverPressure && a != detect.Vacuum || len(s.Gauges) < 2 {
		return nil
	}
	newest := s.Last[detect.Pressure] // which may not be believed yet
	worst := &newest
	for _, g := range s.Gauges {
		out := slices.ContainsFunc(s.Probes, func(p detect.ProbeStatus) bool { return p.Probe == g.Probe && p.Out })
		if out || newest.Time.Sub(g.Time) > gaugesTogether {
			continue
		}
		if (g.Value > worst.Value) == (a == detect.OverPressure) {
			worst = &g
		}
	}
	return worst
}

// Now writes the figures of now in one line.
func (w Words) Now(n Now) string {
	var parts []string
	if n.GravitySG != nil {
		parts = append(parts, "gravity "+show(*n.GravitySG, w.Display.Gravity, beer.KindGravity))
	}
	if n.TemperatureCelsius != nil {
		parts = append(parts, w.pair("beer ", *n.TemperatureCelsius, ", setpoint ", n.SetpointCelsius, w.Display.Temperature, beer.KindTemperature))
	}
	if n.PressureKPa != nil {
		parts = append(parts, w.pair("head ", *n.PressureKPa, ", relief valve ", n.ReliefKPa, w.Display.Pressure, beer.KindPressure))
	}
	if n.CO2GramsPerLiterDay != nil {
		parts = append(parts, "CO2 made "+show(n.CO2GramsPerLiterDay.Value, "", beer.KindCO2)+" a day")
	}
	return strings.Join(parts, ", ")
}

// Began is since when an alarm is said to be, wherever people read of it: since its onset, or where that is not known
// since it was called.
func (i Incident) Began() time.Time { return began(i.Onset, i.Since) }

func began(onset, called time.Time) time.Time {
	if onset.IsZero() {
		return called
	}
	return onset
}
