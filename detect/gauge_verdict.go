package detect

import (
	"math"
	"time"
)

// When a gauge is believed, beyond what chance asks for (scoreNeeded). What
// people do with gas, and what cooling does to it, is more than the null holds:
// how much more was measured on simulated cellars (package trial).
const (
	riseLeast    = 0.006          // degP, below which no score convinces
	riseSlowest  = 0.05 / 24      // degP/h once the ramp is over: creep is hardly slower, so that ...
	riseSlow     = 60.0           // ... nats more are asked in proportion to how much slower a climb is
	riseDoubt    = 3.1            // nats more at all times
	bothScore    = 8.0            // nats that are enough where the CO2 balance shows a rise of its own
	riseCooled   = 10.0           // nats more while beer is cooled far
	riseTurned   = 2.5            // nats more for each K that the beer has moved ...
	turnedFreely = 3.0            // K, ... beyond this ...
	turnedOver   = 60 * time.Hour // ... over this
	riseFresh    = 11.0           // nats more right after an act, less and less ...
	freshFor     = 40 * time.Hour // ... until this
	readsNothing = 1.0            // kPa gauge: a tank that the log takes for closed stands open, or sucks air
	closedMoves  = 0.6            // kPa in a day: temperature moves a closed tank's pressure so much
	standsBefore = 24 * time.Hour // before it climbs, that shows the beer of a closed tank finished where the log is silent, if ...
	stoodMoves   = 5.0            // kPa ... it went up by no more in them at like temperature, and ...
	settlesMost  = 1.2            // degP ... no float fell by more meanwhile: hops move it by less
)

// takeGauge adds one believed head pressure to its gauge's test.
func (t *Tank) takeGauge(r Reading) []Finding {
	c := t.state.Gauges[r.Probe]
	if c == nil {
		c = newGauge()
		t.state.Gauges[r.Probe] = c
	}
	celsius, ok := t.temperatureAsOf(r.Time, warmthGood)
	if !ok {
		return nil
	}
	if t.standsOpen(r.Value) || c.Warmth != t.state.Beer.Thermometer { // another thermometer is off by something else
		c.act(r.Time)
	}
	c.Warmth = t.state.Beer.Thermometer
	switch {
	case r.Time.Before(t.state.Book.HandsOn):
		c.Blind = r.Time
	case r.Time.Sub(t.state.Beer.Gate.At) > t.state.Beer.unheard():
		c.Unsure, t.state.kept = r.Time, true
	}
	t.state.kept = c.remember(r.Time) || t.state.kept
	movedAt, before := c.lastMoved(), c.Last.Value
	complete := c.take(r.Time, r.Value+t.settings.AtmosphereKPa, celsius, t.reliefBand())
	if c.lastMoved().After(movedAt) && math.Abs(c.Last.Value-before) > gasJump {
		t.state.Balances[r.Probe].restart()
	}
	if !complete {
		return nil
	}
	c.misreads(t.state.Beer.Noise)
	c.heardAir(&t.state.Air)
	if c.liftedSince(c.Since) > 0 && c.turned() > liftsTurned {
		c.restart(r.Time)
		return nil
	}
	share := t.headspaceShare()
	c.judge(share, capacity(celsius, share)/t.co2PerPlato(), t.restLags(celsius))
	if t.saysOfMake(c, c.Since) {
		c.Stood = stood{Since: c.Since, Until: c.Points[len(c.Points)-1].At, Depth: c.Rise.Depth}
	}
	return t.judgeGauge(r, c)
}

// standsOpen tells whether a tank is open to the air: by the log, or because it
// was blown down. A log that says it was closed since is believed, but for a
// gauge that reads nothing: cooled so far, its vacuum valve lets air in.
func (t *Tank) standsOpen(gaugeKPa float64) bool {
	switch blown := t.state.Head.Blown; t.state.Book.Gas {
	case GasOpen:
		return gaugeKPa < airReach
	case GasClosed:
		return gaugeKPa < readsNothing
	default:
		return blown && gaugeKPa < airReach
	}
}

// judgeGauge weighs the pressure witness after a finished half hour.
func (t *Tank) judgeGauge(r Reading, c *gauge) []Finding {
	if !t.mayClimb(c) || c.Score < t.gaugeNeeded(c) {
		return nil
	}
	return t.begin(r, c.onset(r.Arrived))
}

// mayClimb tells whether what a gauge sees may be creep at all: beer that should
// be still, pressure that nothing holds from below, a climb worth the name.
func (t *Tank) mayClimb(c *gauge) bool {
	gas := t.state.Book.Gas
	if t.state.Verdict.Active || gas == GasHeldBelow || gas == GasOpen || c.Score <= 0 || c.Rise.Depth < riseLeast {
		return false
	}
	return t.armed() || t.stoodFinished(c)
}

