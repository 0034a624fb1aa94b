package detect

import (
	"math"
	"time"

	"spile/detect/beer"
)

// balance is the CO2 balance of a closed tank, per litre of beer, kept from one
// head-pressure probe and the beer's temperature: for what a leak takes, and for
// a rise that nothing explains. Whether yeast makes it is the gauge's to say.
//
// Beer and head space exchange CO2 with a lag nobody knows: head pressure runs
// after the pressure at which both agree, P' = (Peq - P) / lag. So for each lag
// that can be, Peq = P + lag P', and with Henry's law and the gas law the CO2
// in the tank is
//
//	M = (H(T) + g(T) h) (P + lag P'),   P the absolute partial pressure of CO2
//
// in g/L, H the solubility, g the density of CO2 gas per kPa, h the head space
// per litre of beer. With no yeast at work M stands still, whatever
// temperature does, for the true lag; a blow-down, a re-sealing, a fall of the
// lag itself move M up for some lags and down for others. Only CO2 that is
// really made lifts it for every lag.
//
// Each lag keeps a one-sided cumulative sum of M's increments less an
// allowance (Page, "Continuous inspection schemes", Biometrika 41 (1954)
// 100-115). The least of the sums is the evidence: CO2 that no exchange
// explains.
type balance struct {
	Gate    gate
	Block   block
	Warmth  string    // the thermometer that its temperatures come from
	Blind   bool      // it was silent since the newest block, or hands were on the tank
	Changed bool      // another speaks for it since
	Since   time.Time // first block of this stretch
	At      time.Time // newest block
	Level   float64   // newest block, kPa absolute
	Celsius float64
	Mild    float64       // degC, low-passed over a thermostat's cycles
	Smooth  float64       // P, low-passed
	Content float64       // (H + g h) P, low-passed
	M       [lags]float64 // g/L, newest
	Sum     [lags]float64 // g/L, Page's sums
	From    [lags]time.Time
	Loss    [lags]float64 // g/L, the same sums downward: CO2 that is gone
	LostAt  time.Time     // when the least of them last stood at zero
	Hour    [4]float64    // kPa absolute, the last hour's blocks
	Trail   []trailPoint  // the last day of M, for rates
	Was     *balance      `json:"-"` // before the newest moment, where a block ended in it; not kept over a restart
}

// trailPoint is one block's CO2 content for each lag.
type trailPoint struct {
	At time.Time
	M  [lags]float64
}

const lags = 7

// exchangeLags are the lags tried, in hours: from a roused tank to a still, cold one.
func exchangeLags() [lags]float64 { return [lags]float64{0.1, 0.5, 1.5, 4, 10, 25, 40} }

// What the sums allow for: weather and drift on a gauge, a thermometer that is not the whole tank, what hands do at once
// (common practice).
const (
	balanceWidth     = 15 * time.Minute
	balanceSmoothing = 1.0              // h, time constant of the low-pass that tames P'
	balanceHoldOff   = 3 * time.Hour    // after an opening, until the low-pass has settled
	unsettled        = 24 * time.Hour   // after an opening, or hops, until gas and beer have come to terms: what is lost before is no leak
	balanceGap       = 6 * time.Hour    // a longer silence begins a new stretch
	trailForLeaks    = 5 * time.Hour    // of M, over which a loss must go on
	balanceTrail     = 24 * time.Hour   // of M kept
	balanceAllowance = 0.10             // g/L per day that weather and a gauge's drift may feign
	lossAllowance    = 0.05             // g/L per day, the same for a loss, most of which the beer makes up for
	warmingAllowance = 0.07             // g/L per K of warming or cooling: a thermometer is not the whole tank
	mildHours        = 6.0              // h, time constant of the temperature that this is reckoned by
	warmingHeld      = 0.15             // K over the mean of the last hours: a valve that holds lets CO2 go
	pinnedWithin     = 0.25             // kPa in an hour: held by a valve or a regulator, CO2 may come and go unseen
	gasJump          = 4.0              // kPa between readings within a few minutes: hands, no yeast
	gasJumpWithin    = 10 * time.Minute // the few minutes
	blockJump        = 10.0             // kPa between blocks: hands too
	wildJump         = 5.0              // kPa, held back until the next reading agrees
	unknownHeadspace = 0.1              // L per L of beer, where the volumes are not given
)

// restartBalances begins a new stretch after people had hands on the gas.
func (t *Tank) restartBalances() {
	for _, b := range t.state.Balances {
		b.restart()
	}
}

