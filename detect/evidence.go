package detect

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"spile/detect/beer"
)

// estimate is a moment with the stretch that holds it.
type estimate struct {
	at   time.Time
	span Span
}

// What a gauge's fit says of the creep behind it, as 95 % bounds around its best
// answer: a ramp that yet goes on understates its rate; by how much was measured
// on simulated cellars (package trial), on 115 calls. A float's bounds are its own.
const (
	gaugeShare    = 1.2  // of a gauge's rate: the likeliest
	gaugeLow      = 0.48 // of the gauge's rate
	gaugeHigh     = 2.4
	gaugeEarlier  = 9 * time.Hour // of a gauge's onset
	gaugeLater    = 150 * time.Minute
	gaugeBehind   = 80 * time.Minute
	saysSomething = 0.3 // of the score needed, below which a witness is said to be silent
)

// AllButStands is a twentieth of a point a day, degP: less would be written as nothing at all.
const AllButStands = 0.0125

// onset is when the climb of a gauge began; it is not later than now.
func (c *gauge) onset(now time.Time) estimate {
	return estimate{
		at:   c.Rise.Onset.Add(-gaugeBehind),
		span: Span{Low: c.Rise.Onset.Add(-gaugeEarlier), High: Earlier(c.Rise.Onset.Add(gaugeLater), now)},
	}
}

// onset is when a float's fall began; it is not later than now.
func (f *float) onset(now time.Time) estimate {
	return estimate{
		at:   f.Fall.Onset,
		span: Span{Low: f.Fall.OnsetLow, High: Earlier(f.Fall.OnsetHigh, now)},
	}
}

// rateOfFall is a float's rate now, degP a day; nil where it sees no fall.
func (t *Tank) rateOfFall(f *float) *Interval {
	if f.Fall.Depth <= 0 {
		return nil
	}
	rate := f.Fall.Now
	return &rate
}

// makeOfFall is the CO2 that a float's fall makes now, g/L per day; nil where it sees no fall.
func (t *Tank) makeOfFall(f *float) *Interval {
	rate := t.rateOfFall(f)
	if rate == nil {
		return nil
	}
	return scaled(rate, t.co2PerPlato())
}

// evidence gathers what each witness saw since the onset.
func (t *Tank) evidence(onset estimate) Evidence {
	e := Evidence{Onset: &onset.span}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		t.floatEvidence(&e, name, t.floatSeen(name))
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Gauges)) {
		t.gaugeEvidence(&e, name, t.gaugeSeen(name))
	}
	t.handEvidence(&e, onset.span)
	if e.RatePlatoPerDay == nil {
		return e
	}
	e.Forecast = &Forecast{
		AddedABVPerDay:     scaled(e.RatePlatoPerDay, beer.AlcoholPerPlato(t.originalPlato())),
		AddedVolumesPerDay: scaled(e.CO2GramsPerLiterDay, 1/beer.GramsPerLiterPerVolume),
	}
	t.forecastRelief(&e)
	return e
}

// floatEvidence adds what a float saw. Its rate counts where no gauge has one.
func (t *Tank) floatEvidence(e *Evidence, name string, f *float) {
	if f.Fall.Depth <= 0 {
		return
	}
	if f.Score < t.gravityNeeded()*saysSomething {
		e.Witnesses = append(e.Witnesses, name+": no fall of gravity to be sure of yet")
		return
	}
	e.Witnesses = append(e.Witnesses, fmt.Sprintf("%s: gravity down %.2f degP (%.1f points) since %s, evidence %.0f, %.0f is enough",
		name, f.Fall.Depth, f.Fall.Depth/beer.PlatoPerPoint, t.clock(f.Fall.Onset), f.Score, t.gravityNeeded()))
	if e.RatePlatoPerDay != nil {
		return
	}
	e.RatePlatoPerDay, e.CO2GramsPerLiterDay = t.rateOfFall(f), t.makeOfFall(f)
	e.RuledOut = append(e.RuledOut, "hops settling on the float, its drift and its temperature: allowed for")
}

// gaugeEvidence adds what a gauge saw, if it saw CO2 being made. Its rate goes before a float's.
func (t *Tank) gaugeEvidence(e *Evidence, name string, c *gauge) {
	if c.Rise.Depth <= 0 {
		return
	}
	needed := c.lessByValve(t.scoreNeeded()+riseDoubt, t.headspaceShare())
	if c.Score < needed*saysSomething {
		return
	}
	newest := c.Points[len(c.Points)-1]
	e.Witnesses = append(e.Witnesses, fmt.Sprintf("%s: %.2f g/L of CO2 made since about %s, head pressure %s%s, evidence %.0f, %.0f is enough",
		name, c.Rise.Depth*t.co2PerPlato(), t.clock(c.Rise.Onset.Add(-gaugeBehind)), t.pressure(newest.KPa-t.settings.AtmosphereKPa),
		c.liftsSaid(c.Rise.Onset), c.Score, needed))
	now := c.Rise.Now * 24
	e.RatePlatoPerDay = &Interval{Value: now * gaugeShare, Low: now * gaugeLow, High: now * gaugeHigh}
	e.CO2GramsPerLiterDay = scaled(e.RatePlatoPerDay, t.co2PerPlato())
	e.RuledOut = append(e.RuledOut, "warming, weather on the gauge, and CO2 that comes out of the beer by itself, even over 40 h: all allowed for")
	if moved, heard := c.airSince(c.Rise.Onset); heard {
		share := "how much of that is on this gauge is not known yet"
		if c.Open.known() {
			share = fmt.Sprintf("%.0f %% of that is on this gauge", 100*c.Open.Share)
		}
		e.RuledOut = append(e.RuledOut, fmt.Sprintf("the weather: by barometer %s the air has changed by %s since then, and %s",
			t.state.Air.Probe, t.pressure(moved), share))
	}
}

// forecastRelief adds when a closed tank comes to its relief setting if CO2 is
// made on at this rate: common practice is to have let it down by then.
func (t *Tank) forecastRelief(e *Evidence) {
	latest := t.seen(Pressure)
	if t.settings.ReliefKPa <= 0 || latest.Time.IsZero() || t.state.Book.Gas == GasOpen || t.state.Book.Gas == GasHeldAbove {
		return
	}
	names := slices.Sorted(maps.Keys(t.state.Balances))
	if len(names) == 0 || e.CO2GramsPerLiterDay.Low <= 0 {
		return
	}
	b := t.balanceSeen(names[0])
	left := (t.settings.ReliefKPa - latest.Value) * capacity(b.Celsius, t.headspaceShare())
	if left <= 0 {
		return
	}
	e.Forecast.Limit = "relief setting"
	e.Forecast.LimitReached = &Span{
		Low:  b.At.Add(hours(24 * left / e.CO2GramsPerLiterDay.High)),
		High: b.At.Add(hours(24 * left / e.CO2GramsPerLiterDay.Low)),
	}
}

func (t *Tank) originalPlato() float64 {
	if t.state.Book.OriginalSG == 0 {
		return 0
	}
	return beer.ApparentPlato(t.state.Book.OriginalSG)
}

func (t *Tank) co2PerPlato() float64 { return beer.CO2PerPlato(t.originalPlato()) }

func scaled(i *Interval, by float64) *Interval {
	return &Interval{Value: i.Value * by, Low: i.Low * by, High: i.High * by}
}
