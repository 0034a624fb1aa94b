package detect

import (
	"slices"
	"strings"

	"spile/detect/beer"
	"spile/detect/caution"
)

// EventKind is one sort of line that the cellar log takes.
type EventKind struct {
	Name    string
	Aliases []string // other names a cellar uses for it
	Means   string
	Fields  []Field
	AnyOf   bool   // it says nothing without at least one of its fields
	Caution string // what to read before doing it; empty where nothing can hurt
}

// Field is one thing an event may carry: a figure, one of some words, or free text.
type Field struct {
	Name     string
	Aliases  []string
	Kind     beer.Kind // of a figure; empty: no figure
	Low      float64   // the figure's sane range, inside unit, both ends included
	High     float64
	Default  float64  // the figure where none is given; 0: none
	LowMend  string   // what a figure below Low most likely is
	Choices  []string // words it may be, beside a figure where Kind is set
	Naming   bool     // a text that must be a name of a tank or a probe
	Required bool
	Means    string
}

// Logbook lists every event of the cellar log, in the order of a batch.
func Logbook() []EventKind { return slices.Clone(logbook) }

// LookupEvent finds the event that a name or an alias stands for. Case does
// not matter, nor do spaces and underscores in place of dashes.
func LookupEvent(name string) (EventKind, bool) {
	plain := strings.NewReplacer(" ", "-", "_", "-").Replace(strings.ToLower(strings.TrimSpace(name)))
	for _, kind := range logbook {
		if kind.Name == plain || slices.Contains(kind.Aliases, plain) {
			return kind, true
		}
	}
	return EventKind{}, false
}

// field finds one of the event's own fields by its name or an alias.
func (k EventKind) field(name string) (Field, bool) {
	for _, f := range k.Fields {
		if f.Name == name || slices.Contains(f.Aliases, name) {
			return f, true
		}
	}
	return Field{}, false
}

// FieldNames lists what the event takes, its own fields first and then those
// that every event takes.
func (k EventKind) FieldNames() []string {
	var names []string
	for _, f := range k.Fields {
		names = append(names, f.Name)
	}
	for _, common := range commonFields {
		if !slices.Contains(names, common) {
			names = append(names, common)
		}
	}
	return names
}

// The fields that every event may carry beside its own.
var commonFields = []string{"time", "note", "by", "id", "corrects"}

// Limits of the figures in the log, inside units: common practice with room to
// spare. They catch a wrong unit; they do not judge the brewer.
const (
	lowestSetpoint  = -2  // degC: colder is glycol, or ice
	highestCrash    = 25  // degC: no beer is crashed to this; 58 was meant as degF
	highestSetpoint = 45  // degC: the hottest strains in use ferment below it
	highestPressure = 400 // kPa gauge: far above any tank's plate
	largestVolume   = 200_000
	largestMass     = 5_000_000 // g
	smallestHops    = 10        // g: less was meant as kg
	longestWait     = 30 * 24   // h
)