// stoodFinished tells of a tank whose log is silent whether its gauge shows that its beer was finished: it stood a day and
// longer, closed and under pressure, before it climbed. What stands because a valve holds it does not answer temperature.
func (t *Tank) stoodFinished(c *gauge) bool {
	if b := t.state.Book; b.Empty || b.Working || c.Rise.Onset.Sub(Later(c.Since, c.Points[0].At)) < standsBefore {
		return false
	}
	c.reckon(t.headspaceShare()) // after a restart, or a door, no fit has yet
	if stood, low := c.stoodBefore(c.Rise.Onset); !stood || low < t.settings.AtmosphereKPa+airReach {
		return false
	}
	for name, f := range t.state.Floats {
		if !t.faulty(name) && f.fellUntil(c.Rise.Onset) > settlesMost { // a valve let go of what was made
			return false
		}
	}
	return true
}

// fellUntil is by how much a float's extract went down from its first hours to the last before a moment, degP.
func (f *float) fellUntil(at time.Time) float64 {
	var plato []float64
	for _, p := range f.Points {
		if p.At.Before(at) {
			plato = append(plato, p.Plato)
		}
	}
	if n := len(plato); n >= floatLeast {
		return median(plato[:floatLeast/2]) - median(plato[n-floatLeast/2:])
	}
	return 0
}

// stoodBefore tells whether a gauge stood over the last hours before a moment, moved by temperature alone, and how low, kPa
// absolute, it was in all of the stretch.
func (c *gauge) stoodBefore(at time.Time) (stood bool, low float64) {
	low = math.Inf(1)
	high, least, most := math.Inf(-1), math.Inf(1), 0.0
	for _, p := range c.Points {
		if !p.At.Before(at) {
			break
		}
		low, high = min(low, p.KPa), max(high, p.KPa)
		if at.Sub(p.At) <= standsBefore {
			alike := p.KPa * p.room / c.Points[0].room
			least, most = min(least, alike), max(most, alike-least)
		}
	}
	return high-low >= closedMoves && most <= stoodMoves, low
}

// gaugeNeeded is the score at which a gauge convinces.
func (t *Tank) gaugeNeeded(c *gauge) float64 {
	needed := c.lessByValve(t.scoreNeeded()+riseDoubt, t.headspaceShare()) + c.Rise.slow()
	if t.cooling() {
		needed += riseCooled
	}
	needed += riseTurned * max(0, c.turned()-turnedFreely)
	if c.onlyFed() {
		return needed
	}
	age := c.Points[len(c.Points)-1].At.Sub(c.Since)
	return needed + riseFresh*max(0, 1-age.Hours()/freshFor.Hours())
}

// slow is how many nats more are asked of a climb that is slower than creep mostly is: gas that comes to rest over days is.
func (f fall) slow() float64 { return riseSlow * max(0, 1-f.Rate/riseSlowest) }

// contradicts tells whether a live gauge of a closed tank shows no such make of
// CO2 as a float's fall would be, or showed none over most of it until hands
// moved its gas. It does not silence a float, for the log may be wrong about
// the closing; it asks the float for more.
func (t *Tank) contradicts(f *float) bool {
	for name := range t.state.Gauges {
		c, depth := t.gaugeSeen(name), doubtedShare*f.Fall.Depth
		switch {
		case t.faulty(name):
		case t.saysOfMake(c, f.Fall.Onset):
			if c.Rise.Depth < depth {
				return true
			}
		case c.Stood.Depth < depth && c.Stood.watched(f.Fall.Onset, t.state.Now):
			return true
		}
	}
	return false
}

// saysOfMake tells whether a gauge would show what is made since a moment: of a closed tank whose pressure moves, and that
// lets nothing go.
func (t *Tank) saysOfMake(c *gauge, since time.Time) bool {
	gas := t.state.Book.Gas
	if !gas.mayBeClosed() || len(c.Points) < gaugeLeast {
		return false
	}
	if !c.Points[len(c.Points)-1].At.After(since) { // it fell silent before, and knows nothing of it
		return false
	}
	if len(c.valves(since, c.Last.At)) > 0 { // one lets go of what is made, known or not
		return false
	}
	low, high := c.lately(24*time.Hour, func(p *headPoint) float64 { return p.KPa })
	return gas == GasClosed || high-low > closedMoves && high > t.settings.AtmosphereKPa+airReach
}

// movedGas tells the gauges' tests that people moved gas. A sample is too
// little to matter, or a jump that the gauge sees.
func (t *Tank) movedGas(e Event) {
	if e.Name != "sample" {
		t.restartGauges(e.Time, e.Name == "gas")
	}
}

// restartGauges lets the gauges begin anew: hands put gas on, or did what else may let it off.
func (t *Tank) restartGauges(at time.Time, gas bool) {
	for _, c := range t.state.Gauges {
		c.logged(at, gas)
	}
	for _, a := range t.state.Lone {
		a.Gauge.logged(at, gas)
	}
}
