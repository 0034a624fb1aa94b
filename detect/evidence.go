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

// What the moment of a call says of the creep behind it. Both witnesses speak
// while the rate still ramps up, so both see less or later than there is; by how
// much was measured on simulated cellars (package trial), and the intervals are
// wide enough for what was seen there.
const (
	sumBehind   = 5 * time.Hour  // Page's sum begins to stand so long after the ramp began
	sumEarliest = 18 * time.Hour // before the sum began
	fallEarlier = 20 * time.Hour // of a float's onset
	fallLater   = 36 * time.Hour

	rateStretch   = 6 * time.Hour // over which the gauge's rate is taken
	rateBehind    = 4.0           // h: the mean of that stretch, smoothed, is the rate so long ago
	mostRamp      = 2.0           // a straight ramp's rate is at most twice its mean
	saysSomething = 0.3           // of the score needed, below which a float is said to be silent
	gaugeLow      = 0.45          // of the gauge's rate
	gaugeHigh     = 2.0
	chosenShare   = 0.65 // of a float's best rate: the best of many onsets overstates it
	floatLow      = 0.2  // of that
	floatHigh     = 2.2
)

// onset is when the make of CO2 began that a sum has shown since a time.
func (b *balance) onset(since time.Time) estimate {
	return estimate{at: since.Add(-sumBehind), span: Span{Low: since.Add(-sumEarliest), High: since}}
}

// onset is when a float's fall began; it is not later than now.
func (f *float) onset(now time.Time) estimate {
	e := estimate{at: f.Fall.Onset, span: Span{Low: f.Fall.Onset.Add(-fallEarlier), High: f.Fall.Onset.Add(fallLater)}}
	if e.span.High.After(now) {
		e.span.High = now
	}
	return e
}

// rateNow is the make of CO2 at this moment in g/L per day, where a sum has
// risen since a time: the mean of the last hours, brought up along a ramp.
func (b *balance) rateNow(since time.Time) (Interval, bool) {
	mean, ok := b.rate(rateStretch)
	if !ok || mean.Value <= 0 {
		return Interval{}, false
	}
	running := b.At.Sub(since.Add(-sumBehind)).Hours()
	ramp := mostRamp
	if running > mostRamp*rateBehind {
		ramp = running / (running - rateBehind)
	}
	value := mean.Value * ramp
	return Interval{Value: value, Low: value * gaugeLow, High: value * gaugeHigh}, true
}

// rateOfFall is a float's rate now, degP a day; nil where it sees no fall.
func (t *Tank) rateOfFall(f *float) *Interval {
	if f.Fall.Rate <= 0 {
		return nil
	}
	value := f.Fall.Now * 24 * chosenShare
	return &Interval{Value: value, Low: value * floatLow, High: value * floatHigh}
}

// evidence gathers what each witness saw since the onset.
func (t *Tank) evidence(onset estimate) Evidence {
	e := Evidence{Onset: &onset.span}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		t.floatEvidence(&e, name, t.state.Floats[name])
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Balances)) {
		t.gaugeEvidence(&e, name, t.state.Balances[name])
	}
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
	if f.Score < t.scoreNeeded()*saysSomething {
		e.Witnesses = append(e.Witnesses, name+": no fall of gravity to be sure of yet")
		return
	}
	e.Witnesses = append(e.Witnesses, fmt.Sprintf("%s: gravity down %.2f degP (%.1f points) since %s, score %.0f of %.0f needed",
		name, f.Fall.Depth, f.Fall.Depth/beer.PlatoPerPoint, t.clock(f.Fall.Onset), f.Score, t.scoreNeeded()))
	if e.RatePlatoPerDay != nil {
		return
	}
	e.RatePlatoPerDay = t.rateOfFall(f)
	e.CO2GramsPerLiterDay = scaled(e.RatePlatoPerDay, t.co2PerPlato())
	e.RuledOut = append(e.RuledOut, "hops settling on the float, its drift and its temperature: allowed for")
}

// gaugeEvidence adds what a gauge saw, if it saw CO2 being made.
func (t *Tank) gaugeEvidence(e *Evidence, name string, b *balance) {
	made, since := b.made()
	rate, ok := b.rateNow(since)
	if !ok || made < madeEnough/2 {
		return
	}
	e.Witnesses = append(e.Witnesses, fmt.Sprintf("%s: %.2f g/L of CO2 made since %s, head pressure %s",
		name, made, t.clock(since), t.pressure(b.Level-t.settings.AtmosphereKPa)))
	e.CO2GramsPerLiterDay = &rate
	e.RatePlatoPerDay = scaled(&rate, 1/t.co2PerPlato())
	e.RuledOut = append(e.RuledOut, "warming, and CO2 coming out of the beer at any lag from minutes to 40 h: both allowed for")
}

// forecastRelief adds when a closed tank comes to its relief setting if CO2 is
// made on at this rate: common practice is to have let it down by then.
func (t *Tank) forecastRelief(e *Evidence) {
	latest, known := t.state.Last[Pressure]
	if t.settings.ReliefKPa <= 0 || !known || t.state.Book.Gas == GasOpen || t.state.Book.Gas == GasHeldAbove {
		return
	}
	names := slices.Sorted(maps.Keys(t.state.Balances))
	if len(names) == 0 || e.CO2GramsPerLiterDay.Low <= 0 {
		return
	}
	b := t.state.Balances[names[0]]
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
