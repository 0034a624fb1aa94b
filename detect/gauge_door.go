package detect

import "time"

// forgetDoor gives the half hours in which a door stood open back the temperature that the beer had: they are held against
// the pressure for days.
func (c *gauge) forgetDoor(door shutDoor) {
	over := func(begins time.Time) bool { return begins.Before(door.After.At) }
	for i := range c.Points {
		p := &c.Points[i]
		if begins := p.At.Truncate(gaugeWidth); p.At.After(door.Before.At) && over(begins) {
			p.Celsius, p.room = min(p.Celsius, door.at(begins.Add(gaugeWidth/2))), 0
		}
	}
	if over(c.Block.Start) {
		for i, celsius := range c.Block.Temps {
			c.Block.Temps[i] = min(celsius, door.After.Value)
		}
	}
}
