package detect

import (
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect/beer"
	"spile/detect/creep"
)

// Forecast is what follows if the rate goes on, and where it ends. Intervals are 95 %; what cannot be told is absent.
type Forecast struct {
	// What a further day at this rate takes and makes.
	AddedABVPerDay     *Interval `json:"added_abv_per_day,omitempty"`
	AddedVolumesPerDay *Interval `json:"added_co2_volumes_per_day,omitempty"`
	// When the limit that matters will be reached, such as the relief setting.
	LimitReached *Span  `json:"limit_reached,omitempty"`
	Limit        string `json:"limit,omitempty"`

	// Where it leads: the extract yet to go, the gravity it ends at, when it is still again.
	LeftPlato  *Interval `json:"left_plato,omitempty"`
	EndGravity *Interval `json:"end_gravity,omitempty"` // SG 20/20
	Still      *Span     `json:"still,omitempty"`
	// What it makes in all, from the onset to the end.
	AddedABV     *Interval `json:"added_abv,omitempty"`
	AddedVolumes *Interval `json:"added_co2_volumes,omitempty"`
	// Pressure in a package that is filled now and then stored warm, with all that is yet to go gone in it, kPa gauge.
	PackageKPa     *Interval `json:"package_kpa,omitempty"`
	StorageCelsius *float64  `json:"storage_celsius,omitempty"`
	Note           string    `json:"note,omitempty"` // what is to be known of these figures
}

// What a package is reckoned with (common practice): a store that nobody cools, and some 14 mL over a can of 355 mL.
const (
	storageCelsius   = 20.0
	packageHeadspace = 0.04
)

// What a curve is worth that is held against the courses of a creep (judgement).
const (
	curveStep    = 4 * time.Hour  // between its points: noise that runs on for hours counts once
	curveSettles = 30 * time.Hour // after hops, until a float's curve is the beer's
	gaugeDoubt   = 0.015          // degP, of a point from the gauge, beside what the lags make of it
	floatDoubt   = 0.03           // degP, of a float's: its drift and its temperature
	lowLag       = 0              // of the lags between which a gauge's curve lies
	midLag       = 1
	highLag      = lagsThatHold - 1
)

// outlook is what was told of where a creep leads, kept up while it is held to go on.
type outlook struct {
	Onset    Span
	At       time.Time // when it was reckoned last
	Forecast *Forecast
}

// outlookEvery is how often it is reckoned anew: nothing in it moves faster, and it costs two milliseconds.
const outlookEvery = time.Hour

// foretell adds to a call of refermentation where it leads.
func (t *Tank) foretell(found []Finding) []Finding {
	for i := range found {
		e := &found[i].Evidence
		if found[i].Alarm != Refermentation || !found[i].Active || e.Onset == nil || e.RatePlatoPerDay == nil {
			continue
		}
		if e.Forecast == nil {
			e.Forecast = &Forecast{}
		}
		t.forecastEnd(e.Forecast, *e.RatePlatoPerDay, *e.Onset)
		t.state.Outlook = outlook{Onset: *e.Onset, At: t.state.Now, Forecast: e.Forecast}
	}
	return found
}

// keepOutlook reckons it anew while the beer is held to be working.
func (t *Tank) keepOutlook() {
	o := &t.state.Outlook
	switch {
	case !t.state.Verdict.Active:
		*o = outlook{}
	case o.Forecast != nil && t.state.Now.Sub(o.At) >= outlookEvery:
		o.At = t.state.Now
		if rate := t.rateForNow(); rate != nil {
			o.Forecast = &Forecast{}
			t.forecastEnd(o.Forecast, *rate, o.Onset)
		}
	}
}

// rateForNow is the fall of extract now, degP a day, by a gauge where the tank lets it move, else by a float.
func (t *Tank) rateForNow() *Interval {
	if v := t.state.Verdict.CO2Rate; v != nil && v.Value > 0 && len(t.state.Balances) > 0 && t.mayMove() {
		return scaled(&Interval{Value: v.Value, Low: max(v.Low, v.Value/10), High: v.High}, 1/t.co2PerPlato())
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		if rate := t.rateOfFall(t.state.Floats[name]); rate != nil {
			return rate
		}
	}
	return nil
}

