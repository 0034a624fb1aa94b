package detect

import (
	"fmt"
	"time"

	"spile/detect/beer"
)

// How a vacuum is told before it comes. Gauges that are closed at the factory
// have the weather on them, and a zero of their own: what one of them shows
// near zero is not the last word (common practice).
const (
	vacuumLimit     = -1.0 // kPa below the gauge's learned zero
	vacuumResting   = -2.5 // kPa, in a tank of beer that is not cooled, or only back to its setpoint: the weather on a gauge does as much
	vacuumAired     = 3.0  // kPa either way, the most of what a gauge once showed in an open tank that counts: the weather turns
	vacuumOpen      = -7.0 // kPa, in a tank that stands open: it can hold no vacuum, so rather a gauge's zero
	vacuumDeadband  = 1.0  // kPa
	vacuumJump      = 2.0  // kPa between two readings that asks for a second one
	vacuumNear      = 6.0  // kPa: nearer than this a cooling tank is looked at closely
	vacuumMost      = 2.0  // kPa above zero at which cooling may not end: that much a gauge can be off
	vacuumFar       = 5.0  // kPa, the same of a gauge that seldom speaks, in beer that is cooled on purpose: rather a call too many
	vacuumFalling   = 4.0  // kPa above zero, the same of a fall that would be at the air's pressure before long
	vacuumReach     = 1.25 // kPa over zero that a fall which goes on may come to in that time, in beer that is cooled on purpose
	vacuumBrought   = 1.25 // kPa from where beer that came a long way to its setpoint may yet be pulled below the air: CO2 goes on into it
	vacuumDoubt     = 0.5  // kPa below zero at which beer that comes back from nearby must end
	vacuumOver      = 8.0  // kPa, from where a tank that was told of is safe: the weather alone brings it over less
	vacuumLeast     = 0.2  // kPa, the same of beer that is hardly cooled any more ...
	vacuumPerKelvin = 0.2  // ... and more for each K it has to go
	vacuumForeseen  = -6.0 // kPa at which cooling must end to be told when it is logged: solubility is not known better
	vacuumClosing   = 8.0  // kPa on a tank that was opened in the last hours, under which its cooling can be foreseen too ...
	vacuumComesBack = 9.0  // kPa ... and what gas that comes back may lift its end by
	airInHead       = 40.0 // kPa that a head which was opened for hops may hold: beer does not take it up
	vacuumAhead     = 2.0  // h: time to put CO2 on
	seldomSpeaks    = 20 * time.Minute
	stillFalling    = 0.2 // kPa/h, a little less than weather can
	cooledLately    = 60 * time.Hour
	restsAfter      = 12 * time.Hour
	coolsReally     = 0.7 // K since the setpoint was logged
	coolsFar        = 1.5 // K in the last hours, more than a thermostat's cycle
	coolsOn         = 4.0 // K further down, that beer is taken to be cooled which nobody logged a setpoint for
)

// vacuumComes tells whether cooling takes the pressure below the atmosphere.
func (t *Tank) vacuumComes(level float64) bool {
	h := &t.state.Head
	if h.Blown || t.state.Book.Gas == GasOpen || t.state.Book.Gas == GasHeldBelow || !t.cooling() {
		return false
	}
	long, ok1 := h.slope(headLong)
	short, ok2 := h.slope(headShort)
	if !ok1 || !ok2 || -long < stillFalling || -long > fastestByCooling || -short < 0 {
		return false
	}
	zero, margin, end, later := h.zero(), t.vacuumMargin(), t.coolingEnd(level), level+max(long, short)*vacuumAhead
	if t.coolingLogged() {
		cycles := t.state.Drift.held(t.state.Now) && t.cooledBy() <= coolsFar
		return level < vacuumNear && end < margin+zero || later < vacuumReach+zero && end < vacuumFalling && !cycles
	}
	// Nobody logged it: the fall must go on. Beer that came a long way back to its setpoint drinks on there; what comes back
	// from nearby, as in each of a thermostat's cycles, pulls no harder than it did before.
	most := zero - vacuumDoubt
	if t.cooledAnew() || t.cooledBy() > coolsFar {
		most = max(2*margin, vacuumBrought)
	}
	return -short > stillFalling && later < margin/2+zero && end < most
}

