package detect

import (
	"math"
	"time"
)

// headDrop is head pressure that has gone down and stays down, as a leak lets it: quickly at first, for the head space
// holds little CO2, until the beer gives off as much as is lost.
type headDrop struct {
	Score float64 // logarithm of the likelihood ratio, against all that gas does by itself
	KPa   float64 // that it has gone down since
	At    time.Time
}

// How a drop is looked for.
const (
	dropRests  = 3.0              // h, time constant in which head and beer come to terms with a leak
	dropGoesOn = 0.035            // an hour, of it, that the beer then goes down with it
	dropBack   = 20 * time.Hour   // what began longer ago the balance knows better
	dropLeast  = 1.5              // kPa, below the highest of that time, from where a look is worth it
	dropGap    = 40 * time.Minute // without a word of gauge or thermometer, over which no drop is told
	dropLasts  = 2.0              // h that it must have lasted
	dropTurned = 1.0              // K, of beer that moved so far no drop is told: a thermometer is not the whole tank
)

// dropped is the course of a drop of unit size.
func dropped(hours float64) float64 { return -math.Expm1(-hours/dropRests) + dropGoesOn*hours }

// drop holds a drop from each of the newest hours against the nulls of a stretch.
func (c *gauge) drop(s *stretch, nullLeft float64) headDrop {
	newest := c.Points[len(c.Points)-1]
	_, high := c.lately(dropBack, func(p headPoint) float64 { return p.KPa })
	coldest, warmest := c.lately(dropBack, func(p headPoint) float64 { return p.Celsius })
	if high-newest.KPa < dropLeast || warmest-coldest > dropTurned {
		return headDrop{}
	}
	var out headDrop
	least := nullLeft
	for i := len(c.Points) - 2; i > 0 && newest.At.Sub(c.Points[i].At) < dropBack; i-- {
		gap := c.Points[i+1].At.Sub(c.Points[i].At) > gaugeWidth+dropGap
		if gap || !c.Points[i].At.After(c.Blind) { // nobody knows what temperature, or hands, did meanwhile
			break
		}
		if i%2 != 0 || newest.At.Sub(c.Points[i].At).Hours() < dropLasts {
			continue
		}
		down := s.madeFrom(i, dropped)
		for j := range s.nulls {
			if kPa, gain := s.nulls[j].extend(&down); kPa < 0 && s.nulls[j].left-gain < least {
				least = s.nulls[j].left - gain
				out.KPa, out.At = -kPa*dropped(newest.At.Sub(c.Points[i].At).Hours()), c.Points[i].At
			}
		}
	}
	out.Score = (nullLeft - least) / (2 * surplus(least, float64(max(len(c.Points)-gaugeTerms, 1))))
	return out
}
