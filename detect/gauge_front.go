package detect

// Weather that passes. A gauge that reads against the air goes up over a closed tank by some kPa in half a day as a low comes
// over, and nearly in a straight line: no walk at the pace of the other days does that. Creep bends upward for hours, and
// goes on. So a climb must be explained better than by a front, too.
const (
	frontKPa   = 1.0  // standard deviation beforehand of what a front does: gauges see 1 to 3 kPa of weather in a day (common practice)
	frontDoubt = 10.0 // nats against one that begins in a given half hour: some one a year that a walk does not hold
	frontsBack = 60   // newest points from which one is looked for
)

// fronts are the courses of fronts that go up for so many hours.
func fronts() []func(hours float64) float64 {
	return []func(hours float64) float64{stepped(6), stepped(10), stepped(15), stepped(24)}
}