// logbook is the catalogue. It is read only.
var logbook = []EventKind{
	{Name: "pitch", Means: "yeast goes into the wort: a batch begins", Caution: caution.Yeast, Fields: []Field{
		gravityField("gravity", 0.990, 1.200, "original gravity"),
		volumeField("beer in the tank"),
		textField("beer", "name of the beer"),
		gravityField("expected", 0.980, 1.100, "end gravity the brewer expects"),
		setpointField(highestSetpoint, "fermentation setpoint of the beer"),
		textField("yeast", "strain and how much"),
		{Name: "co2", Kind: beer.KindCO2, Low: 1, High: 15, Means: "CO2 wanted in the package, as 2.5vol"},
		{Name: "abv", Kind: beer.KindAlcohol, High: 25, Means: "alcohol on the label, % by volume"},
	}},
	{Name: "rest", Means: "diacetyl rest begins; it ends a crash", Caution: caution.Closed, Fields: []Field{
		setpointField(highestSetpoint, "setpoint of the beer during the rest"),
	}},
	{Name: "vdk", Aliases: []string{"diacetyl"}, Means: "forced diacetyl test", Fields: []Field{
		choiceField("result", true, "outcome of the test", "pass", "fail"),
	}},
	{Name: "forced", Means: "a forced test has ended: what yeast can still do with this beer", AnyOf: true, Fields: []Field{
		gravityField("limit", 0.980, 1.100, "where a forced fermentation ended"),
		gravityField("hops", 0.980, 1.100, "where the same with the hops in it ended"),
	}},
	{Name: "crash", Means: "the beer is cooled, a soft crash or a cold one", Caution: caution.PulledFlat, Fields: []Field{
		required(setpointField(highestCrash, "setpoint of the beer, not of the glycol")),
	}},
	{Name: "yeast-off", Means: "yeast dumped or harvested", Caution: caution.Dump, Fields: []Field{volumeField("what left the tank")}},
	{Name: "dry-hop", Aliases: []string{"dryhop"}, Means: "hops go into the tank", Caution: caution.Hops, Fields: []Field{
		massField("mass", smallestHops, "weight of the hops"),
		textField("lot", "variety and lot"),
		choiceField("kind", false, "cold: after the beer had finished; active: during fermentation", "cold", "active"),
	}},
	{Name: "hops-off", Means: "hops dumped", Caution: caution.Dump, Fields: []Field{volumeField("what left the tank")}},
	{Name: "seal", Aliases: []string{"close"}, Means: "the tank is closed and holds its pressure", Caution: caution.Closed},
	{Name: "vent", Aliases: []string{"spund"}, Means: "blown down; with a pressure, a valve holds that pressure",
		Caution: caution.Vent, Fields: []Field{
			pressureField("pressure", 0, false, "what the valve holds; without it the tank is blown down"),
		}},
	{Name: "gas", Means: "CO2 added, or left on", Caution: caution.Gas, Fields: []Field{
		withChoices(pressureField("hold", 0, false, "pressure at which CO2 is left on, or off"), "off"),
		pressureField("to", 0, false, "pressure to which the tank was brought"),
	}},
	{Name: "rouse", Means: "beer stirred up, with CO2 or by hand", Caution: caution.Rouse},
	{Name: "add", Means: "fruit, sugar, yeast, kraeusen: what ferments on purpose", Caution: caution.Hops, Fields: []Field{
		textField("what", "what was added"),
		massField("mass", 0.1, "its weight"),
		volumeField("its volume"),
		gravityField("gravity", 0.990, 1.400, "gravity of what was added, beside its volume"),
		massField("extract", 0.1, "weight of the extract in it: all of a dry sugar, a tenth of most fruit"),
	}},
	{Name: "sample", Means: "a sample is drawn", Caution: caution.Sample, Fields: []Field{volumeField("what left the tank")}},
	{Name: "work", Means: "hands on this tank for a while", Fields: []Field{
		{Name: "for", Kind: beer.KindDuration, Low: 1.0 / 60, High: 24, Default: 1, Means: "how long; one hour where it is not said"},
	}},
	{Name: "probe", Means: "a probe goes into the tank or comes out", Caution: caution.Hops, Fields: []Field{
		{Name: "id", Aliases: []string{"probe"}, Naming: true, Required: true, Means: "name of the probe"},
		choiceField("state", true, "in or out of the beer", "in", "out"),
	}},
	{Name: "transfer", Means: "beer goes to another tank", Caution: caution.PulledFlat, Fields: []Field{
		{Name: "to", Naming: true, Means: "the tank it goes to"},
		volumeField("what left the tank"),
	}},
	{Name: "package", Means: "beer goes into cans, bottles or kegs", Caution: caution.Packages, Fields: []Field{
		volumeField("what left the tank"),
	}},
	{Name: "empty", Means: "the tank is empty: the batch ends", Caution: caution.Emptied, Fields: []Field{
		volumeField("what left the tank"),
	}},
	{Name: "tell", Means: "be told once when something has come, of this batch", AnyOf: true, Fields: []Field{
		gravityField("gravity", 0.980, 1.200, "gravity has reached this"),
		{Name: "temperature", Kind: beer.KindTemperature, Low: lowestSetpoint, High: highestSetpoint, Means: "beer has reached this"},
		waitField("stable", "gravity has stood still for so long"),
		waitField("contact", "the hops have been in for so long"),
		choiceField("vdk", false, "a forced diacetyl test is due after the hops", "due"),
	}},
	{Name: "note", Means: "a line for people", Fields: []Field{
		{Name: "note", Aliases: []string{"text"}, Required: true, Means: "the line"},
	}},
	{Name: "strike", Means: "a line of the log was wrong: it stays to be read, and counts no more", Fields: []Field{
		required(textField("line", "the line's own name, as the log shows it")),
	}},
	{Name: "gravity", Means: "gravity measured by hand", Fields: []Field{
		required(gravityField("value", 0.980, 1.200, "gravity at the calibration temperature", "gravity")),
		{Name: "probe", Naming: true, Means: "the probe it is held against"},
	}},
	{Name: "temperature", Means: "temperature measured by hand", Fields: []Field{
		{Name: "value", Aliases: []string{"temperature"}, Kind: beer.KindTemperature, Low: -20, High: 110, Required: true,
			Means: "temperature of the beer"},
	}},
	{Name: "pressure", Means: "head pressure read off a gauge", Fields: []Field{
		pressureField("value", -101, true, "what the gauge shows", "pressure"),
	}},
	{Name: "co2", Means: "dissolved CO2 measured by hand", Fields: []Field{
		{Name: "value", Aliases: []string{"co2"}, Kind: beer.KindCO2, High: 20, Required: true, Means: "CO2 in the beer"},
	}},
}

func gravityField(name string, low, high float64, means string, aliases ...string) Field {
	return Field{Name: name, Aliases: aliases, Kind: beer.KindGravity, Low: low, High: high, Means: means}
}

func volumeField(means string) Field {
	return Field{Name: "volume", Kind: beer.KindVolume, Low: 0.01, High: largestVolume, Means: means}
}

func massField(name string, low float64, means string) Field {
	return Field{Name: name, Kind: beer.KindMass, Low: low, High: largestMass, Means: means}
}

func setpointField(high float64, means string) Field {
	return Field{Name: "setpoint", Kind: beer.KindTemperature, Low: lowestSetpoint, High: high,
		LowMend: "beer or glycol? the setpoint is the beer's", Means: means}
}

func pressureField(name string, low float64, must bool, means string, aliases ...string) Field {
	return Field{Name: name, Aliases: aliases, Kind: beer.KindPressure, Low: low, High: highestPressure, Required: must, Means: means}
}

func waitField(name, means string) Field {
	return Field{Name: name, Kind: beer.KindDuration, Low: 1, High: longestWait, Means: means}
}

func textField(name, means string) Field { return Field{Name: name, Means: means} }

func choiceField(name string, must bool, means string, choices ...string) Field {
	return Field{Name: name, Choices: choices, Required: must, Means: means}
}

func required(f Field) Field {
	f.Required = true
	return f
}

func withChoices(f Field, choices ...string) Field {
	f.Choices = choices
	return f
}
