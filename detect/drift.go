package detect

import (
	"fmt"
	"math"
	"time"
)

// drift watches the beer's temperature against the setpoint in force.
type drift struct {
	Thermometer string  // the probe that speaks for the beer
	Offers      []offer `json:",omitempty"` // of others, in the newest moment
	Gate        gate
	Start       float64 // degC when the setpoint was logged, or as it was first heard since; 0: not heard yet
	Reached     bool    // beer has been within the allowance since the setpoint was logged
	ReachedAt   time.Time
	Lowest      float64
	LowestAt    time.Time // newest progress while cooling
	Side        side
	Recent      []sample  // the last minutes
	Level       float64   // degC, of them
	OverAt      time.Time // of a lone reading over the limit
	StraysUp    bool      // the newest reading stands above the level
	StraysOver  bool      // and above where a climb's line ends
	Ahead       heading
	Others      map[string]heading // of the thermometers that spoke before: each has tops of its own
	Aside       map[string]aside   // how far each thermometer stands over the one that speaks
	MixedUntil  time.Time          // beer comes in from another tank until then
	Freezing    bool               // near its freezing point
	LeaptAt     time.Time          // when the level had risen faster than cellars warm beer
	Steps       bool               // the newest mean of minutes stands higher than cellars warm beer between two ...
	SteppedAt   time.Time          // ... since then: a door may be open
	Shut        []shutDoor         `json:",omitempty"` // doors that were seen to be shut in the newest moment
	Straight    bool               // the newest means go up along a line: no door
	ClimbsFrom  time.Time          // since when it would leave it
	PassesAt    time.Time          // when it will have left, where Side says climbing
	WarmAt      time.Time          // when it last left it and nothing had foretold that, or was foretold to ...
	Warmest     float64            // ... and the highest level since
}

// side is in which way the beer has left its setpoint.
type side string

const (
	within   side = ""
	warm     side = "warm"
	cold     side = "cold"
	climbing side = "climbing" // within its allowance yet, and about to leave it
	stalled  side = "stalled"
)

// How beer temperature is judged (common practice). The allowances above and
// below the setpoint are settings.
const (
	driftDeadband   = 0.5              // K back inside the allowance before the alarm may end
	driftStretch    = 12 * time.Minute // over which a level is taken
	jacketPull      = 1.5              // K/h
	warmedBy        = 1.0              // K below a setpoint, from where beer is warmed up to it, and ...
	warmedNear      = 0.25             // ... K, so near to which it has come there
	climbNear       = time.Hour        // to the limit, from where a climb is found at once ...
	climbWatched    = 30 * time.Minute // ... or else after so long
	noiseWithin     = 31 * time.Minute // between two readings that say the same
	sparseJump      = 0.45             // K from one reading to the next, of a probe that speaks less often than that
	driftPace       = 20 * time.Second // between the readings that count for it
	driftJump       = 1.0              // K between two readings that asks for a second one: a wild value, a door
	straysLeast     = 0.25             // K between a reading and where the beer is said to be, that asks for the next ...
	straysSigmas    = 3.0              // ... and more where the thermometer has noise
	lineOver        = 2 * time.Hour    // of a steady rise, whose line tells better than the newest minutes where beer is ...
	lastDigit       = 0.1              // ... K, of a thermometer that shows no more
	warmFor         = 20 * time.Minute // past the limit, before it is told
	coolingProgress = 0.1              // K that cooling must gain; the deadband, to end a stall
	coolingPatience = 3 * time.Hour
	thermometerLost = 2 * time.Hour // then the next best probe speaks for the beer
	pausesLost      = 3             // of a probe that seldom speaks, in which what it says next is held against what it said before
	warmestInBeer   = 40.0          // degC; above it the probe hangs in caustic, not in beer
)