// restart begins a new stretch of one gauge.
func (b *balance) restart() { *b = balance{Gate: b.Gate, Warmth: b.Warmth, Was: b.Was} }

// follow notes which thermometer speaks for the beer, and whether it knows what happens to the tank.
func (b *balance) follow(thermometer string, knows bool) {
	if b.Warmth != thermometer && b.Warmth != "" {
		b.Changed, b.Block = true, block{}
	}
	b.Warmth, b.Blind = thermometer, b.Blind || !knows || b.Changed
}

// sees takes up the sums again: what temperature or hands did meanwhile nobody knows, so that nothing was lost for sure.
// Another thermometer is off by something else, which makes or takes no CO2.
func (b *balance) sees(celsius, headspaceShare float64) {
	if b.Changed && !b.Since.IsZero() {
		scale := capacity(celsius, headspaceShare) / capacity(b.Celsius, headspaceShare)
		b.Mild += celsius - b.Celsius
		b.Content *= scale
		for i := range b.M {
			b.M[i] *= scale
		}
		b.Celsius, b.Trail = celsius, nil
	}
	b.Blind, b.Changed, b.Loss = false, false, [lags]float64{}
}

// takeBalance adds one believed head pressure and tells whether a block was completed.
func (t *Tank) takeBalance(r Reading, before gate) (*balance, bool) {
	b := t.state.Balances[r.Probe]
	celsius, ok := t.beerTemperature(r.Time)
	if !ok {
		return b, false
	}
	b.follow(t.state.Beer.Thermometer, r.Time.Sub(t.state.Beer.Gate.At) <= warmthGood && !r.Time.Before(t.state.Book.HandsOn))
	if t.jumped(r, before) {
		b.restart()
	}
	t.state.kept = b.remember(r.Time) || t.state.kept
	done, complete := b.Block.add(r.Time, balanceWidth, r.Value+t.settings.AtmosphereKPa, celsius)
	if !complete {
		return b, false
	}
	level, warmth, _, _ := done.mean(wildJump)
	if !b.At.IsZero() && (b.jumps(level, done.Start) || done.Start.Sub(b.At) > balanceGap) {
		*b = balance{Gate: b.Gate, Block: b.Block, Warmth: b.Warmth, Was: b.Was}
	}
	if b.Blind {
		b.sees(warmth, t.headspaceShare())
	}
	b.step(done.Start, level, warmth, t.headspaceShare())
	return b, true
}

// jumps tells whether hands moved the gas since the newest block: no gas goes up so far by itself, nor down so fast.
func (b *balance) jumps(level float64, at time.Time) bool {
	seldom := max(0, (at.Sub(b.At) - balanceWidth).Hours())
	return level-b.Level > blockJump || b.Level-level > blockJump+natureDown*seldom
}

// jumped tells whether hands moved the gas just before a reading, by the two that passed before it. A jump that the gauge
// holds back may be wild: once the next reading stands by it, gauge and balance begin anew together.
func (t *Tank) jumped(r Reading, before gate) bool {
	far := func(value float64) bool { return math.Abs(r.Value-value) > gasJump }
	c := t.state.Gauges[r.Probe]
	held := c != nil && c.Held.At.Equal(r.Time)
	return before.Seen && r.Time.Sub(before.At) <= gasJumpWithin && far(before.Value) && far(before.Before.Value) && !held
}

// volumesTold tells whether somebody said how much beer there is, and how much head space.
func (t *Tank) volumesTold() bool {
	return t.settings.BeerLiters > 0 && t.settings.HeadspaceLiters > 0
}

// headspaceShare is the head space per litre of beer.
func (t *Tank) headspaceShare() float64 {
	if t.volumesTold() {
		return t.settings.HeadspaceLiters / t.settings.BeerLiters
	}
	return unknownHeadspace
}

// zeroCelsius is 0 degC in K (SI).
const zeroCelsius = 273.15

// capacity is what beer and head space take up of CO2, g/L of beer per kPa.
func capacity(celsius, headspaceShare float64) float64 {
	return beer.ClosedTank{
		Celsius: celsius, BeerLiters: 1, HeadspaceLiters: headspaceShare,
	}.GramsPerKPa()
}

