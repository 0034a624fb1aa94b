package detect

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// A relief valve that lifts lets some kPa of the head space go at once and shuts
// again (API 520 calls the difference its blowdown). Beer gives them back within
// hours, and where yeast makes CO2 the valve lifts again. Such a fall is known in
// size and time, so that the stretch goes on across it: a creep in a tank that
// was topped up to its relief is told by what comes after. A valve that only
// hisses holds the pressure where it is (held), and nobody can count what it lets go.
//
// A sample over a small head space lets pressure fall by as little, without a valve: the beer gives that back, too, and
// who draws one each morning should not blind the gauge by it.
const (
	reliefShuts    = 0.75           // of its setting, above which a valve has shut again: further down, it was hands
	liftsSettled   = 24 * time.Hour // after hands on the gas, sooner than which it is their gas that lifts it
	liftGivenBack  = time.Hour      // by when a quick beer has given back what one took, in a jump
	liftsAgree     = 0.09           // g/L, some 5 kPa at cellar temperature, that a valve has let go of since a climb began and bears it out
	liftsTurned    = 1.2            // K, of beer that has moved further it is hard to tell what temperature and what the valve did
	liftMisread    = 0.1            // of the fall, which went on between two readings
	liftsOver      = 12.0           // lags, after which nothing is missing of one
	liftSwings     = 3 * time.Hour  // after one, in which pressure climbs too fast for its noise to be learned
	drawnMost      = 6.0            // kPa, by which a sample lets pressure fall: more is a dump, or gas let off
	leastHeadspace = 0.05           // L per L of beer, that a valve has let off at least, where the volumes are not told ...
	headspaceSure  = 0.8            // ... and the share of those told that it surely was
)

// reliefBand is where a relief valve works, which without one is nowhere.
type reliefBand struct {
	shuts, lifts float64 // kPa absolute
	headspace    float64 // L per L of beer, the least that it empties
	closed       float64 // kPa absolute, from where on a tank is surely closed
}

// reliefBand is that of a tank.
func (t *Tank) reliefBand() reliefBand {
	if t.settings.ReliefKPa <= 0 {
		return reliefBand{closed: t.settings.AtmosphereKPa + airReach}
	}
	air, headspace := t.settings.AtmosphereKPa, leastHeadspace
	if t.volumesTold() {
		headspace = headspaceSure * t.headspaceShare()
	}
	return reliefBand{
		shuts: air + reliefShuts*t.settings.ReliefKPa, lifts: air + reliefMayPass*t.settings.ReliefKPa, headspace: headspace,
		closed: air + airReach,
	}
}

// lift is a fall of pressure by which a relief valve let gas go, or a sample made the head space larger.
type lift struct {
	At    time.Time // half way between the readings beside it
	From  float64   // kPa absolute
	KPa   float64   // by which head pressure fell
	Grams float64   // of CO2 per L of beer, that it took at least
	Drawn bool      // a sample was drawn, and took none
}

// byValve tells whether a jump from one reading to another is a relief valve's: a fall from near its setting to where it
// shuts, or what a quick beer gives back of one.
func (c *gauge) byValve(from, to sample, band reliefBand) bool {
	if to.Value < from.Value {
		return band.lifts > 0 && from.Value >= band.lifts && to.Value >= band.shuts
	}
	newest := c.newestLift()
	return !newest.Drawn && to.At.Sub(newest.At) <= liftGivenBack && to.Value <= newest.From
}

// bySample tells whether a jump is what a sample does: a small fall, after which the tank is as closed as before.
func (b reliefBand) bySample(from, to sample) bool {
	return to.Value < from.Value && from.Value-to.Value <= drawnMost && to.Value >= b.closed
}

// lifted goes on after a jump by the valve, and keeps a fall.
func (c *gauge) lifted(from, to sample, celsius, headspaceShare float64) {
	grams := (from.Value - to.Value) * (capacity(celsius, headspaceShare) - capacity(celsius, 0))
	c.goesOn(from, to, lift{Grams: grams})
}

// goesOn goes on after a jump within the stretch, and keeps a fall.
func (c *gauge) goesOn(from, to sample, by lift) {
	c.Block = block{} // a half hour with a jump in it has no mean
	if by.KPa = from.Value - to.Value; by.KPa > 0 {
		by.At, by.From = from.At.Add(to.At.Sub(from.At)/2), from.Value
		c.Lifts = append(c.Lifts, by)
		c.Lifts = c.Lifts[max(0, len(c.Lifts)-gaugeWindow):]
	}
}

// newestLift is the last one; one of long ago, where there is none.
func (c *gauge) newestLift() lift {
	if n := len(c.Lifts); n > 0 {
		return c.Lifts[n-1]
	}
	return lift{}
}

// lastMoved is when gas was last moved at once, by hands, by the valve or by a sample.
func (c *gauge) lastMoved() time.Time { return Later(c.Since, c.newestLift().At) }

// swings tells whether a lift is so fresh that pressure climbs back fast.
func (c *gauge) swings(at time.Time) bool { return at.Sub(c.newestLift().At) < liftSwings }

// liftedSince counts the valve's lifts of the stretch after a moment.
func (c *gauge) liftedSince(at time.Time) int { return len(c.valves(Later(at, c.Since), c.Last.At)) }

// valves are those of the falls between two moments that are the valve's.
func (c *gauge) valves(after, until time.Time) []lift {
	return slices.DeleteFunc(slices.Clone(c.between(after, until)), func(l lift) bool { return l.Drawn })
}

// letGo is the CO2 in g per L of beer that the valve has let go of at least since a moment, beyond what the warmest time
// since then drives out of the beer; nothing where the beer was moved far, or no valve lifted.
func (c *gauge) letGo(since time.Time, headspaceShare float64) float64 {
	if c.liftedSince(since) == 0 {
		return 0
	}
	newest := c.Points[len(c.Points)-1]
	coldest, warmest := c.lately(newest.At.Sub(since), func(p *headPoint) float64 { return p.Celsius })
	if warmest-coldest > liftsTurned {
		return 0
	}
	grams := (capacity(warmest, headspaceShare) - capacity(coldest, headspaceShare)) * newest.KPa
	for _, l := range c.between(since, newest.At) {
		grams += l.Grams
	}
	return max(0, grams)
}

// lessByValve is the score that a climb needs, of so much that it needs alone, where a valve bears it out: no more than
// beside a balance that shows a rise, and less the more the valve has let go of.
func (c *gauge) lessByValve(alone, headspaceShare float64) float64 {
	sure := c.letGo(c.Rise.Onset, headspaceShare) / liftsAgree
	if sure < 1 {
		return alone
	}
	return min(alone, bothScore-(bothScore-borneOutScore)*min(sure-1, 1))
}

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

// liftsAt are the lifts between the point before and this one; mostly there is none in all of the stretch.
func (c *gauge) liftsAt(i int) []lift {
	if len(c.Lifts) == 0 {
		return nil
	}
	return c.between(c.Points[max(0, i-1)].At, c.Points[i].At)
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
		begins := p.At.Truncate(gaugeWidth)
		if in := c.between(begins, p.At); len(in) > 0 { // what came before the newest is not in the mean
			begins = in[len(in)-1].At
		}
		for _, l := range c.Lifts {
			if !p.At.After(l.At) {
				break
			}
			from, until := begins.Sub(l.At).Hours(), p.At.Sub(l.At).Hours()
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
