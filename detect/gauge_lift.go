package detect

import (
	"fmt"
	"math"
	"time"
)

// A relief valve that lifts lets some kPa of the head space go at once and shuts
// again (API 520 calls the difference its blowdown). Beer gives them back within
// hours, and where yeast makes CO2 the valve lifts again. Such a fall is known in
// size and time, so that the stretch goes on across it: a creep in a tank that
// was topped up to its relief is told by what comes after. A valve that only
// hisses holds the pressure where it is (held), and nobody can count what it lets go.
const (
	reliefShuts    = 0.75           // of its setting, above which a valve has shut again: further down, it was hands
	liftsSettled   = 24 * time.Hour // after hands on the gas, sooner than which it is their gas that lifts it
	liftMisread    = 0.1            // of the fall, which went on between two readings
	liftsOver      = 12.0           // lags, after which nothing is missing of one
	liftSwings     = 3 * time.Hour  // after one, in which pressure climbs too fast for its noise to be learned
	leastHeadspace = 0.05           // L per L of beer, that a valve has let off at least, where the volumes are not told ...
	headspaceSure  = 0.8            // ... and the share of those told that it surely was
)

// reliefBand is where a relief valve works; zero without one.
type reliefBand struct {
	shuts, lifts float64 // kPa absolute
	headspace    float64 // L per L of beer, the least that it empties
}

// reliefBand is that of a tank.
func (t *Tank) reliefBand() reliefBand {
	if t.settings.ReliefKPa <= 0 {
		return reliefBand{}
	}
	air, headspace := t.settings.AtmosphereKPa, leastHeadspace
	if t.volumesTold() {
		headspace = headspaceSure * t.headspaceShare()
	}
	return reliefBand{
		shuts: air + reliefShuts*t.settings.ReliefKPa, lifts: air + reliefMayPass*t.settings.ReliefKPa, headspace: headspace,
	}
}

// lift is a fall of pressure by which a relief valve let gas go.
type lift struct {
	At    time.Time // half way between the readings beside it
	KPa   float64   // by which head pressure fell
	Grams float64   // of CO2 per L of beer, that it took at least
}

// lifted keeps a fall from one reading to another as a lift, and tells whether it was one.
func (c *gauge) lifted(from, to sample, celsius float64, band reliefBand) bool {
	fell := from.Value - to.Value
	if band.lifts == 0 || fell <= 0 || to.At.Sub(c.Since) < liftsSettled || from.Value < band.lifts || to.Value < band.shuts {
		return false
	}
	c.Lifts = append(c.Lifts, lift{
		At: from.At.Add(to.At.Sub(from.At) / 2), KPa: fell,
		Grams: fell * (capacity(celsius, band.headspace) - capacity(celsius, 0)),
	})
	c.Block = block{} // a half hour with a fall in it has no mean
	return true
}

// moved is when gas was last moved at once, by hands or by the valve.
func (c *gauge) moved() time.Time {
	if n := len(c.Lifts); n > 0 {
		return later(c.Since, c.Lifts[n-1].At)
	}
	return c.Since
}

// swings tells whether a lift is so fresh that pressure climbs back fast.
func (c *gauge) swings(at time.Time) bool {
	n := len(c.Lifts)
	return n > 0 && at.Sub(c.Lifts[n-1].At) < liftSwings
}

// liftedSince counts the lifts after a moment.
func (c *gauge) liftedSince(at time.Time) int { return len(c.between(at, c.Last.At)) }

// liftsSaid says how often the valve has lifted since a moment; nothing where it has not.
func (c *gauge) liftsSaid(since time.Time) string {
	switch n := c.liftedSince(since); n {
	case 0:
		return ""
	case 1:
		return ", the relief lifted once"
	default:
		return fmt.Sprintf(", the relief lifted %d times", n)
	}
}

// between are the lifts after one moment and up to another.
func (c *gauge) between(after, until time.Time) []lift {
	first, last := len(c.Lifts), len(c.Lifts)
	for first > 0 && c.Lifts[first-1].At.After(after) {
		first--
		if c.Lifts[first].At.After(until) {
			last = first
		}
	}
	return c.Lifts[first:last]
}

// doubt is the variance, in kPa squared, of what a lift was read as.
func (l lift) doubt(white float64) float64 {
	misread := liftMisread * l.KPa
	return misread*misread + 2*white*white
}

// fadingLifts are, for each point, the kPa that were still missing of all lifts in the mean of its half hour, for each of
// some lags in hours with which head and beer come to rest; nil without a lift.
func (c *gauge) fadingLifts(lags [relaxTerms]float64) [][relaxTerms]float64 {
	if len(c.Lifts) == 0 {
		return nil
	}
	out := make([][relaxTerms]float64, len(c.Points))
	for i, p := range c.Points {
		for _, l := range c.Lifts {
			if !p.At.After(l.At) {
				break
			}
			from, until := max(0, p.At.Truncate(gaugeWidth).Sub(l.At).Hours()), p.At.Sub(l.At).Hours()
			for j, lag := range lags {
				out[i][j] += l.KPa * meanLeft(from/lag, until/lag)
			}
		}
	}
	return out
}

// meanLeft is the mean of exp(-x) between two times in lags.
func meanLeft(from, until float64) float64 {
	switch over := until - from; {
	case from > liftsOver:
		return 0
	case over < 1e-6: // one reading at the very beginning of its half hour
		return math.Exp(-from)
	default:
		return -math.Exp(-from) * math.Expm1(-over) / over
	}
}

// freshLifts are those since the point before.
func (c *gauge) freshLifts(i int) []lift {
	if i == 0 {
		return nil
	}
	return c.between(c.Points[i-1].At, c.Points[i].At)
}
