package detect

import (
	"fmt"
	"maps"
	"math"
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
	Back    time.Time // since when one is fresh again; zero: none is
	Rising  bool
	KPa     float64 // by how much it had risen when that was told
}

// When it is believed (common practice).
const (
	loneAfter   = 3 * time.Hour  // without a thermometer: most come back sooner
	loneSettles = 48 * time.Hour // after a setpoint that nobody has seen the beer reach
	loneUnder   = 1.0            // K from its setpoint, further than which beer is on its way there
	loneCelsius = 14.0           // of beer whose temperature was never heard: solubility alone hangs on it, not what is looked for
	loneDoubt   = 6.0            // nats more than beside a thermometer: thermostats swing
	loneStood   = 12             // hours of points whose middle is where the beer stood
	loneKept    = 6 * time.Hour  // after a thermometer is back, until the gauge that it serves has taken over; one word is not enough
	loneMoved   = 0.5            // K, of beer that has moved so far it begins anew
	loneLost    = 24 * time.Hour // without the gauge itself
)

// takeLone follows a head pressure while no thermometer is heard, and for some hours after.
func (t *Tank) takeLone(r Reading) []Finding {
	a := t.state.Lone[r.Probe]
	celsius, fresh := t.temperatureAsOf(r.Time, warmthGood)
	if a == nil && fresh {
		return nil
	}
	last, was := t.state.Beer.Gate.until(r.Time), t.loneRises()
	switch {
	case !fresh && t.onItsWay(last, r.Time):
		delete(t.state.Lone, r.Probe)
		return t.loneOver(was, r.Arrived, "the log has a new setpoint, which nobody has seen it reach")
	case a == nil:
		a = t.beginLone(r, last)
		t.state.Lone[r.Probe] = a
	}
	if why := a.servedBy(celsius, fresh, r.Time, t.headspaceShare()); why != "" {
		delete(t.state.Lone, r.Probe)
		return t.loneOver(was, r.Arrived, why)
	}
	c := a.Gauge
	if t.standsOpen(r.Value) {
		c.act(r.Time)
	}
	complete := c.take(r.Time, r.Value+t.settings.AtmosphereKPa, a.Celsius, t.reliefBand()) // nothing misreads what is taken to stand
	room := capacity(a.Celsius, t.headspaceShare())
	if complete {
		c.heardAir(&t.state.Air)
		c.judge(t.headspaceShare(), room/t.co2PerPlato(), t.restLags(a.Celsius))
	}
	unheard := r.Time.Sub(Later(last.At, a.Since)) >= loneAfter
	if unheard && c.Hands.After(a.Since) && t.state.Head.Rising { // the balance that told it hears of it no more
		t.state.Head.Rising, was = false, true
	}
	if a.Rising || was && !t.loneRises() {
		a.Rising = a.Rising && c.Score >= bothScore && !t.state.Verdict.Active
		return t.loneOver(was, r.Arrived, t.whyOver())
	}
	kPa := c.Rise.Depth * t.co2PerPlato() / room
	if !complete || fresh || !unheard || kPa < riseUnexplained || !t.mayClimb(c) || c.Score < t.gaugeNeeded(c)+loneDoubt {
		return nil
	}
	a.Rising, a.KPa = true, kPa
	if was || t.state.Head.Rising { // a rise that was told is the same
		return nil
	}
	return []Finding{t.loneFinding(r, c.Rise.Onset.Add(-gaugeBehind))}
}

// sent tells whether beer was sent to a setpoint that nobody has seen it reach.
func (t *Tank) sent(last sample) bool {
	b := &t.state.Book
	return b.HasSetpoint && (b.SetAt.After(last.At) || math.Abs(last.Value-b.Setpoint) > loneUnder)
}

// onItsWay tells whether it may not be there yet.
func (t *Tank) onItsWay(last sample, at time.Time) bool {
	return t.sent(last) && at.Sub(t.state.Book.SetAt) < loneSettles
}

