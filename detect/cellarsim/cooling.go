package cellarsim

import (
	"math"
	"time"
)

// Cooling is a tank's jacket, its thermostat and the room around it. Beer goes toward the glycol with JacketLag while
// the valve is open, and toward the room with RoomLag always.
//
// Left to a room, 20 hL warm at 0.03 (lagged) to 0.4 degC an hour (bare): common practice. The lags in the comments
// follow from that.
type Cooling struct {
	Setpoint  float64       // degC, of the beer
	Band      float64       // K, between the thermostat's opening and closing; 0.2 to 1 is usual
	Glycol    float64       // degC, in the jacket; -6 to -2 is usual
	JacketLag time.Duration // 6 to 40 h; 0: no jacket
	Room      float64       // degC, mean around the tank; 2 to 30
	RoomSwing float64       // K, up and down over the day, warmest at 16:00 UTC
	RoomLag   time.Duration // 15 to 200 h; 0: perfectly lagged
}

// thermostat is a Cooling at work.
type thermostat struct {
	Cooling
	open       bool
	jammed     jam
	jammedTill time.Duration
	ramp       ramp
	door       door
	midnight   time.Duration // of the start: how far into its day the cellar began
}

// jam is what has happened to the glycol valve.
type jam int

const (
	works jam = iota
	jammedShut
	jammedOpen
)

// ramp is a setpoint on its way.
type ramp struct {
	from, to    float64
	start, over time.Duration
}

// door is an open door: until then the room is at another temperature.
type door struct {
	celsius float64
	till    time.Duration
}

// warmestHour is the hour of the day at which the room is warmest.
const warmestHour = 16

// setpoint is the thermostat's at a moment, which goes to a new one in a straight line.
func (c *thermostat) setpoint(at time.Duration) float64 {
	r := c.ramp
	if at >= r.start+r.over {
		return r.to
	}
	return r.from + (r.to-r.from)*float64(at-r.start)/float64(r.over)
}

// room is the temperature around the tank.
func (c *thermostat) room(at time.Duration) float64 {
	if at < c.door.till {
		return c.door.celsius
	}
	if c.RoomSwing == 0 {
		return c.Room
	}
	return c.Room + c.RoomSwing*day(at+c.midnight)
}

// day runs from -1 to 1 and back over a day, highest at the warmest hour.
func day(sinceMidnight time.Duration) float64 {
	return math.Cos(2 * math.Pi * (sinceMidnight.Hours() - warmestHour) / 24)
}

// valve opens and closes the glycol: a two-point switch, unless it is jammed.
func (c *thermostat) valve(celsius float64, at time.Duration) bool {
	if c.JacketLag == 0 {
		return false
	}
	if c.jammed != works && at < c.jammedTill {
		return c.jammed == jammedOpen
	}
	setpoint := c.setpoint(at)
	switch {
	case celsius > setpoint+c.Band/2:
		c.open = true
	case celsius < setpoint-c.Band/2:
		c.open = false
	}
	return c.open
}

// follow returns the beer's temperature after some hours in which nothing changes: the exact solution of the two lags.
func (c *thermostat) follow(celsius float64, at time.Duration, hours float64) float64 {
	var pull, toward float64 // 1/h, and pull x the temperature toward which it goes
	if c.RoomLag > 0 {
		k := 1 / c.RoomLag.Hours()
		pull, toward = pull+k, toward+k*c.room(at)
	}
	if c.valve(celsius, at) {
		k := 1 / c.JacketLag.Hours()
		pull, toward = pull+k, toward+k*c.Glycol
	}
	if pull == 0 {
		return celsius
	}
	end := toward / pull
	return end + (celsius-end)*math.Exp(-pull*hours)
}

// jamAs jams the glycol valve for some time; zero is for good.
func (c *thermostat) jamAs(j jam, now, lasts time.Duration) {
	c.jammed, c.jammedTill = j, till(now, lasts)
}
