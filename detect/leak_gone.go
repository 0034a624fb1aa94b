package detect

import (
	"fmt"
	"math"
	"time"
)

// gone is a closed tank's last pressure, too little for a leak to be told of by its size, that went while nobody logged
// anything. Hands may have let it off, or a leak took it: a question, for beer at no pressure takes up air.
type gone struct {
	Probe string    // whose gauge shows it; empty: none
	Asked time.Time // arrival
	Since time.Time // the end of the day in which the pressure stood
	From  float64   // kPa gauge, where it stood then
}

// lastDay is the newest day in which a closed tank's pressure stood, kept while the log knows of no act since: a gauge that
// reads nothing forgets the rest.
type lastDay struct {
	Day     headDay
	Closed  time.Time // since when the tank is closed, and no valve may have passed gas
	Nothing time.Time // since when nothing is left; zero: there is
}

// When the question is put (common practice).
const (
	goneFrom   = 8.0            // kPa over the air, at which the tank must have stood for a day ...
	goneSinks  = 0.2            // ... in whose second half it was lower by this share at most: gas that goes into the beer sinks on
	goneLeast  = 6.0            // kPa that went at like temperature: four deviations of rough weather (1.5 kPa)
	goneFor    = 6 * time.Hour  // that all is gone: after beer was drawn, gas comes back
	goneWithin = 48 * time.Hour // from the end of that day until it was
	goneHeard  = 0.3            // of the day's half hours that must have been heard: a gauge may speak each hour
)

// keepSteady takes in a finished block of a gauge: a day in which a closed tank's pressure stood, or that nothing is left.
func (t *Tank) keepSteady(c *gauge, b *balance, closed bool) {
	if !closed {
		c.Steady = lastDay{}
		return
	}
	lasted(&c.Steady.Closed, true, b.At)
	zero, share := t.state.Head.zero()+t.settings.AtmosphereKPa, t.headspaceShare()
	lasted(&c.Steady.Nothing, b.Level <= zero+airReach, b.At)
	if b.Level < zero+goneFrom {
		return
	}
	day, heard := c.mean(c.Last.At, dayWidth)
	if heard < goneHeard || day.KPa < zero+goneFrom || day.From.Before(Later(c.Steady.Closed, c.Since.Add(restsAfter))) {
		return
	}
	early, earlyHeard := c.mean(day.From.Add(dayWidth/2), dayWidth/2)
	late, lateHeard := c.mean(c.Last.At, dayWidth/2)
	if min(earlyHeard, lateHeard) < goneHeard {
		return
	}
	if early.at(late.Celsius, share)-late.KPa <= goneSinks*(day.KPa-zero) {
		c.Steady.Day = day
	}
}

// perhapsGone tells whether a tank that is taken for closed has lost what pressure it had, and nobody knows why.
func (t *Tank) perhapsGone(r Reading, c *gauge, b *balance) gone {
	book, h := &t.state.Book, &t.state.Head
	if c == nil || c.Steady.Day.From.IsZero() || c.Steady.Nothing.IsZero() || b.At.Sub(c.Steady.Nothing) < goneFor {
		return gone{}
	}
	day := c.Steady.Day
	since, turned := day.From.Add(dayWidth), math.Abs(day.Celsius-b.Celsius)
	went := day.at(b.Celsius, t.headspaceShare()) - b.Level - daysPerK*turned
	if went < goneLeast || turned > daysTurned || c.Steady.Nothing.Sub(since) > goneWithin {
		return gone{}
	}
	if book.Gas != GasClosed || book.Empty || t.fermenting() || book.HandsOn.After(since) {
		return gone{}
	}
	if h.Under != airSafe || t.faulty(r.Probe) || t.anotherHolds(r) {
		return gone{}
	}
	return gone{Probe: r.Probe, Asked: r.Arrived, Since: since, From: day.KPa - t.settings.AtmosphereKPa}
}

// anotherHolds tells whether another gauge shows that the tank has pressure yet.
func (t *Tank) anotherHolds(r Reading) bool {
	for name, b := range t.state.Balances {
		if name != r.Probe && !t.faulty(name) && r.Time.Sub(b.Gate.At) < gaugeLost && b.Gate.Value > t.state.Head.zero()+airReach {
			return true
		}
	}
	return false
}

// judgeGone takes the question back where any gauge shows pressure again, or there is no more to ask.
func (t *Tank) judgeGone(r Reading, closed bool) []Finding {
	switch {
	case t.state.Verdict.Active:
		return t.goneAnswered(r.Arrived, "its yeast works")
	case !closed:
		return t.goneAnswered(r.Arrived, "it is not closed")
	case r.Value > closedAgain && !t.faulty(r.Probe):
		return t.goneAnswered(r.Arrived, "it is back at "+t.pressure(r.Value))
	}
	return nil
}

// goneByLog takes it back where the log tells who moved gas in the day in which the pressure stood yet, or since. A sample
// is no answer: the beer gives back within hours what it took, and where it does not, its valve drips.
func (t *Tank) goneByLog(e Event) []Finding {
	g, book := t.state.Head.Gone, &t.state.Book
	moved := movesGas(e.Name) && e.Name != "sample" && !e.Time.Before(g.Since.Add(-dayWidth))
	worked := e.Name == "work" && book.HandsOn.After(g.Since)
	if moved || worked || book.Empty || t.fermenting() {
		return t.goneAnswered(e.Arrived, "log: "+e.Name)
	}
	return nil
}

// goneAnswered takes the question back, if it stands.
func (t *Tank) goneAnswered(at time.Time, why string) []Finding {
	h := &t.state.Head
	if h.Gone.Probe == "" {
		return nil
	}
	h.Gone = gone{}
	t.daysAnew(at)
	return []Finding{{
		Alarm: Leak, Priority: Low, Time: at, Summary: fmt.Sprintf("%s: no longer asked where its head pressure went (%s)", t.name, why),
	}}
}

// goneFinding puts the question into words.
func (t *Tank) goneFinding(r Reading) Finding {
	g, value, first := t.state.Head.Gone, r.Value, ""
	if drawn := t.drawnSince(g.Since.Add(-nearOnset)); !drawn.IsZero() {
		first = ", first at the valve of the sample of " + t.clock(drawn)
	}
	return Finding{
		Alarm: Leak, Active: true, Priority: Low, Time: r.Arrived, Onset: g.Since,
		Evidence: Evidence{
			PressureKPa: &value,
			Witnesses:   []string{fmt.Sprintf("%s: %s, and %s in the day until %s", r.Probe, t.pressure(value), t.pressure(g.From), t.clock(g.Since))},
			RuledOut:    []string{"cooling: allowed for"},
		},
		Summary: fmt.Sprintf("%s: closed as far as spile knows, but head pressure went from %s to %s since about %s: was it opened? Then log it as a vent, with its time; if not, look for the leak%s",
			t.name, t.pressure(g.From), t.pressure(value), t.clock(g.Since), first),
	}
}

// drawnSince is when beer was last drawn by hand since a moment, by the log: sampled, or its gravity read.
func (t *Tank) drawnSince(from time.Time) (newest time.Time) {
	for _, e := range InForce(t.state.Acts.Lines) {
		if (e.Name == "sample" || e.Name == "gravity") && !e.Time.Before(from) {
			newest = Later(newest, e.Time)
		}
	}
	return newest
}