// vacuumBeforeNext is the same for a gauge that seldom speaks: by its last two readings, could it be below the air before
// there is time to see the next ones and to put CO2 on?
func (t *Tank) vacuumBeforeNext(r Reading) bool {
	before := t.state.Balances[r.Probe].Gate.Before
	past := r.Time.Sub(before.At)
	h, gas := &t.state.Head, t.state.Book.Gas
	if before.At.IsZero() || past < seldomSpeaks || past > blowWithin || h.Blown || gas == GasOpen || gas == GasHeldBelow || !t.cooling() {
		return false
	}
	fall := t.lastFall(r)
	if fall < 2*stillFalling || fall > fastestByCooling {
		return false
	}
	zero, ahead, margin := h.zero(), vacuumAhead+past.Hours(), t.vacuumMargin()
	reach, end := margin/2, margin+zero
	if t.coolingLogged() {
		reach, end = vacuumReach, vacuumFar
	}
	return r.Value-fall*ahead < reach+zero && t.coolingEnd(r.Value) < end
}

// vacuumMargin is how far above zero cooling may not end, kPa. Beer that is only brought back to its setpoint has little
// to go, and solubility matters as little.
func (t *Tank) vacuumMargin() float64 {
	if t.coolingLogged() {
		return vacuumMost
	}
	return min(vacuumMost, vacuumLeast+vacuumPerKelvin*t.coolingLeft())
}

// lastFall is how fast a gauge fell between its last two readings, kPa/h.
func (t *Tank) lastFall(r Reading) float64 {
	before := t.state.Balances[r.Probe].Gate.Before
	if past := r.Time.Sub(before.At); !before.At.IsZero() && past > 0 {
		return (before.Value - r.Value) / past.Hours()
	}
	return 0
}

// cooling tells whether beer is being cooled, logged or not, or only just was:
// CO2 goes on into cold beer for a day or two.
func (t *Tank) cooling() bool {
	return t.cooledBy() > coolsReally || t.coolingLogged() && t.state.Drift.Start-t.state.Beer.Gate.Value > coolsReally
}

// cooledBy is how far the beer is below what it was in the last hours, K.
func (t *Tank) cooledBy() float64 {
	by := 0.0
	for _, w := range t.state.Balances {
		by = max(by, w.Mild-w.Celsius)
	}
	return by
}

// cooledAnew tells whether beer is being cooled to where it was not before: to a setpoint of these days, or below the one
// it has. Beer that comes back to it, as after a failure, pulls no harder than it did there.
func (t *Tank) cooledAnew() bool {
	if !t.cooling() {
		return false
	}
	celsius, ok := t.beerTemperature(t.state.Now)
	return t.coolingLogged() || !ok || !t.state.Book.HasSetpoint || celsius < t.state.Book.Setpoint-coolsReally
}

// coolingLogged tells whether a setpoint was logged in the last days.
func (t *Tank) coolingLogged() bool {
	b := t.state.Book
	return b.HasSetpoint && t.state.Now.Sub(b.SetAt) < cooledLately
}

// held tells whether beer came to its setpoint so long ago that its head space rests with it: what falls then is a
// thermostat's cycle, and comes back, unless the beer was away from it meanwhile.
func (d *drift) held(now time.Time) bool { return d.Reached && now.Sub(d.ReachedAt) >= restsAfter }

// coolingLeft is how far beer still has to cool to its setpoint, K.
func (t *Tank) coolingLeft() float64 {
	if celsius, ok := t.beerTemperature(t.state.Now); ok {
		return max(celsius-t.state.Book.Setpoint, 0)
	}
	return 0
}