// takeTemperature follows the probe that speaks for the beer.
func (t *Tank) takeTemperature(r Reading) []Finding {
	d := &t.state.Drift
	if !ofBeer(r) {
		return nil
	}
	p := t.state.Probes[r.Probe]
	p.Celsius.pass(r.Value, r.Time, math.Inf(1))
	switch {
	case t.settings.At[r.Probe] == Head: // it tells of the gas
		return nil
	case r.Probe == d.Thermometer:
	case t.offers(r):
		return nil
	default:
		t.learnAside(r)
		return nil
	}
	if t.pulled(r) || !d.Gate.pass(r.Value, r.Time, d.jump(r)) {
		return nil
	}
	level := d.level(r, max(thermometerLost, pausesLost*p.Habit))
	fresh := d.Ahead.follow(level, r.Time)
	if fresh {
		d.noteStep(t.barestLag())
		if door, ok := d.Ahead.shut(t.barestLag()); ok {
			d.Shut = append(d.Shut, door)
		}
	}
	if fresh && d.Reached && d.Side == within && t.state.Book.HasSetpoint {
		d.Ahead.learn(d.ReachedAt)
	}
	if fresh && !d.mixes(r.Time) && d.Reached && t.state.Book.HasSetpoint {
		setpoint := t.state.Book.Setpoint + d.asideOf()
		d.Ahead.comesBack(setpoint, setpoint+t.settings.DriftAbove-d.Ahead.readsLow(setpoint), d.Side, d.ReachedAt)
	}
	out := t.freezeRisk(r)
	if !t.state.Book.HasSetpoint {
		return out
	}
	return append(out, t.judgeDrift(r, level, fresh)...)
}

// change lets another thermometer speak for the beer. It is off by something else, so that what the one before it knows
// of the beer's tops says nothing of its own.
func (d *drift) change(probe string) {
	if d.Others == nil {
		d.Others = map[string]heading{}
	}
	if d.Thermometer != "" {
		d.Others[d.Thermometer] = d.Ahead
	}
	d.Thermometer, d.Gate, d.Recent, d.Ahead = probe, gate{}, nil, d.Others[probe]
	d.Steps, d.Straight, d.SteppedAt, d.LeaptAt, d.WarmAt = false, false, time.Time{}, time.Time{}, time.Time{} // by the trail of the other
	delete(d.Others, probe)
}

// jump is the step between two readings that asks for a second one. A strong jacket takes beer far between the readings of
// a probe that seldom speaks.
func (d *drift) jump(r Reading) float64 {
	if past := r.Time.Sub(d.Gate.At); d.Gate.Seen && past >= seldomSpeaks && past < thermometerLost {
		return driftJump + jacketPull*past.Hours()
	}
	return driftJump
}

// beerTemperature is the newest from the beer's thermometer, if it is not older than two hours.
func (t *Tank) beerTemperature(at time.Time) (float64, bool) {
	return t.temperatureAsOf(at, thermometerLost)
}

// setpoint puts a new setpoint in force; the beer is given the time that cooling takes.
func (t *Tank) setpoint(celsius float64, at time.Time) []Finding {
	b := &t.state.Book
	out := t.noSetpoint()
	b.HasSetpoint, b.Setpoint, b.SetAt = true, celsius, at
	t.state.Drift.Start = t.state.Drift.Gate.Value
	return out
}

// noSetpoint takes the setpoint back.
func (t *Tank) noSetpoint() []Finding {
	d := &t.state.Drift
	was := d.Side
	t.state.Book.HasSetpoint = false
	d.Reached, d.Side, d.LowestAt, d.Recent = false, within, time.Time{}, nil
	d.Ahead.forget()
	d.Others, d.Aside = nil, nil
	if was == within {
		return nil
	}
	return []Finding{{
		Alarm: CrashDrift, Time: t.state.Now,
		Summary: fmt.Sprintf("%s: the log has a new setpoint", t.name),
	}}
}

// judgeDrift holds one believed temperature, the level it belongs to and perhaps a new mean of minutes against the setpoint.
func (t *Tank) judgeDrift(r Reading, level float64, fresh bool) []Finding {
	d, setpoint := &t.state.Drift, t.state.Book.Setpoint+t.state.Drift.asideOf() // as this thermometer reads it
	if d.Start == 0 {
		d.Start = r.Value
	}
	over := level - setpoint
	above, below := t.settings.DriftAbove, t.settings.DriftBelow
	// Well inside, not at the edge: noise would carry it out again. Beer that is warmed up to it comes slowly: what it passes
	// on its way are no tops, and a room that is too cool for it no fault.
	least := -max(below-driftDeadband/2, below/2)
	if d.Start < setpoint-warmedBy {
		least = -warmedNear
	}
	if !d.Reached && (over <= above/2 || over <= above && d.Ahead.keptUnder(setpoint+above)) && over >= least {
		d.Reached, d.ReachedAt = true, r.Time
	}
	// A probe that seldom speaks has had its wait: its level is its newest reading.
	before, waits := d.Side, d.waits(level, &d.StraysUp) && (len(d.Recent) > 1 || r.Value < level)
	above -= d.Ahead.readsLow(setpoint)
	switch {
	case !d.Reached && over > above:
		d.Side = d.cooling(r.Time)
	case !d.Reached: // being warmed toward it
		d.Side = within
	case before == within && over > above/2 && over < above+doorMost && d.door(level, t.barestLag(), r.Time):
		if over > above {
			d.OverAt = r.Time
		}
	case over > above && before != warm && d.mayBeNoise(r):
		d.OverAt = r.Time
	case over > above && before != warm && waits:
	case over > above || d.passesSteadily(over, above, setpoint, r.Time) || before == warm && over > above-driftDeadband && !d.recedes(level, r.Time):
		d.Side = warm
	case over < -below || (before == cold && over < -below+driftDeadband):
		d.Side = cold
	case before == climbing && d.recedes(level, r.Time):
		d.Side = within
	case !fresh && d.Side == climbing: // it is judged with every new mean
	case !fresh:
		d.Side = within
	default:
		d.Side = d.climbs(setpoint+above, setpoint, t.almost(), r.Time)
	}
	d.noteWarmest(before, level, r.Time)
	if d.Side == before {
		return nil
	}
	return []Finding{t.driftFinding(r)}
}

