package detect

import (
	"fmt"
	"slices"
	"time"
)

// A gauge beside which no thermometer is heard goes on alone: the beer is taken to stand where it stood. A climb is then
// beer that works or beer that warms, and nobody can tell which; either is worth a look, so that it is told as a rise of
// pressure and never as creep. The gauge that the thermometer serves is left as it was, for when that is back.

// lone is such a gauge.
type lone struct {
	Gauge   *gauge
	Celsius float64   // where the beer is taken to stand
	Since   time.Time // the first reading beside which no temperature was fresh
	Rising  bool
}

// When it is believed, and what is said of it (common practice).
const (
	loneAfter   = 3 * time.Hour // without a thermometer, from when on it is said: most come back sooner
	loneSettles = 48 * time.Hour
	loneCelsius = 14.0 // of beer whose temperature was never heard: solubility alone hangs on it, not what is looked for
	loneDoubt   = 6.0  // nats more than beside a thermometer: thermostats swing
	loneStood   = 12   // hours of points whose middle is where the beer stood
)

// takeLone follows a head pressure while no thermometer is heard.
func (t *Tank) takeLone(r Reading) []Finding {
	b, last, a := &t.state.Book, t.state.Drift.Gate.until(r.Time), t.state.Lone[r.Probe]
	_, fresh := t.state.Drift.asOf(r.Time, warmthGood)
	switch {
	case fresh:
		return t.endLone(r, "a thermometer is heard again, and tells yeast from warmth")
	case b.SetAt.After(last.At) && r.Time.Sub(b.SetAt) < loneSettles: // it is being warmed or cooled, nobody sees how far
		return t.endLone(r, "the log has a new setpoint")
	case a == nil:
		a = t.beginLone(r, last)
		t.state.Lone[r.Probe] = a
	}
	c := a.Gauge
	if t.standsOpen(r.Value) {
		c.act(r.Time)
	}
	if !c.take(r.Time, r.Value+t.settings.AtmosphereKPa, a.Celsius, t.reliefBand()) {
		return nil
	}
	room := capacity(a.Celsius, t.headspaceShare())
	c.judge(t.headspaceShare(), room/t.co2PerPlato(), relaxLags())
	kPa := c.Rise.Depth * t.co2PerPlato() / room
	was := t.loneRises()
	if a.Rising {
		a.Rising = c.Score >= bothScore && !t.state.Verdict.Active
	} else if kPa >= riseUnexplained && t.mayClimb(c) {
		a.Rising = c.Score >= t.gaugeNeeded(c)+loneDoubt
	}
	if t.loneRises() == was {
		return nil
	}
	why := "the climb is over, or gas was moved"
	if t.state.Verdict.Active {
		why = "the beer is held to be fermenting again"
	}
	return t.loneFinding(r, a.Rising, c.Rise.Onset.Add(-gaugeBehind), why)
}

// beginLone takes over what the gauge has seen, unless beer was sent to another setpoint since its temperature was known.
func (t *Tank) beginLone(r Reading, last sample) *lone {
	known, a := t.state.Gauges[r.Probe], &lone{Gauge: newGauge(), Celsius: loneCelsius, Since: r.Time}
	if !last.At.IsZero() {
		a.Celsius = last.Value
	}
	if known == nil || len(known.Points) == 0 || t.state.Book.SetAt.After(last.At) {
		return a
	}
	*a.Gauge = *known
	a.Gauge.Points, a.Gauge.Lifts = slices.Clone(known.Points), slices.Clone(known.Lifts)
	var stood []float64
	for _, p := range known.Points[max(0, len(known.Points)-loneStood*int(time.Hour/gaugeWidth)):] {
		stood = append(stood, p.Celsius)
	}
	a.Celsius = median(stood)
	return a
}

// endLone leaves a gauge to its thermometer.
func (t *Tank) endLone(r Reading, why string) []Finding {
	was := t.loneRises()
	delete(t.state.Lone, r.Probe)
	if !was || t.loneRises() {
		return nil
	}
	return t.loneFinding(r, false, time.Time{}, why)
}

// judgesAlone tells whether a gauge has been without a thermometer for long enough.
func (t *Tank) judgesAlone(probe string) bool {
	a := t.state.Lone[probe]
	return a != nil && t.state.Now.Sub(a.Since) >= loneAfter
}

// loneRises tells whether some gauge's climb is told for which no thermometer answers.
func (t *Tank) loneRises() bool {
	for _, a := range t.state.Lone {
		if a.Rising {
			return true
		}
	}
	return false
}

// loneFinding puts a climb, or its end, into words. A rise that was told before the thermometer fell silent is the same.
func (t *Tank) loneFinding(r Reading, rising bool, onset time.Time, why string) []Finding {
	if t.state.Head.Rising {
		return nil
	}
	value := r.Value
	f := Finding{
		Alarm: PressureRise, Active: rising, Time: r.Arrived, Onset: onset,
		Evidence: Evidence{
			PressureKPa: &value,
			Witnesses:   []string{fmt.Sprintf("%s: %s; no thermometer is heard", r.Probe, t.pressure(value))},
			RuledOut:    []string{"gas that comes to rest after work, and the weather: both allowed for. Beer that warms is not"},
		},
		Summary: fmt.Sprintf("%s: head pressure is at %s, rising since about %s, and no thermometer is heard: beer that warms, or that works again. Read its temperature first, then gravity",
			t.name, t.pressure(value), t.clock(onset)),
	}
	if !rising {
		f.Evidence.Witnesses, f.Evidence.RuledOut = nil, nil
		f.Summary = fmt.Sprintf("%s: head pressure %s is watched for a rise as before: %s", t.name, t.pressure(value), why)
	}
	return []Finding{f}
}
