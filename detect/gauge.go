package detect

import (
	"math"
	"slices"
	"time"
)

// gauge is the pressure witness: what one head-pressure gauge says of CO2 being
// made. It keeps half-hourly means since hands last moved the gas, and holds
// them against what gas does by itself (gauge_fit.go).
type gauge struct {
	Block  block
	Warmth string    // the thermometer that its temperatures come from
	Last   sample    // newest reading that was believed
	Held   sample    // one that jumped, until the next stands by it
	Since  time.Time // when hands last moved the gas, a valve within a day of them, or beer turned after a lift; the stretch begins there
	Hands  time.Time // when hands last moved it, logged or seen
	Logged time.Time // the newest act that the log tells of
	Let    time.Time // when hands may last have let gas off, or beer come to give it off
	Before float64   // kPa absolute, the highest that the tank stood at in the days until then; 0: nobody knows
	Points []headPoint
	Lifts  []lift    // small falls of which the stretch goes on, since the first point; the newest ones
	Pace   float64   // kPa per root hour: how fast weather and drift walk, learned
	White  float64   // kPa, noise of one reading, learned
	Score  float64   // of the newest fit, in nats
	Rise   fall      // the alternative's best answer, as the extract that went into the CO2
	Blind  time.Time // when it was last heard without a fresh temperature, or with hands on the tank
	Unsure time.Time // the same of a reading whose moment may yet bring that temperature
	Drop   headDrop
	Days   headDays
	Steady lastDay
	Stood  stood
	Open   weathering
	Was    *gauge `json:"-"` // before the newest moment, where half an hour ended in it; not kept over a restart

	misread float64 // kPa, what a thermometer misses from one point to the next; 0: it counts to the walk
	doubts  bool    // what the points' thermometers misread counts
}

// stood is what a gauge showed of a closed tank, kept when hands move its gas and it begins anew.
type stood struct {
	Since time.Time // of that stretch
	Until time.Time // its newest point
	Depth float64   // degP that its climb came to
}

// watched tells whether the gauge saw at least half of the time since a moment.
func (s *stood) watched(since, now time.Time) bool {
	return s.Until.Sub(Later(since, s.Since)) >= now.Sub(since)/2
}

// headPoint is half an hour of a gauge.
type headPoint struct {
	At      time.Time // newest reading in it
	KPa     float64   // absolute
	Celsius float64   // of the beer
	N       int
	Misread float64 // K, by which its thermometer may be off that knows less than a good one
	Air     float64 // kPa absolute outside, by the site's barometer; 0: none was heard

	room     float64       // capacity, g/L per kPa, once it was reckoned; then ...
	sin, cos float64       // ... of the time of day, too
	past     time.Duration // since the point before
}

// How a gauge is kept, and what is thought of it until it has shown (common practice).
const (
	gaugeWidth   = 30 * time.Minute
	gaugeWindow  = 200              // points kept, some four days
	gaugeSettles = 30 * time.Minute // after an act, of which nothing is kept
	headWhite    = 0.20             // kPa, noise of a reading that is not yet known
	headDigit    = 0.03             // kPa, what rounding to 0.1 leaves
	warmthGood   = 65 * time.Minute // how long a temperature may stand for the beer's
	gaugeLost    = 2 * time.Hour    // how long a gauge's last word may stand for the tank
)

// What no nature does (common practice). Creep and warming lift a small head
// space by some kPa an hour, cooling lets it down faster.
const (
	jumpLeast  = 1.5  // kPa between two readings
	jumpSigmas = 7.0  // of the readings' noise
	natureUp   = 5.0  // kPa/h
	natureDown = 20.0 // kPa/h

	settlesSoon = 45 * time.Minute // after the jump: later, nature may have done it
	stillAway   = 0.5              // of the jump, that has not come back by the next reading
)

// newGauge begins with a gauge of which nothing is known.
func newGauge() *gauge { return &gauge{Pace: paceGuess, White: headWhite, Open: notKnown()} }

