package detect

import (
	"fmt"
	"math"
	"time"
)

// drift watches the beer's temperature against the setpoint in force.
type drift struct {
	Thermometer string // the probe that speaks for the beer
	Gate        gate
	Start       float64 // degC when the setpoint was logged
	Reached     bool    // beer has been within the allowance since the setpoint was logged
	Lowest      float64
	LowestAt    time.Time // newest progress while cooling
	Side        side
	Ahead       heading
	Freezing    bool      // near its freezing point
	PassesAt    time.Time // when it will have left, where Side says climbing
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
	driftDeadband   = 0.5 // K back inside the allowance before the alarm may end
	driftJump       = 1.0 // K between two readings that asks for a second one: a wild value, a door
	coolingProgress = 0.1 // K that cooling must gain ...
	coolingResumed  = 0.3 // K that end a stall
	coolingPatience = 3 * time.Hour
	thermometerLost = 2 * time.Hour // then the next best probe speaks for the beer
	warmestInBeer   = 40.0          // degC; above it the probe hangs in caustic, not in beer
)

// takeTemperature follows the probe that speaks for the beer.
func (t *Tank) takeTemperature(r Reading) []Finding {
	d := &t.state.Drift
	if r.Value > warmestInBeer {
		return nil
	}
	p := t.state.Probes[r.Probe]
	p.Celsius.pass(r.Value, r.Time, math.Inf(1))
	if !t.speaksForBeer(r) {
		return nil
	}
	if r.Probe != d.Thermometer {
		d.Thermometer, d.Gate = r.Probe, gate{}
	}
	if !d.Gate.pass(r.Value, r.Time, driftJump) {
		return nil
	}
	d.Ahead.follow(r.Value, r.Time)
	out := t.freezeRisk(r)
	if !t.state.Book.HasSetpoint {
		return out
	}
	return append(out, t.judgeDrift(r)...)
}

// speaksForBeer chooses one thermometer: a probe that measures temperature
// alone before a float, for a float rides in the warmest layer; never one in
// the head space.
func (t *Tank) speaksForBeer(r Reading) bool {
	d := &t.state.Drift
	if t.settings.At[r.Probe] == Head {
		return false
	}
	if d.Thermometer == "" || r.Probe == d.Thermometer || r.Time.Sub(d.Gate.At) > thermometerLost {
		return true
	}
	return t.state.Floats[r.Probe] == nil && t.state.Floats[d.Thermometer] != nil
}

// beerTemperature is the newest from the beer's thermometer, if it is not older than two hours.
func (t *Tank) beerTemperature(at time.Time) (float64, bool) {
	return t.state.Drift.Gate.asOf(at, thermometerLost)
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
	d.Reached, d.Side, d.LowestAt = false, within, time.Time{}
	if was == within {
		return nil
	}
	return []Finding{{
		Alarm: CrashDrift, Time: t.state.Now,
		Summary: fmt.Sprintf("%s: the log has a new setpoint", t.name),
	}}
}

// judgeDrift holds one believed temperature against the setpoint.
func (t *Tank) judgeDrift(r Reading) []Finding {
	d, setpoint := &t.state.Drift, t.state.Book.Setpoint
	over := r.Value - setpoint
	above, below := t.settings.DriftAbove, t.settings.DriftBelow
	// Well inside, not at the edge: noise would carry it out again.
	if over <= max(above-driftDeadband/2, above/2) && over >= -max(below-driftDeadband/2, below/2) {
		d.Reached = true
	}
	before := d.Side
	switch {
	case !d.Reached && over > above:
		d.Side = d.cooling(r)
	case !d.Reached: // being warmed toward it
		d.Side = within
	case over > above || (before == warm && over > above-driftDeadband):
		d.Side = warm
	case over < -below || (before == cold && over < -below+driftDeadband):
		d.Side = cold
	default:
		d.Side = within
		if at, soon := d.Ahead.passes(setpoint+above, r.Value, before == climbing); soon {
			d.Side, d.PassesAt = climbing, at
		}
	}
	if d.Side == before {
		return nil
	}
	return []Finding{t.driftFinding(r)}
}

// cooling tells whether cooling toward the setpoint still gets on.
func (d *drift) cooling(r Reading) side {
	progress := coolingProgress
	if d.Side == stalled {
		progress = coolingResumed
	}
	if d.LowestAt.IsZero() || r.Value <= d.Lowest-progress {
		d.Lowest, d.LowestAt = r.Value, r.Time
		return within
	}
	if r.Time.Sub(d.LowestAt) >= coolingPatience {
		return stalled
	}
	return d.Side
}

// driftFinding puts a change of side into words.
func (t *Tank) driftFinding(r Reading) Finding {
	d, setpoint := &t.state.Drift, t.state.Book.Setpoint
	value := r.Value
	f := Finding{
		Alarm: CrashDrift, Active: d.Side != within, Time: r.Arrived, Onset: r.Time,
		Evidence: Evidence{
			TemperatureCelsius: &value, SetpointCelsius: &setpoint,
			Witnesses: []string{fmt.Sprintf("%s: %s", r.Probe, t.temperature(value))},
		},
	}
	off := t.difference(math.Abs(value - setpoint))
	switch d.Side {
	case warm:
		f.Summary = fmt.Sprintf("%s: beer is warming: %s at %s, %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), off, t.temperature(setpoint))
	case climbing:
		f.Evidence.Forecast = &Forecast{
			Limit:        "setpoint and allowance",
			LimitReached: &Span{Low: r.Time, High: d.PassesAt.Add(d.PassesAt.Sub(r.Time))},
		}
		f.Summary = fmt.Sprintf("%s: beer is warming: %s at %s and climbing past its usual tops; about %s it will be %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), t.clock(d.PassesAt), t.difference(t.settings.DriftAbove), t.temperature(setpoint))
	case cold:
		f.Summary = fmt.Sprintf("%s: beer is too cold: %s at %s, %s under its setpoint of %s",
			t.name, t.temperature(value), t.clock(r.Time), off, t.temperature(setpoint))
	case stalled:
		f.Onset = d.LowestAt
		f.Summary = fmt.Sprintf("%s: cooling has stalled at %s since %s, %s over its setpoint of %s",
			t.name, t.temperature(value), t.clock(d.LowestAt), off, t.temperature(setpoint))
	case within:
		f.Summary = fmt.Sprintf("%s: beer is back at %s, setpoint %s", t.name, t.temperature(value), t.temperature(setpoint))
	}
	return f
}
