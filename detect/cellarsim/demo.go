package cellarsim

import (
	"math"
	"math/rand/v2"
	"time"

	"spile/detect/beer"
)

// DemoLength is how much of its time the cellar of Demo is made for.
const DemoLength = 60 * time.Hour

// demoAirKPa is the air's mean pressure over the demo's cellar, kPa absolute.
const demoAirKPa = 101.6

// Demo is an invented cellar of four tanks, some days in its life:
//
//	FV1  dry-hopped cold at hour 3 and closed; its yeast wakes at hour 22
//	FV2  dry-hopped at hour 4; a sample, a top-up of CO2, a thermostat at work, and nothing wrong
//	FV3  its cooling fails at hour 30
//	FV4  conditions cold; from hour 10 on a worn regulator lets its head pressure creep toward the relief setting
func Demo(start time.Time, seed uint64) *Cellar {
	plan := Plan{
		Start:   start,
		Tanks:   []Tank{wakingTank(), quietTank(), warmingTank(), creepingGasTank()},
		Weather: Weather{MeanKPa: demoAirKPa, Sigma: 0.7},
	}
	c, err := New(plan, rand.New(rand.NewPCG(seed, seed)))
	if err != nil {
		panic("cellarsim: the demo's own cellar: " + err.Error())
	}
	return c
}

// days is a time some days away.
func days(n float64) time.Duration { return hours(24 * n) }

// hours is a time some hours away.
func hours(n float64) time.Duration { return time.Duration(n * float64(time.Hour)) }

// history is how a beer came to its crash: pitched, shown stable by hand, free of diacetyl, cooled.
func history(t Tank, beerName string) []Act {
	still := func(at time.Duration) Act {
		reading := map[string]float64{"value": toPoint(gravityOf(t.ExtractPlato))}
		return Act{At: at, Do: Line{Event: "gravity", Amounts: reading}}
	}
	return []Act{
		{At: -days(12), Do: Pitch{
			Original: t.OriginalPlato, End: t.ExtractPlato, Half: days(2), Spread: hours(12),
			Beer: beerName, Liters: t.BeerLiters, Setpoint: 19,
		}},
		still(-days(5)), still(-days(4)), still(-days(3)),
		{At: -days(3) + hours(1), Do: Line{Event: "vdk", Words: map[string]string{"result": "pass"}}},
		{At: -days(2), Do: Crash{Celsius: t.Cooling.Setpoint}},
		{At: -hours(20), Do: Dump{Liters: 40}},
	}
}

// bledFor is how long a tank of the demo stands open before its hops: hops into beer that still holds its CO2 erupt.
const bledFor = 20 * time.Hour

// bled is a tank that was blown down some time ago and stands open since: most of what kept it at a gauge pressure has
// left its beer.
func bled(t Tank, gaugeKPa float64, ago time.Duration) Tank {
	rest := gaugeKPa * math.Exp(-float64(ago)/float64(usualExchangeLag))
	t.GaugeKPa, t.Open = 0, true
	t.DissolvedGramsPerLiter = beer.Henry(t.Celsius) * (demoAirKPa + rest)
	return t
}

// dryHop is how a careful brewer doses: blown down the day before, seen to stand at zero, hopped, purged, closed again.
func dryHop(at time.Duration, grams float64, lot string, air float64) []Act {
	return []Act{
		{At: at - bledFor, Do: Vent{}},
		{At: at - 10*time.Minute, Do: Line{Event: "note", Words: map[string]string{"note": "stands at zero, proved at the tank"}}},
		{At: at, Do: Hop{Grams: grams, Lot: lot, Leach: 0.03}},
		{At: at + 6*time.Minute, Do: Seal{Air: air}},
	}
}

// wakingTank is FV1: refermentation after a dry-hop.
func wakingTank() Tank {
	t := Unitank("FV1")
	t = bled(t, t.GaugeKPa, bledFor-hours(3))
	gauge := HeadGauge("head-1")
	gauge.Shape = BareNumber
	t.Probes = []Probe{at(telling(Hydrometer("hyd-1"), 87, -71), 2*time.Minute), at(Thermowell("well-1"), time.Minute), gauge}
	t.Script = append(history(t, "Moth and Meridian IPA"), dryHop(hours(3), 9000, "A-17", 0.02)...)
	t.Script = append(t.Script, Act{At: hours(22), Do: Creep{Plato: 0.8, Ramp: hours(16), Decay: hours(30)}})
	return t
}

// quietTank is FV2: hopped the same day, handled, and well.
func quietTank() Tank {
	t := Unitank("FV2")
	t.OriginalPlato, t.ExtractPlato = 12.4, 2.7
	t = bled(t, 78, bledFor-hours(4))
	t.Cooling.RoomLag, t.Cooling.JacketLag = hours(36), hours(13)
	gauge := at(HeadGauge("head-2"), 30*time.Second)
	gauge.Shape, gauge.Pressure.Offset = BareNumber, -0.3
	t.Probes = []Probe{at(telling(Hydrometer("hyd-2"), 64, -83), 5*time.Minute), at(Thermowell("well-2"), 2*time.Minute), gauge}
	t.Script = append(history(t, "Tin Heron Pale"), dryHop(hours(4), 7000, "B-03", 0.03)...)
	t.Script = append(t.Script,
		Act{At: hours(20), Do: Sample{Liters: 0.5}},
		Act{At: hours(30), Do: TopUp{KPa: 85}},
	)
	return t
}

// warmingTank is FV3: cooling fails, no yeast is at work.
func warmingTank() Tank {
	t := Unitank("FV3")
	t.OriginalPlato, t.ExtractPlato, t.GaugeKPa = 13.2, 3.1, 30
	t.Cooling.Room, t.Cooling.RoomLag, t.Cooling.JacketLag = 23, hours(18), hours(8)
	float := at(telling(Hydrometer("hyd-3"), 12, -79), 7*time.Minute)
	float.Shape = FlatUnits
	t.Probes = []Probe{float, at(Thermowell("well-3"), 3*time.Minute), at(HeadGauge("head-3"), time.Minute)}
	t.Script = append(history(t, "Ninth Furrow Amber"), Act{At: hours(30), Do: CoolingFails{}})
	return t
}

// creepingGasTank is FV4: cold, with CO2 left on behind a regulator that creeps.
func creepingGasTank() Tank {
	t := Unitank("FV4")
	t.BeerLiters, t.HeadspaceLiters, t.OriginalPlato, t.ExtractPlato = 1500, 300, 11.5, 2.3
	t.Celsius, t.GaugeKPa, t.ReliefKPa = 2, 60, 100
	t.Cooling.Setpoint, t.Cooling.Room, t.Cooling.RoomLag = 2, 18, hours(60)
	well, gauge := at(Thermowell("well-4"), 4*time.Minute), at(HeadGauge("head-4"), 90*time.Second)
	well.Shape, gauge.Shape = SenML, SenML
	t.Probes = []Probe{at(Hydrometer("hyd-4"), 9*time.Minute), well, gauge}
	t.Script = append(history(t, "Quiet Loom Lager"),
		Act{At: hours(10), Do: GasHold{KPa: 60, CreepPerHour: 0.75}},
	)
	return t
}

// telling lets a probe say its charge in percent and its signal in dBm.
func telling(p Probe, battery, signal int) Probe {
	p.Battery, p.Signal = battery, signal
	return p
}

// at gives a probe its phase, so that the cellar does not speak all at once.
func at(p Probe, phase time.Duration) Probe {
	p.Phase = phase
	return p
}