// restart begins a new stretch, unless a newer one has begun.
func (c *gauge) restart(at time.Time) {
	if at.Before(c.Since) {
		return
	}
	if at.Sub(c.Since) > putBackWithin {
		c.Before = 0
	}
	last := 0.0
	for _, p := range c.Points {
		if p.At.Before(at) {
			last = p.KPa
		}
	}
	c.Before = max(c.Before, last)
	c.Since, c.Block, c.Score, c.Rise, c.Drop = at, block{}, 0, fall{}, headDrop{}
	c.Days, c.Open = headDays{}, c.Open.goesOn()
	c.Points = slices.DeleteFunc(slices.Clone(c.Points), func(p headPoint) bool { return c.settling(p.At) })
	c.Lifts = slices.DeleteFunc(c.Lifts, func(l lift) bool { return c.settling(l.At) }) // an act may be told late
}

// act begins a new stretch at what hands did, or, told late, at the newest lift that their gas brought about since.
func (c *gauge) act(at time.Time) {
	c.Let = Later(c.Let, at)
	c.fed(at)
}

// fed begins a new stretch at gas that hands put on.
func (c *gauge) fed(at time.Time) {
	c.restart(at)
	c.Hands = Later(c.Hands, at)
	if theirs := c.valves(c.Hands, c.Hands.Add(liftsSettled)); len(theirs) > 0 {
		c.restart(theirs[len(theirs)-1].At)
	}
}

// logged begins a new stretch at what the log tells of hands.
func (c *gauge) logged(at time.Time, gas bool) {
	if gas {
		c.fed(at)
	} else {
		c.act(at)
	}
	c.Logged = Later(c.Logged, at)
	if !at.Before(c.Steady.Day.From) {
		c.Steady = lastDay{}
	}
}

// settling tells whether a moment lies before the stretch, or so soon in it that hands may still be on the gas.
func (c *gauge) settling(at time.Time) bool { return at.Sub(c.Since) < gaugeSettles }

// take adds a believed reading and tells whether a point was completed. A jump
// that nature does not make is hands on the gas, or the relief valve, once the next reading stands by it.
func (c *gauge) take(at time.Time, kPa, celsius float64, relief reliefBand) bool {
	if c.Since.IsZero() { // nobody knows what was done before
		c.Since, c.Hands, c.Let = at, at, at
	}
	last, held, now := c.Last, c.Held, sample{At: at, Value: kPa}
	away := c.staysAway(now)
	jumped := !last.At.IsZero() && at.After(last.At) && (away || c.jumps(last, now) || c.settlesApart(now))
	if jumped && held.At.IsZero() {
		c.Held = now
		return false
	}
	if jumped && !away && c.jumps(held, now) {
		if (now.Value > held.Value) != (held.Value > last.Value) || held.pace(now) > fastestByNature {
			c.Held = now // wild both ways, or hands still at it
			return false
		}
		// It goes on and on: a fast creep, and a gauge that seldom speaks. What began in haste are hands: gas that is put on
		// comes ever more slowly, the nearer it gets to what its regulator is set to.
		jumped = last.pace(held) > fastestByNature
	}
	c.Last, c.Held = now, sample{}
	if jumped {
		c.moves(last, held, now, celsius, relief)
	}
	done, ok := c.Block.add(at, gaugeWidth, kPa, celsius)
	return ok && c.addPoint(done, last.At)
}

// moves takes a jump that the newest reading stands by: a relief valve's goes on within the
// stretch, unless hands were on the gas within the day; any other begins a new one.
func (c *gauge) moves(last, held, now sample, celsius float64, relief reliefBand) {
	between := last.At.Add(now.At.Sub(last.At) / 2)
	switch {
	case c.byValve(last, held, relief):
	case relief.bySample(last, held):
		c.goesOn(last, held, lift{Drawn: true})
		c.Days = headDays{From: between.Add(daysRest)} // they compare levels, and this one is lower by hands
		return
	case held.Value > last.Value:
		c.fed(between)
		return
	default:
		c.act(between)
		return
	}
	if held.At.Sub(c.Hands) < liftsSettled {
		newest := slices.Clone(c.Lifts[max(0, len(c.Lifts)-1):])
		c.restart(between)
		c.Lifts = newest // until the first point, to know what a quick beer gives back
	}
	c.lifted(last, held, celsius, relief.headspace)
}