// coolingEnd is the head pressure that a closed tank comes to at its setpoint, kPa, if all its gas is CO2.
func (t *Tank) coolingEnd(level float64) float64 { return t.coolingEndWith(level, 0) }

// coolingEndWith is the same of a head that holds some kPa of air.
func (t *Tank) coolingEndWith(level, air float64) float64 {
	celsius, ok := t.beerTemperature(t.state.Now)
	if !ok {
		return level
	}
	now := beer.ClosedTank{
		Celsius: celsius, GaugeKPa: level, BeerLiters: 1, HeadspaceLiters: t.headspaceShare(), InertKPa: air, AtmosphereKPa: t.settings.AtmosphereKPa,
	}
	return now.AfterTemperature(t.coolsTo(celsius)).GaugeKPa
}

// coolsTo is where cooling leads: to the setpoint or, once beer has left it downward and nobody logged another, further on.
// Where none is in force it is the last one that was or, before any, 0 degC: rather too cold than too warm.
func (t *Tank) coolsTo(celsius float64) float64 {
	if setpoint := t.state.Book.Setpoint; celsius >= setpoint-coolsReally {
		return min(setpoint, celsius)
	}
	return celsius - coolsOn
}

// foreseeVacuum looks at a cooling that was just logged: a closed tank with
// little pressure on it will be pulled below the air, hours from now. Nobody knows how much air went into its head when it
// was opened, nor how much gas its beer gives back: what they may yet prevent is a word to who logs the setpoint, and an alarm
// once the pressure falls to it.
func (t *Tank) foreseeVacuum(at time.Time) []Finding {
	h := &t.state.Head
	latest, known := t.state.Last[Pressure]
	if !known || at.Sub(latest.Time) > gaugeLost || t.coolingLeft() < coolsReally || h.Under != airSafe {
		return nil
	}
	switch gas := t.state.Book.Gas; {
	case gas == GasHeldBelow:
		return nil
	case latest.Value < vacuumNear:
		return t.foreseen(latest, at, Low, fmt.Sprintf("%s: stands at %s and is about to be cooled to %s: closed, it may be pulled below the air; open, it takes air in. Put CO2 on first",
			t.name, t.pressure(latest.Value), t.temperature(t.state.Book.Setpoint)))
	case t.isOpen():
		return nil
	}
	end, most := t.coolingEnd(latest.Value), vacuumForeseen
	highest, unless := t.coolingEndWith(latest.Value, airInHead), "much of its gas is air"
	if !t.rested() { // gas that comes back after an opening will lift it yet, to where it stood at the most
		if latest.Value >= vacuumClosing {
			return nil
		}
		most -= vacuumComesBack
		if g := t.state.Gauges[latest.Probe]; g != nil {
			highest, unless = t.coolingEnd(max(latest.Value, g.Before-t.settings.AtmosphereKPa)), "much gas comes back into its head"
		}
	}
	if end >= most {
		return nil
	}
	priority, but := High, ""
	if highest >= 0 {
		priority, but = Low, ", unless "+unless
	}
	return t.foreseen(latest, at, priority, fmt.Sprintf("%s: closed at %s and about to be cooled to %s: head pressure would end near %s%s; put CO2 on first",
		t.name, t.pressure(latest.Value), t.temperature(t.state.Book.Setpoint), t.pressure(end), but))
}

// rested tells whether the head space has had time to rest with the beer since hands were on the gas.
func (t *Tank) rested() bool {
	for _, b := range t.state.Balances {
		if b.At.Sub(b.Since) < restsAfter {
			return false
		}
	}
	return true
}

