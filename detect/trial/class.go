package trial

import "slices"

// Class is one sort of cellar that a trial draws.
type Class struct {
	Name string
	Says string // what happens in it, for people

	Gravity, Pressure bool       // what is measured
	Gas               gas        // how it holds its pressure after the hops
	Creep             [2]float64 // degP in all, least and most; zero: no yeast at work
	Share             float64    // quiet classes: of the tank-years; others: runs for each tank-year of the trial

	story func(*scene)
}

// Quiet tells whether no yeast works in the class, so that every call of it is false.
func (c Class) Quiet() bool { return c.Creep[1] == 0 }

// gas is how a tank holds its pressure after the hops.
type gas int

const (
	sealed  gas = iota
	vented      // open, or closed and unseen: no gauge could tell
	spunded     // under a spunding valve, some left open: a gauge that sees no yeast
)

var (
	wholeCreep = [2]float64{0.4, 1.5} // degP: creep that is to be caught without fail
	slowCreep  = [2]float64{0.25, 0.45}
)

// classes is every class, quiet ones first. It is read only.
var classes = []Class{
	{Name: "quiet", Says: "sealed, float and gauge, left alone", Gravity: true, Pressure: true, Share: 0.10, story: leftAlone},
	{Name: "quiet-gauge", Says: "sealed, gauge alone", Pressure: true, Share: 0.10, story: leftAlone},
	{Name: "quiet-float", Says: "float alone", Gravity: true, Gas: vented, Share: 0.10, story: leftAlone},
	{Name: "quiet-spunded", Says: "under a spunding valve, or open", Gravity: true, Pressure: true, Gas: spunded, Share: 0.07, story: leftAlone},
	{Name: "late-start", Says: "spile comes hours after the hops", Gravity: true, Pressure: true, Share: 0.04, story: lateStart},
	{Name: "doors", Says: "sun, doors, a coarse thermostat", Gravity: true, Pressure: true, Share: 0.08, story: doors},
	{Name: "warming", Says: "cooling fails, sealed", Gravity: true, Pressure: true, Share: 0.10, story: coolingFails},
	{Name: "warming-float", Says: "cooling fails, float alone", Gravity: true, Gas: vented, Share: 0.06, story: coolingFails},
	{Name: "handled", Says: "gas, samples, dumps, openings", Gravity: true, Pressure: true, Share: 0.12, story: handled},
	{Name: "gas-left-on", Says: "a regulator left on for hours or days", Gravity: true, Pressure: true, Share: 0.05, story: gasLeftOn},
	{Name: "blown-down", Says: "long open for hops, closed with air", Gravity: true, Pressure: true, Share: 0.05, story: leftAlone},
	{Name: "cold-crash", Says: "cooled to 2 degC, sealed", Gravity: true, Pressure: true, Share: 0.05, story: coldCrash},
	{Name: "leaking", Says: "slow leaks, some very slow", Gravity: true, Pressure: true, Share: 0.04, story: leaking},
	{Name: "rough-radio", Says: "gaps, repeats, late, stuck, silent", Gravity: true, Pressure: true, Share: 0.04, story: roughRadio},

	{Name: "creep", Says: "sealed, float and gauge", Gravity: true, Pressure: true, Creep: wholeCreep, Share: 0.75, story: leftAlone},
	{Name: "creep-gauge", Says: "sealed, gauge alone", Pressure: true, Creep: wholeCreep, Share: 0.6, story: leftAlone},
	{Name: "creep-slow", Says: "sealed, slow", Gravity: true, Pressure: true, Creep: slowCreep, Share: 0.5, story: leftAlone},
	{Name: "creep-warming", Says: "sealed, cooling fails", Gravity: true, Pressure: true, Creep: wholeCreep, Share: 0.4, story: coolingFails},
	{Name: "creep-handled", Says: "sealed, hands on it", Gravity: true, Pressure: true, Creep: wholeCreep, Share: 0.4, story: handled},
	{Name: "creep-float", Says: "float alone", Gravity: true, Gas: vented, Creep: wholeCreep, Share: 0.6, story: perhapsWarming},
	{Name: "creep-spunded", Says: "under a spunding valve, or open", Gravity: true, Pressure: true, Gas: spunded, Creep: wholeCreep, Share: 0.5, story: perhapsWarming},
	{Name: "creep-float-slow", Says: "float alone, slow", Gravity: true, Gas: vented, Creep: slowCreep, Share: 0.5, story: perhapsWarming},
}

// Classes lists every class, quiet ones first.
func Classes() []Class { return slices.Clone(classes) }

// find gives the class of a name.
func find(name string) (Class, bool) {
	i := slices.IndexFunc(classes, func(c Class) bool { return c.Name == name })
	if i < 0 {
		return Class{}, false
	}
	return classes[i], true
}
