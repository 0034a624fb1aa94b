package detect

import (
	"slices"
	"time"
)

// forgetDoor gives the half hours in which a door stood open back the temperature that the beer had: they are held against
// the pressure for days.
func (c *gauge) forgetDoor(door shutDoor) {
	meets := func(begins, ends time.Time) bool { return ends.After(door.Before.At) && begins.Before(door.After.At) }
	c.Points = slices.Clone(c.Points)
	for i := range c.Points {
		p := &c.Points[i]
		if begins := p.At.Truncate(gaugeWidth); meets(begins, p.At) {
			p.Celsius, p.room = min(p.Celsius, door.at(begins.Add(gaugeWidth/2))), 0
		}
	}
	if begins := c.Block.Start; meets(begins, begins.Add(gaugeWidth)) {
		most := door.at(begins.Add(gaugeWidth / 2))
		for i, celsius := range c.Block.Temps {
			c.Block.Temps[i] = min(celsius, most)
		}
	}
}