// foreseen is a vacuum told as its cooling is logged.
func (t *Tank) foreseen(latest Latest, at time.Time, p Priority, says string) []Finding {
	t.state.Head.Under = airForeseen
	value := latest.Value
	return []Finding{{
		Alarm: Vacuum, Active: true, Priority: p, Time: at, Onset: at, Summary: says,
		Evidence: Evidence{PressureKPa: &value, Witnesses: []string{fmt.Sprintf("%s: %s", latest.Probe, t.pressure(value))}},
	}}
}

// air is how near a tank is to being pulled below the air's pressure.
type air int

const (
	airSafe     air = iota
	airForeseen     // the logged cooling will bring it there
	airSoon         // it is on its way there
	airBelow        // it is there
)

// vacuum holds the head pressure against the atmosphere.
func (t *Tank) vacuum(r Reading) []Finding {
	t.noteOpening(r)
	h := &t.state.Head
	limit := h.Zero + vacuumLimit
	open := t.isOpen()
	switch {
	case r.Value >= limit+vacuumDeadband: // well over the highest that it can be: which it is needs no asking
	case open:
		limit = h.Zero + vacuumOpen
	case !t.cooledAnew() && !t.state.Book.Empty:
		limit = min(h.Zero, h.aired()) + vacuumResting
	}
	was := h.Under
	switch {
	case r.Value <= limit && !t.fallsAlone(r, limit), was == airBelow && r.Value < limit+vacuumDeadband:
		h.Under = airBelow
	case h.Soon >= soonBlocks && t.vacuumComes(r.Value), t.vacuumBeforeNext(r):
		h.Under = airSoon
	case was != airSafe && (t.coolingLogged() || !open) && t.state.Book.Gas != GasHeldBelow && t.coolingEnd(r.Value) < vacuumOver:
		h.Under = airForeseen
	default:
		h.Under = airSafe
	}
	if h.Under == was || (h.Under < was && h.Under != airSafe) {
		return nil // no worse, and not over
	}
	return []Finding{t.vacuumFinding(r)}
}

// fallsAlone tells whether a reading stands far below the one just before it, which was over a limit yet: the next will
// tell whether it is wild.
func (t *Tank) fallsAlone(r Reading, limit float64) bool {
	before := t.state.Balances[r.Probe].Gate.Before
	return !before.At.IsZero() && r.Time.Sub(before.At) < seldomSpeaks && before.Value-r.Value > vacuumJump && before.Value > limit
}

// vacuumFinding puts a change into words.
func (t *Tank) vacuumFinding(r Reading) Finding {
	h, value := &t.state.Head, r.Value
	f := Finding{
		Alarm: Vacuum, Active: h.Under != airSafe, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{PressureKPa: &value, Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.pressure(value))}},
	}
	fall := h.fall()
	if t.vacuumBeforeNext(r) {
		fall = t.lastFall(r)
	}
	switch h.Under {
	case airSafe:
		f.Summary = fmt.Sprintf("%s: head pressure is back at %s", t.name, t.pressure(value))
	case airBelow:
		f.Summary = fmt.Sprintf("%s: head pressure is below atmosphere: %s at %s", t.name, t.pressure(value), t.clock(r.Time))
	default:
		f.Summary = fmt.Sprintf("%s: head pressure %s at %s and falling %s an hour: cooling will take it below atmosphere",
			t.name, t.pressure(value), t.clock(r.Time), t.pressure(fall))
	}
	return f
}

// fall is how fast the pressure falls over the last hour, kPa/h.
func (h *head) fall() float64 {
	long, _ := h.slope(headLong)
	return -long
}

// zero is where a gauge is to be taken to read the air's pressure, kPa: half of what it showed when its tank last stood open,
// for that was its own zero, which stays, and the weather, which does not; or what it reads near that now, if that is less.
func (h *head) zero() float64 {
	if h.Zero < 0 {
		return min(h.Zero, h.aired()/2)
	}
	return h.aired() / 2
}

// aired is what of that counts, kPa.
func (h *head) aired() float64 { return min(max(h.Aired, -vacuumAired), vacuumAired) }