// passesSteadily tells whether beer that has gone up for hours is past its limit by their line, while the level, behind it
// and in whole tenths, is not there yet.
func (d *drift) passesSteadily(over, above, setpoint float64, now time.Time) bool {
	return over > above-lastDigit && !d.steppedLately(now) && d.Ahead.steady(lineOver).level > setpoint+above
}

// noteWarmest keeps when the beer passed its limit unforetold, or was foretold to, and how warm it became since.
func (d *drift) noteWarmest(before side, level float64, now time.Time) {
	switch {
	case d.Side == warm && before == climbing:
		d.WarmAt = time.Time{}
	case d.Side != warm && d.Side != climbing:
	case before != d.Side:
		d.WarmAt, d.Warmest = now, level
		if d.Side == climbing { // near the limit it has had part of its wait
			d.WarmAt = now.Add(-d.Ahead.served(d.PassesAt.Sub(now)))
		}
	default:
		d.Warmest = max(d.Warmest, level)
	}
}

// recedes tells whether a level that passed the limit, or was foretold to, so lately that nobody was called yet has come
// back: a door was opened and shut, for beer that warms does not cool down by itself.
func (d *drift) recedes(level float64, now time.Time) bool {
	return now.Sub(d.WarmAt) <= warmFor && d.Warmest-level > d.straysBy()
}

// level is the temperature of the last minutes: their median, so that no single reading, wild or noisy, leaves the allowance.
// One that jumps after a pause that is none to its probe is noise until the next one tells.
func (d *drift) level(r Reading, pause time.Duration) float64 {
	if n := len(d.Recent); n == 0 || r.Time.Sub(d.Recent[n-1].At) >= driftPace {
		d.Recent = append(d.Recent, sample{At: r.Time, Value: r.Value})
	}
	for r.Time.Sub(d.Recent[0].At) > driftStretch {
		d.Recent = d.Recent[1:]
	}
	n, before := len(d.Recent), d.Gate.Before
	values := make([]float64, 0, driftStretch/driftPace+2)
	for _, s := range d.Recent {
		values = append(values, s.Value)
	}
	level := median(values)
	jumps := math.Abs(level-d.Level) > sparseJump && math.Abs(level-before.Value) > sparseJump
	goesOn := (before.Value-d.Level)*(level-before.Value) > 0 && math.Abs(before.Value-d.Level) > sparseJump
	if n == 1 && d.Reached && r.Time.Sub(before.At) < pause && jumps && !goesOn {
		return d.Level // of a probe that seldom speaks: the next one will tell
	}
	d.Level = level
	return level
}

// mayBeNoise tells whether a reading over the limit stands alone: beer that did not climb is over it only once two
// readings say so.
func (d *drift) mayBeNoise(r Reading) bool {
	gap := r.Time.Sub(d.Gate.Before.At)
	return len(d.Recent) == 1 && gap < noiseWithin && d.Ahead.Climb.Slope == 0 && d.Side != climbing && r.Time.Sub(d.OverAt) > noiseWithin
}

// climbs tells whether beer that is within its allowance is about to leave it. A climb that was told goes on until it is over.
func (d *drift) climbs(limit, setpoint, almost float64, now time.Time) side {
	if at, soon := d.Ahead.passes(limit, setpoint, almost); soon && d.Side != warm {
		if d.ClimbsFrom.IsZero() {
			d.ClimbsFrom = now
		}
		if d.Side != climbing && (now.Before(d.MixedUntil) || d.leaptLately(now) || d.steppedLately(now) || now.Sub(d.WarmAt) < doorShut || d.waits(d.Ahead.ends(), &d.StraysOver)) {
			return within
		}
		// While the limit is far, it may yet be a door; and a plant that fails brings the other tanks.
		if d.Side == climbing || at.Sub(now) < climbNear || now.Sub(d.ClimbsFrom) >= climbWatched {
			if d.Side != climbing {
				d.PassesAt = Later(at, now)
			}
			return climbing
		}
		return within
	}
	d.ClimbsFrom = time.Time{}
	if d.Side == climbing {
		if !d.Ahead.over() {
			return climbing
		}
		d.WarmAt = time.Time{} // no door, whose beer goes back
	}
	return within
}

