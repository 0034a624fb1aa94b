package detect

import "slices"

// A door that stands open warms a thermometer in its well, not the beer. Half an hour later it is over, but each
// temperature is held against the pressure for days.
const (
	doorWarms  = 0.25 // K, over the half hours before and after it ...
	doorPoints = 3    // ... and in no more of them: beer does not come and go so fast (common practice)
)

// forgetDoor gives the beer back the temperature that it had meanwhile, once the newest point shows that it was a door.
func (c *gauge) forgetDoor() {
	newest := len(c.Points) - 1
	for n := min(doorPoints, newest-1); n > 0; n-- {
		before, after := &c.Points[newest-n-1], &c.Points[newest]
		if after.At.Sub(before.At) > (doorPoints+2)*gaugeWidth {
			continue
		}
		warmed := c.Points[newest-n : newest]
		least := max(before.Celsius, after.Celsius) + doorWarms
		if slices.ContainsFunc(warmed, func(p headPoint) bool { return p.Celsius < least }) {
			continue
		}
		for i := range warmed {
			p := &warmed[i]
			share := p.At.Sub(before.At).Hours() / after.At.Sub(before.At).Hours()
			p.Celsius, p.room = before.Celsius+share*(after.Celsius-before.Celsius), 0
		}
		return
	}
}
