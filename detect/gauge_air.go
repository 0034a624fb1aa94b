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
	Said  []sample // the first of each ten minutes, kPa absolute
}

// How a barometer is kept and believed (common practice).
const (
	airPace  = 10 * time.Minute
	airKept  = 12 * time.Hour
	airFresh = 65 * time.Minute // how long its word may stand
	airLeast = 45.0             // kPa absolute: no cellar lies so high ...
	airMost  = 115.0            // ... or so low
	airJump  = 1.5              // kPa from one half hour to the next, and more: a wild value, and no weather
)

// Air hears a probe that measures outside, wherever it is heard from: the air is the same over all tanks. Pressure is kPa
// absolute; what no air has, and other quantities, are left out. Of several barometers the first is heeded while it is heard.
func (t *Tank) Air(r Reading) {
	if r.Late || r.Quantity != Pressure || r.Value < airLeast || r.Value > airMost {
		return
	}
	b := &t.state.Air
	if n := len(b.Said); n > 0 {
		newest := b.Said[n-1].At
		switch other := r.Probe != b.Probe; {
		case other && r.Time.Sub(newest) <= airFresh:
			return
		case other:
			b.Said = nil
		case !r.Time.Truncate(airPace).After(newest):
			return
		}
	}
	b.Probe = r.Probe
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
	weatherKnown  = 0.05 // standard deviation, better than which no stretch leaves it: a gauge may be changed
	weatherFreely = 4.0  // nats of a climb, beyond which what moves a gauge may not be the weather
	weatherMost   = 1.5  // of the share, either way
)

// notKnown is what is known of a gauge that never stood beside a barometer.
func notKnown() weathering {
	return weathering{Share: weatherShare, Before: weatherShare, Known: 1 / (weatherPrior * weatherPrior)}
}

// goesOn is what a new stretch begins with.
func (w weathering) goesOn() weathering {
	return weathering{Share: w.Share, Before: w.Share, Known: min(w.Known+w.Weight, 1/(weatherKnown*weatherKnown))}
}

// air is by how much the air has changed by each point since the first, kPa; nil where no barometer was heard.
func (c *gauge) air() []float64 {
	var out []float64
	for i := 1; i < len(c.Points); i++ {
		p, before := &c.Points[i], &c.Points[i-1]
		if p.Air == 0 || before.Air == 0 || math.Abs(p.Air-before.Air) > airJump {
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
// stretch took the share as it was. What a climb that is worth the name may have done is not learned from.
func (c *gauge) learnOpen(s *stretch) {
	if s.air == nil || len(s.nulls) == 0 || c.Score > weatherFreely {
		return
	}
	left := s.along(s.air)
	beside := s.nulls[s.nothing().null].further(&left)
	w := &c.Open
	more := (beside.withY + w.Known*(w.Before-w.Share)) / (beside.weight + w.Known)
	w.Share, w.Weight = min(max(w.Share+more, -weatherMost), weatherMost), beside.weight
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

// heardAir notes of the newest point what the barometer said meanwhile.
func (c *gauge) heardAir(b *barometer) {
	p := &c.Points[len(c.Points)-1]
	p.Air = b.before(p.At)
}

// airSince is by how much the air has changed since a moment, kPa, and whether a barometer was heard meanwhile.
func (c *gauge) airSince(at time.Time) (kPa float64, heard bool) {
	air := c.air()
	for i := range air {
		if !c.Points[i].At.Before(at) {
			return air[len(air)-1] - air[i], c.Points[i].Air != 0 && c.Points[len(air)-1].Air != 0
		}
	}
	return 0, false
}