// strays is how far the newest believed reading stands from where the beer is said to be, if that is far: a wild value that
// the gate let through has part in one of the two, and the next reading tells in which.
func (d *drift) strays(level float64) float64 {
	if off := d.Gate.Value - level; math.Abs(off) > d.straysBy() {
		return off
	}
	return 0
}

// straysBy is how far noise alone takes no reading, K.
func (d *drift) straysBy() float64 { return max(straysLeast, straysSigmas*d.Ahead.Noise) }

// waits tells whether a level is to be borne out by the next reading. Two readings in a row above it are beer that warms
// faster than its level can follow.
func (d *drift) waits(level float64, above *bool) bool {
	off, was := d.strays(level), *above
	*above = off > 0
	return off < 0 || off > 0 && !was
}

// cooling tells whether cooling toward the setpoint still gets on.
func (d *drift) cooling(at time.Time) side {
	if len(d.Ahead.Trail) == 0 {
		return within
	}
	level := d.Ahead.settled()
	progress := coolingProgress
	if d.Side == stalled {
		progress = driftDeadband
	}
	if d.LowestAt.IsZero() || level <= d.Lowest-progress {
		d.Lowest, d.LowestAt = level, at
		return within
	}
	trail := d.Ahead.Trail
	seldom := trail[len(trail)-1].At.Sub(trail[max(0, len(trail)-3)].At) // a level of three means is so far behind
	if at.Sub(d.LowestAt) >= coolingPatience+seldom {
		return stalled
	}
	return d.Side
}

// driftFinding puts a change of side into words.
func (t *Tank) driftFinding(r Reading) Finding {
	d, setpoint := &t.state.Drift, t.state.Book.Setpoint
	value := r.Value - d.asideOf()
	f := Finding{
		Alarm: CrashDrift, Active: d.Side != within, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			TemperatureCelsius: &value, SetpointCelsius: &setpoint,
			Witnesses: []string{fmt.Sprintf("%s: %s%s", r.Probe, t.temperature(r.Value), t.readsAside())},
		},
	}
	off := t.difference(math.Abs(value - setpoint))
	switch d.Side {
	case warm:
		if !d.steppedLately(r.Time) { // a door's step is no climb that has had its wait
			read := setpoint + d.asideOf()
			f.Held = d.Ahead.waited(read + t.settings.DriftAbove - d.Ahead.readsLow(read))
		}
		if past := r.Time.Sub(d.OverAt); past < noiseWithin {
			f.Held = max(f.Held, past)
		}
		f.Summary = fmt.Sprintf("%s: beer is warming: %s at %s, %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), off, t.temperature(setpoint))
	case climbing:
		f.Held = d.Ahead.served(d.PassesAt.Sub(r.Time))
		f.Evidence.Forecast = &Forecast{
			Limit:        "its limit of " + t.temperature(setpoint+t.settings.DriftAbove),
			LimitReached: &Span{Low: r.Time, High: d.PassesAt.Add(d.PassesAt.Sub(r.Time))},
		}
		past := ""
		if d.Ahead.known() {
			past = " past its usual highs"
		}
		f.Summary = fmt.Sprintf("%s: beer is warming: %s at %s and climbing%s; %s it will be %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), past, t.about(d.PassesAt, r.Time), t.difference(t.settings.DriftAbove), t.temperature(setpoint))
	case cold:
		f.Summary = fmt.Sprintf("%s: beer is too cold: %s at %s, %s under its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), off, t.temperature(setpoint))
	case stalled:
		f.Onset = d.LowestAt
		f.Summary = fmt.Sprintf("%s: cooling has stalled at %s since %s, %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(d.LowestAt), off, t.temperature(setpoint))
	case within:
		f.Summary = fmt.Sprintf("%s: beer is back at %s, setpoint %s", t.name, t.temperature(value), t.temperature(setpoint))
		if !d.Reached {
			f.Summary = fmt.Sprintf("%s: cooling again: beer at %s, on its way to %s", t.name, t.temperature(value), t.temperature(setpoint))
		}
	}
	return f
}
