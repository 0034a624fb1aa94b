package detect

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect/beer"
)

// finish is whether people went on with a beer whose gravity was still moving.
type finish struct {
	Since time.Time // own time of the act; zero: nothing of the kind
	Act   string    // as the log names it
}

// When gravity is held to be moving still (common practice: a beer is done when
// it has stood for two or three days).
const (
	movingLeast       = 12         // hourly points, below which a float shows nothing
	movingShort       = 36         // below which it must be surer: its noise is hardly learned
	movingMost        = 48         // hourly points that are looked at
	movingSure        = 0.05       // degP/day, that the fall's lower bound must pass ...
	movingRate        = 0.10       // ... and the estimate
	movingSigmas      = oneSided99 // every crash, every dry-hop and every packaging is a look
	movingSigmasShort = oneSided999
	movingSigmasKnown = oneSided95 // of beer that is held to ferment again anyway: there any fall will do
	stoodFor          = 24         // hours that show gravity standing after all
)

// notFinished asks every float, as people go on with a beer, whether its gravity
// was shown to be moving still. Without a float nothing is known, nor said. It is
// asked before the act itself is taken in, for hops let the floats begin anew. A
// gravity that was merely not shown to stand (detect/stable) calls nobody: the
// hold points of the batch say so to who logs the act.
func (t *Tank) notFinished(e Event) []Finding {
	f := &t.state.Finish
	switch e.Name {
	case "rest", "pitch", "empty":
		return t.finished(e.Arrived, "log: "+e.Name)
	case "crash", "package":
	case "dry-hop":
		if e.Word("kind") == "active" {
			return nil
		}
	default:
		return nil
	}
	if t.state.Book.Empty {
		return nil
	}
	moving, witnesses := t.moving(e.Time)
	if moving == nil {
		return nil
	}
	f.Since, f.Act = e.Time, e.Name
	return []Finding{{
		Alarm: NotFinished, Active: true, Time: e.Arrived, Onset: e.Time,
		Evidence: Evidence{
			RatePlatoPerDay: moving, Witnesses: witnesses,
			RuledOut: []string{"the float's own drift, its temperature coefficient and hops that settle on it: all allowed for"},
		},
		Summary: fmt.Sprintf("%s: %s is logged while gravity still falls %.2f degP a day (%.1f points)",
			t.name, e.Name, moving.Value, moving.Value/beer.PlatoPerPoint),
	}}
}

// moving is the fastest fall that a float was surely showing before a moment,
// degP/day, and what each such float says; nil where none does.
func (t *Tank) moving(at time.Time) (fastest *Interval, witnesses []string) {
	ferments, sure := t.state.Verdict.Active, movingSure
	if ferments {
		sure = 0
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		if t.faulty(name) {
			continue
		}
		slope, deviation, least := t.state.Floats[name].fallBefore(at, ferments)
		if slope <= movingRate || least <= sure {
			continue
		}
		rate := Interval{Value: slope, Low: slope - twoSided95*deviation, High: slope + twoSided95*deviation}
		witnesses = append(witnesses, fmt.Sprintf("%s: gravity falls %.2f degP a day (%.2f to %.2f)", name, rate.Value, rate.Low, rate.High))
		if fastest == nil || rate.Value > fastest.Value {
			fastest = &rate
		}
	}
	return fastest, witnesses
}

// fallBefore is how fast extract fell in the hours before a moment, degP/day,
// its standard error and the least that it surely was: one line on top of all
// that the null hypothesis allows a float, by the settling time of hops that
// makes it least sure. Zero: not known. Beer that is held to ferment again needs
// less to be shown.
func (f *float) fallBefore(at time.Time, ferments bool) (slope, deviation, least float64) {
	w := float{Points: f.Points, White: f.White, Noise: f.Noise, Hopped: f.Hopped, Earlier: f.Earlier, Stepped: f.Stepped, Began: f.Began}
	for len(w.Points) > 0 && w.Points[len(w.Points)-1].At.Add(floatWidth).After(at) {
		w.Points = w.Points[:len(w.Points)-1]
	}
	w.Points = w.Points[max(0, len(w.Points)-movingMost):]
	if len(w.Points) < movingLeast {
		return 0, 0, 0
	}
	sigmas := movingSigmas
	switch {
	case ferments:
		sigmas = movingSigmasKnown
	case len(w.Points) < movingShort:
		sigmas = movingSigmasShort
	}
	c, found := w.bends(), false
	for _, d := range c.declines() {
		if !found || d.slope-sigmas*d.deviation < least {
			slope, deviation, least, found = d.slope, d.deviation, d.slope-sigmas*d.deviation, true
		}
	}
	return slope, deviation, least
}

// decline is extract that falls evenly, degP/day, and its standard error.
type decline struct{ slope, deviation float64 }

// declines adds extract that falls evenly to each fitted null that is not far-fetched.
func (c *curve) declines() []decline {
	c.proofs(1)
	c.dropFarFetched()
	var evenly falling
	evenly.along(c, 0, byHours(func(hours float64) float64 { return hours }))
	out := make([]decline, len(c.nulls))
	for i := range c.nulls {
		n := &c.nulls[i]
		rate, weight, gain := n.extend(&evenly)
		if weight <= 0 { // this null explains any such fall
			out[i].deviation = math.Inf(1)
			continue
		}
		variance := max(1, (n.left-gain)/float64(len(c.hour)-2))
		out[i] = decline{slope: rate * 24, deviation: 24 * math.Sqrt(variance/weight)}
	}
	return out
}

// stoodStill ends the finding once every float has stood for a day after the act.
func (t *Tank) stoodStill(r Reading) []Finding {
	since := t.state.Finish.Since
	if since.IsZero() || r.Time.Sub(since) < stoodFor*time.Hour {
		return nil
	}
	for name, f := range t.state.Floats {
		if t.faulty(name) {
			continue
		}
		slope, deviation, ok := f.recent(stoodFor)
		if !ok || f.Points[len(f.Points)-stoodFor].At.Before(since) || slope*24 > movingSure || (slope+oneSided95*deviation)*24 > 4*movingSure {
			return nil
		}
	}
	return t.finished(r.Arrived, "gravity has stood for a day")
}

// finished takes the finding back.
func (t *Tank) finished(at time.Time, why string) []Finding {
	was := t.state.Finish
	t.state.Finish = finish{}
	if was.Since.IsZero() {
		return nil
	}
	return []Finding{{
		Alarm: NotFinished, Time: at,
		Summary: fmt.Sprintf("%s: no longer held to be moving at the %s (%s)", t.name, was.Act, why),
	}}
}