// beginLone takes over what the gauge has seen, unless beer was sent elsewhere since its temperature was known.
func (t *Tank) beginLone(r Reading, last sample) *lone {
	known, a, sent := t.state.Gauges[r.Probe], &lone{Gauge: newGauge(), Celsius: loneCelsius, Since: r.Time}, t.sent(last)
	switch {
	case sent:
		a.Celsius = t.state.Book.Setpoint
	case !last.At.IsZero():
		a.Celsius = last.Value
	}
	if known != nil {
		a.Gauge.Open = known.Open.goesOn()
	}
	if known == nil || len(known.Points) == 0 || sent {
		return a
	}
	*a.Gauge = *known
	a.Gauge.Points, a.Gauge.Lifts = slices.Clone(known.Points), slices.Clone(known.Lifts)
	a.Gauge.Block.Values, a.Gauge.Block.Temps = slices.Clone(known.Block.Values), slices.Clone(known.Block.Temps)
	a.Gauge.Days, a.Gauge.Was = headDays{}, nil
	var stood []float64
	for _, p := range known.Points[max(0, len(known.Points)-loneStood*int(time.Hour/gaugeWidth)):] {
		stood = append(stood, p.Celsius)
	}
	a.Celsius = median(stood)
	return a
}

// servedBy follows the thermometer that is back, and says why a gauge is no longer alone; nothing where it still is.
func (a *lone) servedBy(celsius float64, fresh bool, at time.Time, headspaceShare float64) string {
	if !fresh {
		a.Back = time.Time{}
		return ""
	}
	if a.Back.IsZero() {
		a.Back = at
	}
	newest := a.Gauge.Last.Value
	warmth := newest * (1 - capacity(celsius, headspaceShare)/capacity(a.Celsius, headspaceShare))
	switch {
	case a.Rising && warmth >= a.KPa-riseDeadband:
		return "a thermometer is heard again: the beer has warmed, which explains it"
	case at.Sub(a.Back) >= loneKept:
		return "a thermometer has been heard again for hours, and tells yeast from warmth"
	case !a.Rising && math.Abs(celsius-a.Celsius) > loneMoved:
		return "the beer has moved"
	}
	return ""
}

// waitsForSetpoint is how long beer that nobody sees is given yet to reach its setpoint; zero: it is seen, or was given it.
func (t *Tank) waitsForSetpoint() time.Duration {
	last, now := t.state.Drift.Gate.until(t.state.Now), t.state.Now
	if now.Sub(last.At) < loneAfter || !t.onItsWay(last, now) {
		return 0
	}
	return loneSettles - now.Sub(t.state.Book.SetAt)
}

// judgesAlone tells whether a gauge has been without a thermometer for long enough.
func (t *Tank) judgesAlone(probe string) bool {
	a := t.state.Lone[probe]
	return a != nil && t.state.Now.Sub(Later(a.Since, t.state.Drift.Gate.At)) >= loneAfter
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

// loneFinding puts a climb into words.
func (t *Tank) loneFinding(r Reading, onset time.Time) Finding {
	value := r.Value
	return Finding{
		Alarm: PressureRise, Active: true, Time: r.Arrived, Onset: onset,
		Evidence: Evidence{
			PressureKPa: &value,
			Witnesses:   []string{fmt.Sprintf("%s: %s; no thermometer is heard", r.Probe, t.pressure(value))},
			RuledOut:    []string{"gas that comes to rest after work, and the weather: both allowed for. Beer that warms is not"},
		},
		Summary: fmt.Sprintf("%s: head pressure is at %s, rising since about %s, and no thermometer is heard: beer that warms, or that works again. Read its temperature first, then gravity",
			t.name, t.pressure(value), t.clock(onset)),
	}
}

// loneOver tells that no such climb stands any longer, where one did.
func (t *Tank) loneOver(was bool, at time.Time, why string) []Finding {
	if !was || t.loneRises() || t.state.Head.Rising {
		return nil
	}
	return []Finding{{Alarm: PressureRise, Time: at, Summary: fmt.Sprintf("%s: head pressure is watched for a rise as before: %s", t.name, why)}}
}

// whyOver says why a climb is over that no thermometer had a part in.
func (t *Tank) whyOver() string {
	switch {
	case t.state.Verdict.Active:
		return "the beer is held to be fermenting again"
	case t.isOpen():
		return "the tank is open"
	}
	return "the climb is over, or gas was moved"
}

// leaveLone lets go of a gauge that was moved.
func (t *Tank) leaveLone(probe string, at time.Time) []Finding {
	was := t.loneRises()
	delete(t.state.Lone, probe)
	return t.loneOver(was, at, "the gauge was moved")
}

// loseLone lets go of the gauges that are themselves not heard any longer.
func (t *Tank) loseLone(at time.Time) []Finding {
	if len(t.state.Lone) == 0 {
		return nil
	}
	was := t.loneRises()
	maps.DeleteFunc(t.state.Lone, func(_ string, a *lone) bool {
		return at.Sub(Later(a.Gauge.Last.At, a.Since)) >= loneLost
	})
	return t.loneOver(was, at, "its gauge has not been heard for a day")
}
