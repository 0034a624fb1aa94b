package detect

import "math"

// Hands that nobody logged, too light for a jump between two readings: hops roused, a little gas put on. Head pressure is
// higher within the hour and goes on from there. Creep bends upward for hours, and its newest half hours are a small part
// of that. So a climb must be explained better than by such a step, too (common practice for how often hands log nothing).
const (
	stepDoubt  = 8.0 // nats against a step in a given half hour: some one in two months
	stepAtOnce = 0.5 // h that it takes, at the quickest: from one point to the next ...
	stepSlowly = 1.0 // ... and at the slowest
	stepsBack  = 24  // newest points in which one is looked for: an older one has shown itself by what did not follow
)

// stepped is the course of a step of unit size that takes so many hours.
func stepped(within float64) func(hours float64) float64 {
	return func(hours float64) float64 { return min(hours/within, 1) }
}

// withStep is the least residual of the nulls with a step, upward (1) or down (-1), in one of so many of the newest points
// and within one of some hours.
func (s *stretch) withStep(way float64, back int, hours ...float64) float64 {
	least := math.Inf(1)
	for i := max(0, len(s.y)-1-back); i < len(s.y)-1; i++ {
		for _, within := range hours {
			step := s.madeFrom(i, stepped(within))
			for j := range s.nulls {
				if kPa, gain := s.nulls[j].extend(&step); way*kPa > 0 {
					least = min(least, s.nulls[j].left-gain)
				}
			}
		}
	}
	return least
}
