package cellarsim

import (
	"math"
	"time"

	"spile/detect/beer"
)

// Pitch begins a primary fermentation: extract falls from Original to End along a logistic curve, half of it by Half.
type Pitch struct {
	Original, End float64       // degP
	Half          time.Duration // 30 to 80 h for ale
	Spread        time.Duration // 8 to 20 h; small is steep
	Beer          string
	Liters        float64 // told with it
	Setpoint      float64 // degC, told with it
	Volumes       float64 // of CO2 wanted in the package, told with it
	Label         float64 // % v/v on the label, told with it
}

func (d Pitch) do(r *rig) {
	v := &r.vessel
	v.original, v.extract = d.Original, d.Original
	v.begin(primaryCurve{d.Original - d.End, d.Half.Hours(), d.Spread.Hours()}, v.yield())
}

func (d Pitch) flaw() string {
	if d.Spread <= 0 || d.End < 0 || d.Original < d.End || gravityOf(d.Original) == heaviest {
		return "Spread is above 0, End and Original lie from 0 to 25.9 degP, End the lower"
	}
	return ""
}

func (d Pitch) entry() *entry {
	return line("pitch", map[string]float64{
		"gravity": toPoint(gravityOf(d.Original)), "expected": toPoint(gravityOf(d.End)),
		"volume": d.Liters, "setpoint": d.Setpoint, "co2": beer.GramsPerLiter(d.Volumes), "abv": d.Label,
	}).say("beer", d.Beer)
}

// toPoint rounds a gravity as a brewer writes it.
func toPoint(sg float64) float64 { return math.Round(sg*1e4) / 1e4 }

// Creep is yeast at work again: the rate rises from zero over Ramp in a straight line, then dies away with Decay, and
// eats Plato in all.
//
// Hop creep was measured at 20 degC and 10 g/L: some 1.3 degP in 5 days (Kirkpatrick and Shellhammer, J. Agric. Food
// Chem. 2018, doi 10.1021/acs.jafc.8b03563; the figure in degP is derived), and noticed from 2 days after hops on
// (Bruner, Marcus and Fox, Fermentation 7 (2021) 66). Colder rates are not published.
type Creep struct {
	Plato float64       // 0.1 to 1.5
	Ramp  time.Duration // 6 to 48 h
	Decay time.Duration // 24 to 200 h
	silent
}

func (d Creep) do(r *rig) {
	r.vessel.begin(creepCurve{d.Plato, d.Ramp.Hours(), d.Decay.Hours()}, r.vessel.yield())
}

func (d Creep) flaw() string {
	if d.Ramp < 0 || d.Decay <= 0 || d.Plato < 0 {
		return "Decay is above 0, Ramp and Plato are not below it"
	}
	return ""
}

// Hop is a dry-hop: the exchange of CO2 hastens, the hops give off a little extract, and every float gets a step that
// relaxes. Open the tank first and close it after, as a brewer does.
type Hop struct {
	Grams  float64
	Lot    string
	Active bool          // during fermentation
	Leach  float64       // degP of extract from the hops themselves, 0 to 0.1
	Steep  time.Duration // time constant of that; 0: 6 h
}

// usualSteep stands where a Hop gives no Steep (common practice: hops give up most in the first day).
const usualSteep = 6 * time.Hour

func (d Hop) do(r *rig) {
	if d.Steep == 0 {
		d.Steep = usualSteep
	}
	r.vessel.stir()
	if d.Leach != 0 {
		r.vessel.begin(leachCurve{d.Leach, d.Steep.Hours()}, 0)
	}
	for _, s := range r.sensors {
		s.hop(r.vessel.now)
	}
}

func (d Hop) entry() *entry {
	kind := "cold"
	if d.Active {
		kind = "active"
	}
	return line("dry-hop", map[string]float64{"mass": d.Grams}).say("lot", d.Lot).say("kind", kind)
}

// Add puts something into the beer that ferments: fruit, sugar, kraeusen. It lifts the extract at once by Plato; script
// the Creep that eats it.
type Add struct {
	What  string
	Grams float64
	Plato float64
}

func (d Add) do(r *rig) { r.vessel.extract += d.Plato }
func (d Add) entry() *entry {
	return line("add", map[string]float64{"mass": d.Grams}).say("what", d.What)
}

// Sample draws beer into a glass.
type Sample struct{ Liters float64 }

func (d Sample) do(r *rig)     { r.vessel.draw(d.Liters) }
func (d Sample) entry() *entry { return line("sample", map[string]float64{"volume": d.Liters}) }

// Dump takes yeast or hops out at the cone, at once.
type Dump struct {
	Liters float64
	Hops   bool
}

func (d Dump) do(r *rig) { r.vessel.draw(d.Liters) }

func (d Dump) entry() *entry {
	event := "yeast-off"
	if d.Hops {
		event = "hops-off"
	}
	return line(event, map[string]float64{"volume": d.Liters})
}

// Transfer lets beer run to another tank over some time. Hold gas on it, or the head space will fall under the air's
// pressure, as it would in a cellar. The other tank's side of it is not modelled.
type Transfer struct {
	To     string
	Liters float64
	Over   time.Duration // 1 to 4 h; 0: at once
}

func (d Transfer) do(r *rig) {
	if d.Over <= 0 {
		r.vessel.draw(d.Liters)
		return
	}
	r.vessel.outflow = outflow{litersPerHour: d.Liters / d.Over.Hours(), left: d.Liters}
}

func (d Transfer) entry() *entry {
	return line("transfer", map[string]float64{"volume": d.Liters}).say("to", d.To)
}

// Line is a line in the cellar log about what changes nothing in the tank: a forced diacetyl test, a measurement by
// hand, a note, hands on the tank. Amounts are in inside units.
type Line struct {
	Event   string
	Amounts map[string]float64
	Words   map[string]string
	noted
}

func (d Line) entry() *entry { return &entry{name: d.Event, amounts: d.Amounts, words: d.Words} }
