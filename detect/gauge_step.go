package detect

import "math"

// Hands that nobody logged, too light for a jump between two readings: hops roused, a little gas put on. Head pressure is
// higher within the hour and goes on from there. Creep bends upward for hours, and its newest half hours are a small part
// of that. So a climb must be explained better than by such a step, too (common practice for how often hands log nothing).
const (
	stepDoubt  = 8.0      // nats against a step in a given half hour: some one in two months
	stepAtOnce = 0.5      // h that it takes, at the quickest: from one point to the next ...
	stepSlowly = 1.0      // ... and at the slowest
	stepHasty  = 0.3 / 24 // degP/h: of 1049 creeps of trial's classes 30 were as fast when they were told. What is, is hands as likely as yeast
	stepsBack  = 24       // newest points in which one is looked for: an older one has shown itself by what did not follow
)

// steps are the courses against which a climb is held, and the nats against them. One that is faster than creep is when it
// is told is hands as likely as yeast, and is held against what roused beer gives back over hours, too.
func (f fall) steps() (courses []func(hours float64) float64, doubt float64) {
	courses = append(courses, stepped(stepAtOnce), stepped(stepSlowly))
	if f.Now <= stepHasty {
		return courses, stepDoubt
	}
	for _, lag := range stepLags() {
		courses = append(courses, func(hours float64) float64 { return -math.Expm1(-hours / lag) })
	}
	return courses, 0
}

// stepLags are those, in hours, with which roused beer comes to rest.
func stepLags() [4]float64 { return [4]float64{0.5, 1, 2, 3} }

// stepped is the course of a step of unit size that takes so many hours.
func stepped(within float64) func(hours float64) float64 {
	return func(hours float64) float64 { return min(hours/within, 1) }
}

// withCourse is the least residual of the nulls with one of some courses, upward (1) or down (-1), from one of so many of the
// newest points on, whose size has such a standard deviation beforehand, kPa.
func (s *stretch) withCourse(way float64, back int, prior float64, courses ...func(hours float64) float64) float64 {
	least := math.Inf(1)
	for i := max(0, len(s.y)-1-back); i < len(s.y)-1; i++ {
		for _, course := range courses {
			made := s.madeFrom(i, course)
			made.withSelf += 1 / (prior * prior)
			for j := range s.nulls {
				if kPa, gain := s.nulls[j].extend(&made); way*kPa > 0 {
					least = min(least, s.nulls[j].left-gain)
				}
			}
		}
	}
	return least
}

// ofAnySize is the deviation of what nothing is known of beforehand.
func ofAnySize() float64 { return math.Inf(1) }

// withTwoSteps is the least residual of the nulls with a step down at once, or with two, from so many of the newest points on:
// who draws a sample and logs nothing may draw another. The second one is sought beside the best.
func (s *stretch) withTwoSteps(back int) float64 {
	first, course := max(0, len(s.y)-1-back), stepped(stepAtOnce)
	steps := make([]moments, 0, back)
	for i := first; i < len(s.y)-1; i++ {
		steps = append(steps, s.madeFrom(i, course))
	}
	least, beside := math.Inf(1), make([]further, len(steps))
	for j := range s.nulls {
		null, one, most := &s.nulls[j], -1, 0.0
		for i := range steps {
			beside[i] = null.further(&steps[i])
			if kPa, gain := beside[i].alone(); kPa < 0 && gain > most {
				one, most = i, gain
			}
		}
		if one < 0 {
			continue
		}
		for i := range beside {
			if a, b, gain := beside[one].with(&beside[i], s.together(first+one, first+i, course)); a < 0 && b < 0 {
				most = max(most, gain)
			}
		}
		least = min(least, null.left-most)
	}
	return least
}

// together is the inner product of a course from one point on and from another.
func (s *stretch) together(one, other int, course func(hours float64) float64) float64 {
	one, other = min(one, other), max(one, other)
	var earlier, later whiten
	sum := 0.0
	for i := one; i < len(s.y); i++ {
		a := earlier.next(s.gain[i], -course(s.hour[i]-s.hour[one]))
		if i >= other {
			sum += a * later.next(s.gain[i], -course(s.hour[i]-s.hour[other]))
		}
	}
	return sum
}
