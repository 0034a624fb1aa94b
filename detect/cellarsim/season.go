package cellarsim

import (
	"math/rand/v2"
	"time"
)

// SeasonLength is how much of its time the cellar of Season is made for.
const SeasonLength = 21*24*time.Hour + 2*time.Hour

// Season is an invented batch of 21 days in FV7, from pitch to package:
//
//	day 0.0   pitched; a spunding valve on day 3.2
//	day 7.6   a forced diacetyl test is passed, and the beer sent to 14 degC
//	day 8.8   yeast dumped, blown down
//	day 9.3   hopped cold, closed
//	day 10.4  yeast wakes and takes half a degP more; a forced diacetyl test fails on day 12.8
//	day 16.4  the test is passed, CO2 left on, and the beer sent to 2 degC
//	day 20.4  CO2 is measured by hand
//	day 21    packaged
func Season(start time.Time, seed uint64) *Cellar {
	c, err := New(Plan{Start: start, Tanks: []Tank{seasonTank()}}, rand.New(rand.NewPCG(seed, seed)))
	if err != nil {
		panic("cellarsim: the season's own cellar: " + err.Error())
	}
	return c
}

func seasonTank() Tank {
	t := Unitank("FV7")
	t.OriginalPlato, t.ExtractPlato, t.Celsius, t.GaugeKPa, t.Open = 14.6, 14.6, 19, 0, true
	t.Cooling.Setpoint, t.Cooling.Glycol, t.Cooling.JacketLag = 19, -6, hours(9)
	t.Probes = []Probe{at(Hydrometer("hyd-7"), 2*time.Minute), at(Thermowell("well-7"), time.Minute), HeadGauge("head-7")}
	vdk := func(day float64, result string) Act {
		return Act{At: days(day), Do: Line{Event: "vdk", Words: map[string]string{"result": result}}}
	}
	t.Script = []Act{
		{At: 0, Do: Pitch{
			Original: 14.6, End: 3.0, Half: hours(40), Spread: hours(9),
			Beer: "Rope Walk IPA", Liters: 2000, Setpoint: 19, Volumes: 2.5, Label: 6.4,
		}},
		{At: days(3.2), Do: SpundAt{KPa: 70}},
		vdk(7.6, "pass"),
		{At: days(7.8), Do: Crash{Celsius: 14, Over: hours(10)}},
		{At: days(8.8), Do: Dump{Liters: 40}},
		{At: days(8.8) + time.Hour, Do: Vent{}},
		{At: days(9.3) + 20*time.Minute, Do: Hop{Grams: 16000, Lot: "K-31", Leach: 0.03}},
		{At: days(9.3) + 30*time.Minute, Do: Seal{Air: 0.02}},
		{At: days(10.4), Do: Creep{Plato: 0.5, Ramp: hours(14), Decay: hours(16)}},
		{At: days(10.5), Do: SpundAt{KPa: 70}},
		vdk(12.8, "fail"),
		vdk(16.4, "pass"),
		{At: days(16.6), Do: Crash{Celsius: 2, Over: hours(20)}},
		{At: days(16.6) + 10*time.Minute, Do: GasHold{KPa: 60}},
		{At: days(17.8), Do: Dump{Liters: 80, Hops: true}},
		{At: days(20.4), Do: Line{Event: "co2", Amounts: map[string]float64{"value": 4.95}}},
		{At: days(21), Do: Line{Event: "package"}},
	}
	return t
}