// forecastEnd fills in where a creep leads, from its rate, its onset and the curves since.
func (t *Tank) forecastEnd(f *Forecast, rate Interval, onset Span) {
	course := creep.Course{
		Now: t.state.Now, OnsetLow: onset.Low, OnsetHigh: onset.High, Rate: creep.Interval(rate), Curve: t.creepCurve(onset),
	}
	o, ok := course.Look()
	if !ok {
		return
	}
	left, all, still := Interval(o.Left), Interval(o.All), o.Still
	f.LeftPlato = &left
	f.Still = &Span{Low: t.state.Now.Add(hours(still.Low)), High: t.state.Now.Add(hours(still.High))}
	f.AddedABV = scaled(&all, beer.AlcoholPerPlato(t.originalPlato()))
	f.AddedVolumes = scaled(&all, beer.Volumes(t.co2PerPlato()))
	f.EndGravity = t.endGravity(left)
	if o.Short {
		f.Note = "the curve is short yet: the end is what hop creep can be, more than what this one is"
	}
	t.forecastPackage(f, left)
}

// endGravity is where gravity ends once so much extract is gone; nil where no float is believed.
func (t *Tank) endGravity(left Interval) *Interval {
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		f := t.floatSeen(name)
		if len(f.Points) < 3 || t.faulty(name) {
			continue
		}
		now := 0.0
		for _, p := range f.Points[len(f.Points)-3:] {
			now += p.Plato / 3
		}
		doubt := twoSided95 * math.Sqrt(f.Noise*f.Noise+f.white(3*f.Points[len(f.Points)-1].N))
		return &Interval{
			Value: beer.ApparentGravity(now - left.Value),
			Low:   beer.ApparentGravity(now - left.High - doubt), High: beer.ApparentGravity(now - left.Low + doubt),
		}
	}
	return nil
}

// forecastPackage fills in the pressure in a package that is filled now. Without a gauge nobody knows the CO2 in the beer.
func (t *Tank) forecastPackage(f *Forecast, left Interval) {
	latest := t.seen(Pressure)
	celsius, warm := t.beerTemperature(t.state.Now)
	if latest.Time.IsZero() || !warm || t.state.Now.Sub(latest.Time) > gaugeLost {
		return
	}
	filled := beer.Package{
		GramsPerLiter: beer.Henry(celsius) * (latest.Value + t.settings.AtmosphereKPa), FillCelsius: celsius, HeadspaceShare: packageHeadspace,
	}
	store, perPlato := storageCelsius, t.co2PerPlato()
	low, err1 := filled.Store(store, left.Low*perPlato)
	value, err2 := filled.Store(store, left.Value*perPlato)
	high, err3 := filled.Store(store, left.High*perPlato)
	if err1 != nil || err2 != nil || err3 != nil {
		return
	}
	f.PackageKPa = &Interval{Value: value.GaugeKPa, Low: low.GaugeKPa, High: high.HighKPa}
	f.StorageCelsius = &store
}

// creepCurve is the extract that has gone since about the onset, as the best witness shows it: a gauge, where the tank lets
// it move.
func (t *Tank) creepCurve(onset Span) []creep.Point {
	for _, name := range slices.Sorted(maps.Keys(t.state.Balances)) {
		curve := t.balanceSeen(name).creepCurve(onset.Low, t.co2PerPlato())
		if len(curve) > 0 && !t.faulty(name) && t.mayMove() {
			return curve
		}
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		f := t.floatSeen(name)
		from := Later(Later(onset.Low, t.state.Book.Hopped.Add(curveSettles)), f.Stepped.Add(curveSettles))
		if curve := f.creepCurve(from); len(curve) > 0 && !t.faulty(name) {
			return curve
		}
	}
	return nil
}

// creepCurve is what a gauge saw go, the doubt about the lag in it.
func (b *balance) creepCurve(from time.Time, co2PerPlato float64) []creep.Point {
	var out []creep.Point
	for _, p := range b.Trail {
		if p.At.Before(from) || (len(out) > 0 && p.At.Sub(out[len(out)-1].At) < curveStep) {
			continue
		}
		apart := math.Abs(p.M[highLag]-p.M[lowLag]) / 4
		out = append(out, creep.Point{At: p.At, Gone: p.M[midLag] / co2PerPlato, Sigma: gaugeDoubt + apart/co2PerPlato})
	}
	return out
}

// creepCurve is what a float saw go.
func (f *float) creepCurve(from time.Time) []creep.Point {
	var out []creep.Point
	for _, p := range f.Points {
		if p.At.Before(from) || (len(out) > 0 && p.At.Sub(out[len(out)-1].At) < curveStep) {
			continue
		}
		out = append(out, creep.Point{At: p.At, Gone: -p.Plato, Sigma: math.Sqrt(f.Noise*f.Noise + f.white(p.N) + floatDoubt*floatDoubt)})
	}
	return out
}