// step adds one block.
func (b *balance) step(at time.Time, level, celsius, headspaceShare float64) {
	room := capacity(celsius, headspaceShare)
	first := b.Since.IsZero()
	hoursSince := at.Sub(b.At).Hours()
	b.Level, b.Celsius = level, celsius
	if first {
		b.Since, b.At, b.Smooth, b.Content, b.Mild = at, at, level, room*level, celsius
		return
	}
	b.At = at
	share := 1 - math.Exp(-hoursSince/balanceSmoothing)
	b.Smooth += share * (level - b.Smooth)
	b.Content += share * (room*level - b.Content)
	turn := (1 - math.Exp(-hoursSince/mildHours)) * (celsius - b.Mild)
	b.Mild += turn
	turning := warmingAllowance * math.Abs(turn)
	allowance := balanceAllowance*hoursSince/24 + turning
	settled := at.Sub(b.Since) >= balanceHoldOff
	warming := celsius-b.Mild > warmingHeld
	pinned := math.Abs(level-b.Hour[0]) < pinnedWithin
	copy(b.Hour[:], b.Hour[1:])
	b.Hour[len(b.Hour)-1] = level
	for i, lag := range exchangeLags() {
		// P' low-passed equals (P - smoothed P) / smoothing time.
		m := b.Content + lag*room*(level-b.Smooth)/balanceSmoothing
		if made := m - b.M[i]; settled && !(pinned && made > 0) {
			b.Sum[i] += made - allowance
		}
		if !settled || b.Sum[i] <= 0 {
			b.Sum[i], b.From[i] = 0, at
		}
		if lost := b.M[i] - m; at.Sub(b.Since) >= unsettled && !(pinned && warming && lost > 0) {
			b.Loss[i] = pageSum(b.Loss[i], lost, lossAllowance*hoursSince/24+turning)
		}
		b.M[i] = m
	}
	if b.lost() == 0 {
		b.LostAt = at
	}
	if settled {
		b.Trail = append(b.Trail, trailPoint{At: at, M: b.M})
		for len(b.Trail) > 0 && at.Sub(b.Trail[0].At) > balanceTrail {
			b.Trail = b.Trail[1:]
		}
	}
}

// made is the CO2 in g/L that no lag explains away, and since when.
func (b *balance) made() (grams float64, since time.Time) {
	least := 0
	for i := range b.Sum {
		if b.Sum[i] < b.Sum[least] {
			least = i
		}
	}
	return b.Sum[least], b.From[least]
}

// over is the stretch of the trail over which a rate is told: longer, of a gauge that speaks so seldom that there would be
// too few points.
func (b *balance) over(least time.Duration) time.Duration {
	if n := len(b.Trail); n >= rateLeast {
		return max(least, b.At.Sub(b.Trail[n-rateLeast].At))
	}
	return least
}

// rate is the make of CO2 in g/L per day over the newest stretch of the trail,
// as long as asked for or what a seldom gauge takes: the middle of the lags as
// the value, their extremes and the uncertainty of the solubility as its bounds.
func (b *balance) rate(least time.Duration) (Interval, bool) {
	from, first := b.At.Add(-b.over(least)), len(b.Trail)
	for first > 0 && !b.Trail[first-1].At.Before(from) {
		first--
	}
	var n, sx, sxx float64
	var sy, sxy [lags]float64
	for _, p := range b.Trail[first:] {
		x := p.At.Sub(b.At).Hours() / 24
		n, sx, sxx = n+1, sx+x, sxx+x*x
		for i, m := range p.M {
			sy[i] += m
			sxy[i] += x * m
		}
	}
	spread := n*sxx - sx*sx
	if n < rateLeast || spread <= 0 {
		return Interval{}, false
	}
	slope := func(i int) float64 { return (n*sxy[i] - sx*sy[i]) / spread }
	out := Interval{Value: slope(1), Low: slope(0), High: slope(0)}
	for i := range lagsThatHold {
		out.Low, out.High = min(out.Low, slope(i)), max(out.High, slope(i))
	}
	margin := 2*beer.CO2ModelUncertainty*math.Abs(out.Value) + weatherRate
	out.Low, out.High = out.Low-margin, out.High+margin
	return out, true
}

// What a rate is told with (judgement).
const (
	rateLeast    = 8    // points of the trail
	lagsThatHold = 4    // the rate's bounds run over lags to 4 h; longer ones only multiply noise
	weatherRate  = 0.10 // g/L per day, what the weather on a gauge does to a rate over some hours
)

// pageSum takes one step of a one-sided cumulative sum: what is over the allowance adds up, and the sum never falls below
// nothing (Page, "Continuous inspection schemes", Biometrika 41 (1954) 100-115).
func pageSum(sum, step, allowance float64) float64 { return max(sum+step-allowance, 0) }
