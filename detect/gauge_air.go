package detect

import (
	"math"
	"slices"
	"time"
)

// The air outside, where the site has a barometer. A gauge whose back is open to the air reads a closed tank against the
// weather; one that was closed at the factory does not. Nobody looks at the back of a gauge, so how far it answers the
// barometer is learned from the gauge itself, and only so much of the weather is taken out of what it read.

// barometer is what the site's has said of late.
type barometer struct {
	Probe string
	From  time.Time // since when this one is heeded
	Said  []sample  // the first of each ten minutes, kPa absolute
}

// How a barometer is kept and believed (common practice).
const (
	airPace  = 10 * time.Minute
	airKept  = 12 * time.Hour
	airFresh = 65 * time.Minute // how long its word may stand
	airLeast = 45.0             // kPa absolute: no cellar lies so high ...
	airMost  = 115.0            // ... or so low
	airJump  = 1.5              // kPa in each half hour, and more: a wild value, and no weather
)

// Air hears a probe that measures outside, wherever it is heard from: the air is the same over all tanks. Pressure is kPa
// absolute; what no air has, and other quantities, are left out. Of several barometers the first is heeded while it is heard,
// and of those that begin in one moment the first by name.
func (t *Tank) Air(r Reading) {
	if r.Late || r.Quantity != Pressure || NotOfAir(r.Value) {
		return
	}
	b := &t.state.Air
	if n := len(b.Said); n > 0 {
		newest := b.Said[n-1].At
		other := r.Probe != b.Probe
		sooner := r.Time.Equal(b.From) && newest.Equal(b.From) && r.Probe < b.Probe
		switch {
		case other && !sooner && r.Time.Sub(newest) <= airFresh:
			return
		case other:
			b.Said = nil
		case !r.Time.Truncate(airPace).After(newest):
			return
		}
	}
	if len(b.Said) == 0 {
		b.Probe, b.From = r.Probe, r.Time
	}
	b.Said = append(b.Said, sample{At: r.Time, Value: r.Value})
	b.Said = slices.DeleteFunc(b.Said, func(s sample) bool { return r.Time.Sub(s.At) > airKept })
}

// before is what the barometer said in the half hour before a moment, or last before that; 0 where it was not heard.
func (b *barometer) before(at time.Time) float64 {
	var last float64
	var around []float64
	for _, s := range b.Said {
		past := at.Sub(s.At)
		if past <= 0 {
			break
		}
		if past <= airFresh {
			last = s.Value
		}
		if past <= gaugeWidth {
			around = append(around, s.Value)
		}
	}
	if len(around) == 0 {
		return last
	}
	return median(around)
}

// weathering is how far a gauge answers the barometer: 1 where it is open to the air and its tank is closed, 0 where it is
// closed itself.
type weathering struct {
	Share  float64 // as it is taken
	Weight float64 // inverse variance that this stretch adds to what was known before it ...
	Before float64 // ... which was so much ...
	Known  float64 // ... and had this inverse variance
}

const (
	weatherShare  = 0.5  // of a gauge of which nothing is known, ...
	weatherPrior  = 0.5  // ... and its standard deviation: it is one or the other
	weatherKnown  = 0.1  // standard deviation, better than which no stretch leaves it: a gauge may be changed
	weatherSaid   = 0.2  // the same, from which on it is told
	weatherFreely = 4.0  // nats of a climb, beyond which what moves a gauge may not be the weather
	weatherLately = 12.0 // h, the newest, in which a climb or a leak may not have shown itself yet
)

// notKnown is what is known of a gauge that never stood beside a barometer.
func notKnown() weathering {
	return weathering{Share: weatherShare, Before: weatherShare, Known: 1 / (weatherPrior * weatherPrior)}
}

// goesOn is what a new stretch begins with.
func (w weathering) goesOn() weathering {
	w = w.keeps(w.Weight)
	w.Before = w.Share
	return w
}

// keeps is what is known once so much of the stretch's weight is known from before it.
func (w weathering) keeps(weight float64) weathering {
	w.Before = (w.Known*w.Before + weight*w.Share) / (w.Known + weight)
	w.Known = min(w.Known+weight, 1/(weatherKnown*weatherKnown))
	w.Weight -= weight
	return w
}

// known tells whether it is known well enough to be told.
func (w weathering) known() bool { return w.Known+w.Weight >= 1/(weatherSaid*weatherSaid) }

// air is by how much the air has changed by each point since the first, kPa; nil where no barometer was heard.
func (c *gauge) air() []float64 {
	var out []float64
	for i := 1; i < len(c.Points); i++ {
		p, before := &c.Points[i], &c.Points[i-1]
		if p.Air == 0 || before.Air == 0 || math.Abs(p.Air-before.Air) > airJump*max(1, p.At.Sub(before.At).Hours()/gaugeWidth.Hours()) {
			if out != nil {
				out[i] = out[i-1]
			}
			continue
		}
		if out == nil {
			out = make([]float64, len(c.Points))
		}
		out[i] = out[i-1] + p.Air - before.Air
	}
	return out
}

// learnOpen follows how far the gauge answers the barometer, by what the best null of a stretch leaves of the weather. The
// stretch took the share as it was. What may be a climb, or a
// leak that nobody has seen yet, is not learned from.
func (c *gauge) learnOpen(s *stretch) {
	if s.air == nil || len(s.nulls) == 0 || c.Score > weatherFreely {
		return
	}
	left := s.along(s.untilLately(s.air))
	beside := s.nulls[s.nothing().null].further(&left)
	w := &c.Open
	more := (beside.withY + w.Known*(w.Before-w.Share)) / (beside.weight + w.Known)
	w.Share, w.Weight = min(max(w.Share+more, 0), 1), beside.weight
	if len(c.Points) == gaugeWindow { // the oldest point leaves the stretch with the next
		*w = w.keeps(w.Weight / gaugeWindow)
	}
}

// untilLately is a course that stands still over the newest hours.
func (s *stretch) untilLately(course []float64) []float64 {
	out := slices.Clone(course)
	for i := 1; i < len(out); i++ {
		if s.since(i) < weatherLately {
			out[i] = out[i-1]
		}
	}
	return out
}

// along are the moments of a fall that is told point by point.
func (s *stretch) along(fall []float64) moments {
	var out moments
	var column whiten
	for i := range s.y {
		made := column.next(s.gain[i], fall[i])
		for j, value := range s.x[i] {
			out.withTerms[j] += value * made
		}
		out.withSelf += made * made
		out.withY += made * s.y[i]
	}
	return out
}

// heardAir notes of the newest point what the barometer said meanwhile, and nothing of the first beside another barometer.
func (c *gauge) heardAir(b *barometer) {
	n := len(c.Points)
	if n > 1 && b.From.After(c.Points[n-2].At) {
		return
	}
	c.Points[n-1].Air = b.before(c.Points[n-1].At)
}

// airSince is by how much the air has changed since a moment, kPa, and whether a barometer was heard all the while.
func (c *gauge) airSince(at time.Time) (kPa float64, heard bool) {
	air := c.air()
	if air == nil {
		return 0, false
	}
	first := slices.IndexFunc(c.Points, func(p headPoint) bool { return !p.At.Before(at) })
	if first < 0 || slices.ContainsFunc(c.Points[first:], func(p headPoint) bool { return p.Air == 0 }) {
		return 0, false
	}
	return air[len(air)-1] - air[first], true
}
