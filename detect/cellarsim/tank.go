package cellarsim

import (
	"fmt"
	"regexp"
	"time"

	"spile/detect/beer"
)

// Tank is one tank as it stands when the model begins, with what will be done to it.
//
// Ranges in the comments are those of small breweries (common practice); the model itself is not held to them.
type Tank struct {
	Name string // as in a topic: [A-Za-z0-9][A-Za-z0-9._-]{0,31}

	BeerLiters      float64 // 100 to 24000
	HeadspaceLiters float64 // 5 to 30 % of the tank
	OriginalPlato   float64 // extract before fermentation, 7 to 25; it sets how much CO2 a degP makes
	ExtractPlato    float64 // apparent extract now, 0 to 25

	GaugeKPa               float64       // head pressure, 0 to 200
	Air                    float64       // share of the head space that is not CO2, 0 to 1
	DissolvedGramsPerLiter float64       // CO2 in the beer, 0 to 8; 0: as much as rests under that head space
	Celsius                float64       // beer, -1 to 26
	ExchangeLag            time.Duration // of CO2 between beer and head space when nobody stirs, 2 to 48 h; 0: 8 h

	Open       bool    // to the air
	SpundKPa   float64 // spunding valve, gauge; 0: none
	HoldKPa    float64 // regulator left on, gauge; 0: none
	ReliefKPa  float64 // pressure relief valve, gauge, 80 to 300; 0: none
	LeakPerDay float64 // share of the gauge pressure that a leak loses in a day, 0 to 0.5
	DomeSwing  float64 // K by which the sun warms the head space over the beer at 16:00 UTC, 0 to 8
	Cooling    Cooling
	Probes     []Probe
	Script     []Act
}

// usualExchangeLag stands where a Tank gives none. A quiet vessel may need far longer: common practice.
const usualExchangeLag = 8 * time.Hour

// name is what a topic of spile takes for a tank or a probe.
var name = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,31}$`)

// check names the first thing that makes no tank.
func (t Tank) check() error {
	if !name.MatchString(t.Name) {
		return fmt.Errorf("tank %q: a name is 1 to 32 letters, digits, dots, dashes or underscores", t.Name)
	}
	for _, f := range []struct {
		what      string
		value     float64
		low, high float64
	}{
		{"beer liters", t.BeerLiters, 1, 1e6},
		{"headspace liters", t.HeadspaceLiters, 1, 1e6},
		{"original degP", t.OriginalPlato, 0, 25.9},
		{"extract degP", t.ExtractPlato, 0, 25.9},
		{"gauge kPa", t.GaugeKPa, -90, 1000},
		{"air share", t.Air, 0, 1},
		{"dissolved g/L", t.DissolvedGramsPerLiter, 0, 20},
		{"degC", t.Celsius, -2, 40},
		{"exchange lag hours", t.ExchangeLag.Hours(), 0, 2e6},
	} {
		if !(f.value >= f.low && f.value <= f.high) {
			return fmt.Errorf("tank %s: %s is %g; it lies from %g to %g", t.Name, f.what, f.value, f.low, f.high)
		}
	}
	return t.checkParts()
}

// checkParts checks the probes and the script.
func (t Tank) checkParts() error {
	known := map[string]bool{}
	for _, p := range t.Probes {
		if err := p.check(); err != nil {
			return fmt.Errorf("tank %s: %w", t.Name, err)
		}
		if known[p.Name] {
			return fmt.Errorf("tank %s: two probes are called %s", t.Name, p.Name)
		}
		known[p.Name] = true
	}
	for _, a := range t.Script {
		if err := a.check(known); err != nil {
			return fmt.Errorf("tank %s, act at %s: %w", t.Name, a.At, err)
		}
	}
	return nil
}

// vessel fills a vessel as the tank stands. Midnight is how far into its day the cellar starts.
func (t Tank) vessel(b *barometer, midnight time.Duration) vessel {
	v := vessel{
		beer: t.BeerLiters, original: t.OriginalPlato, extract: t.ExtractPlato, celsius: t.Celsius,
		head:        head{liters: t.HeadspaceLiters, celsius: t.Celsius},
		domeSwing:   t.DomeSwing,
		atmosphere:  b.at(0),
		exchangeLag: t.ExchangeLag,
		valves: valves{
			open: t.Open, spund: t.SpundKPa, hold: t.HoldKPa, held: t.HoldKPa > 0,
			relief: t.ReliefKPa, leakPerDay: t.LeakPerDay,
		},
		cooling:   thermostat{Cooling: t.Cooling, ramp: ramp{to: t.Cooling.Setpoint}, midnight: midnight},
		barometer: b,
	}
	if v.exchangeLag == 0 {
		v.exchangeLag = usualExchangeLag
	}
	v.head.fill(t.GaugeKPa+v.atmosphere, t.Air)
	v.dissolved = t.DissolvedGramsPerLiter
	if v.dissolved == 0 {
		v.dissolved = beer.Henry(v.celsius) * v.head.co2 * v.head.perMole()
	}
	v.ledger.start = v.grams()
	return v
}
