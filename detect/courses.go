package detect

import "math"

// fermented is the extract gone after so many hours of a rate that ramps up to
// one: half the square while the ramp lasts, then in proportion.
func fermented(hours float64) float64 {
	switch {
	case hours <= 0:
		return 0
	case hours < rampHours:
		return hours * hours / (2 * rampHours)
	}
	return hours - rampHours/2
}

// floatCourse is how creep is held to run on a float's curve: a rate that ramps up in a straight line and then dies away,
// as what yeast can still eat runs out.
type floatCourse struct{ ramp, spent float64 } // h

// usualCourse is the one by which creep is looked for.
func usualCourse() floatCourse { return floatCourse{ramp: rampHours, spent: 60} }

// floatCourses are those between which it may run; what is told of it heeds them all.
func floatCourses() []floatCourse { return []floatCourse{{10, 35}, {24, 35}, {10, 90}, {24, 90}} }

// gone is the extract gone after so many hours, for each degP/h that the rate comes to when the ramp is over.
func (c floatCourse) gone(hours float64) float64 {
	switch {
	case hours <= 0:
		return 0
	case hours < c.ramp:
		return hours * hours / (2 * c.ramp)
	}
	return c.ramp/2 + c.spent*(1-math.Exp((c.ramp-hours)/c.spent))
}

// hourly is a course that was reckoned once for each whole hour: a float's points lie so far apart, whatever the onset.
type hourly struct {
	course func(hours float64) float64
	known  [floatWindow]float64
}

// byHours reckons a course by the hour.
func byHours(course func(hours float64) float64) *hourly {
	out := &hourly{course: course}
	for hours := range out.known {
		out.known[hours] = course(float64(hours))
	}
	return out
}

// gone is what the course comes to after so many hours.
func (h *hourly) gone(hours float64) float64 {
	if whole := int(hours); hours == float64(whole) && whole >= 0 && whole < floatWindow {
		return h.known[whole]
	}
	return h.course(hours)
}

// pace is the share of that rate after so many hours.
func (c floatCourse) pace(hours float64) float64 {
	if hours < c.ramp {
		return max(hours, 0) / c.ramp
	}
	return math.Exp((c.ramp - hours) / c.spent)
}

// ramped is the share of the final rate reached after so many hours.
func ramped(hours float64) float64 { return min(max(hours/rampHours, 0), 1) }
