package detect

import "math"

// Weather that passes. A gauge that reads against the air goes up over a closed tank by some kPa in half a day as a low comes
// over, and nearly in a straight line: no walk at the pace of the other days does that. Creep bends upward for hours, and
// goes on. So a climb must be explained better than by a front, too.
const (
	frontKPa   = 1.0  // standard deviation beforehand of what a front does: gauges see 1 to 3 kPa of weather in a day (common practice)
	frontDoubt = 10.0 // nats against one that begins in a given half hour: some one a year that a walk does not hold
	frontsBack = 60   // newest points from which one is looked for
)

// frontLasts are the hours in which a front goes up.
func frontLasts() [4]float64 { return [4]float64{6, 10, 15, 24} }

// withFront is the least residual of the nulls with a front that lifts the gauge.
func (s *stretch) withFront() float64 {
	least := math.Inf(1)
	for i := max(0, len(s.y)-1-frontsBack); i < len(s.y)-1; i++ {
		for _, lasts := range frontLasts() {
			front := s.madeFrom(i, stepped(lasts))
			front.withSelf += 1 / (frontKPa * frontKPa)
			for j := range s.nulls {
				if kPa, gain := s.nulls[j].extend(&front); kPa > 0 {
					least = min(least, s.nulls[j].left-gain)
				}
			}
		}
	}
	return least
}