// wait keeps a reading that is not believed until the next stands by it, where nature does not go so far so soon.
func (c *gauge) wait(at time.Time, kPa float64) {
	now := sample{At: at, Value: kPa}
	if c.Held.At.IsZero() && at.After(c.Last.At) && !c.Last.At.IsZero() && c.jumps(c.Last, now) {
		c.Held = now
	}
}

// jumpLeast is how far apart two readings of a moment must be for no noise to have moved them, kPa.
func (c *gauge) jumpLeast() float64 { return max(jumpLeast, jumpSigmas*c.White) }

// jumps tells whether pressure has moved from one reading to another faster than nature moves it.
func (c *gauge) jumps(from, to sample) bool {
	limit, hours := c.jumpLeast(), to.At.Sub(from.At).Hours()
	return to.Value-from.Value > limit+natureUp*hours || from.Value-to.Value > limit+natureDown*hours
}

// settlesApart tells whether pressure that jumped comes to rest well on the way that it jumped: gas put on by hand that
// the beer takes up between two readings, and no lone wild value.
func (c *gauge) settlesApart(now sample) bool {
	past := now.At.Sub(c.Last.At)
	if c.Held.At.IsZero() || past > settlesSoon {
		return false
	}
	moved, jumped := now.Value-c.Last.Value, c.Held.Value-c.Last.Value
	least := c.jumpLeast() + natureUp/2*past.Hours()
	if moved < 0 { // a small sample is no reason to forget a creep
		least = max(least, gasJump)
	}
	return math.Abs(moved) > least && (moved > 0) == (jumped > 0)
}

// staysAway tells of a gauge that seldom speaks whether pressure that fell at once is not half way back at the next reading: a
// tank that was blown down, whose beer gives gas back between the two. After a wild value it is as it was, and upward it may
// be a creep.
func (c *gauge) staysAway(now sample) bool {
	if c.Held.At.Sub(c.Last.At) < seldomSpeaks || c.Held.Value > c.Last.Value || !c.jumps(c.Last, c.Held) {
		return false
	}
	away := (now.Value - c.Last.Value) / (c.Held.Value - c.Last.Value)
	return away >= stillAway && away < 1
}

// addPoint takes a finished half hour.
func (c *gauge) addPoint(done block, newest time.Time) bool {
	kPa, celsius, deviation, n := done.mean(wildJump)
	if c.settling(newest) || (len(c.Points) > 0 && !newest.After(c.Points[len(c.Points)-1].At)) {
		return false
	}
	if n > 1 && !c.swings(newest) {
		within := min(deviation, 3*c.White)
		c.White = math.Sqrt(c.White*c.White + (within*within-c.White*c.White)/whiteMemory)
	}
	c.Points = append(c.Points, headPoint{At: newest, KPa: kPa, Celsius: celsius, N: n})
	c.Points = c.Points[max(0, len(c.Points)-gaugeWindow):]
	c.Lifts = c.between(c.Points[0].At, newest)
	return true
}

// misreads notes of the newest point what its thermometer misses, by the noise of the means of its trail in K: its own, and
// what the beer does between two words of one that seldom speaks. What a good one misses is in the walk.
func (c *gauge) misreads(noise float64) {
	p := &c.Points[len(c.Points)-1]
	means := min(max(p.N, 1), int(gaugeWidth/headingWidth))
	p.Misread = math.Sqrt(max(0, noise*noise-headingNoise*headingNoise) / float64(means))
}

// turned is by how many K the beer has moved of late.
func (c *gauge) turned() float64 {
	coldest, warmest := c.lately(turnedOver, func(p *headPoint) float64 { return p.Celsius })
	return warmest - coldest
}

// lately are the lowest and the highest of the points of the newest hours.
func (c *gauge) lately(over time.Duration, of func(*headPoint) float64) (low, high float64) {
	newest := &c.Points[len(c.Points)-1]
	low, high = of(newest), of(newest)
	for i := len(c.Points) - 2; i >= 0; i-- {
		p := &c.Points[i]
		if newest.At.Sub(p.At) >= over {
			break
		}
		low, high = min(low, of(p)), max(high, of(p))
	}
	return low, high
}
