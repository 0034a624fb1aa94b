package batch_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
	"spile/detect/cellarsim"
)

// brewDay is the day of the pitch.
var brewDay = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)

func days(n float64) time.Duration { return time.Duration(n * float64(24*time.Hour)) }

func day(n float64) time.Time { return brewDay.Add(days(n)) }

// settings are the tank's, as a config would say them.
func settings() detect.Settings {
	return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100, At: map[string]detect.Place{}}
}

// season is an invented batch of 21 days in the life of FV7, with a creep that wakes after the hops.
func season() cellarsim.Tank {
	t := cellarsim.Unitank("FV7")
	t.OriginalPlato, t.ExtractPlato, t.Celsius, t.GaugeKPa, t.Open = 14.6, 14.6, 19, 0, true
	t.Cooling.Setpoint = 19
	t.Probes = []cellarsim.Probe{cellarsim.Hydrometer("hyd-7"), cellarsim.Thermowell("well-7"), cellarsim.HeadGauge("head-7")}
	line := func(at float64, event string, amounts map[string]float64, words map[string]string) cellarsim.Act {
		return cellarsim.Act{At: days(at), Do: cellarsim.Line{Event: event, Amounts: amounts, Words: words}}
	}
	vdk := func(at float64, result string) cellarsim.Act {
		return line(at, "vdk", nil, map[string]string{"result": result})
	}
	t.Script = []cellarsim.Act{
		{At: 0, Do: cellarsim.Pitch{Original: 14.6, End: 3.0, Half: 40 * time.Hour, Spread: 9 * time.Hour, Beer: "Rope Walk IPA", Liters: 2000, Setpoint: 19}},
		{At: days(3.2), Do: cellarsim.SpundAt{KPa: 70}},
		vdk(7.6, "pass"),
		{At: days(7.8), Do: cellarsim.Crash{Celsius: 14.0, Over: 10 * time.Hour}},
		{At: days(8.8), Do: cellarsim.Dump{Liters: 40}},
		{At: days(9.3), Do: cellarsim.Vent{}},
		{At: days(9.3) + 20*time.Minute, Do: cellarsim.Hop{Grams: 16000, Lot: "K-31", Leach: 0.03}},
		{At: days(9.3) + 30*time.Minute, Do: cellarsim.Seal{Air: 0.02}},
		{At: days(10.4), Do: cellarsim.Creep{Plato: 0.5, Ramp: 14 * time.Hour, Decay: 16 * time.Hour}},
		{At: days(10.5), Do: cellarsim.SpundAt{KPa: 70}},
		vdk(12.8, "fail"), vdk(16.4, "pass"),
		{At: days(16.6), Do: cellarsim.Crash{Celsius: 2, Over: 20 * time.Hour}},
		{At: days(17.8), Do: cellarsim.Dump{Liters: 80, Hops: true}},
		{At: days(18), Do: cellarsim.GasHold{KPa: 60}},
		line(20.4, "co2", map[string]float64{"value": 2.52 * 1.9635}, nil),
		line(21, "package", nil, nil),
	}
	return t
}

// record runs a tank and keeps its record.
func record(t *testing.T, tank cellarsim.Tank, length time.Duration, touch func(*detect.Event)) *batch.Record {
	t.Helper()
	cellar, err := cellarsim.New(cellarsim.Plan{Start: brewDay, Tanks: []cellarsim.Tank{tank}}, rand.New(rand.NewPCG(7, 21)))
	require.NoError(t, err)
	r := batch.NewRecord(tank.Name, settings(), batch.Limits{})
	require.NoError(t, cellar.Each(brewDay.Add(length), func(a cellarsim.Arrival) error {
		for _, one := range a.Readings {
			r.Take(one)
		}
		if a.Event != nil {
			e := *a.Event
			if touch != nil {
				touch(&e)
			}
			r.Log(e)
		}
		return nil
	}))
	return r
}

// label gives the pitch what this version of the simulation does not tell.
func label(e *detect.Event) {
	if e.Name == "pitch" {
		e.Amounts["co2"], e.Amounts["abv"] = 2.5*1.9635, 6.4
	}
}

// point finds one hold point of a batch.
func point(t *testing.T, b batch.Batch, name string) batch.HoldPoint {
	t.Helper()
	for _, p := range b.HoldPoints {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no hold point %s", name)
	return batch.HoldPoint{}
}

func TestABatchOfThreeWeeks(t *testing.T) {
	r := record(t, season(), days(21.1), label)
	tests := []struct {
		at    float64
		point string
		want  batch.Verdict
		stage batch.StageName
	}{
		{1.5, batch.CrashPoint, batch.No, batch.Fermenting},
		{4.0, batch.CrashPoint, batch.No, batch.Fermenting},
		{7.7, batch.CrashPoint, batch.Yes, batch.AtTerminal},
		{7.7, batch.DryHopPoint, batch.No, batch.AtTerminal}, // warm
		{8.0, batch.DryHopPoint, batch.No, batch.Cooling},
		{9.3 + 15.0/1440, batch.DryHopPoint, batch.Yes, batch.Cold},
		{12.9, batch.CrashPoint, batch.No, batch.OnHops},
		{16.3, batch.CrashPoint, batch.No, batch.OnHops}, // diacetyl failed after the creep
		{16.5, batch.CrashPoint, batch.Yes, batch.OnHops},
		{16.5, batch.PackagePoint, batch.No, batch.OnHops},
		{20.9, batch.PackagePoint, batch.Yes, batch.Cold},
	}
	for _, tt := range tests {
		b := r.At(day(tt.at))
		assert.Equal(t, tt.stage, b.Stage.Name, "day %g: %s", tt.at, b.Stage.Why)
		p := point(t, b, tt.point)
		if !assert.Equal(t, tt.want, p.Verdict, "day %g, %s", tt.at, tt.point) {
			for _, c := range p.Conditions {
				t.Logf("%-8s %s: %s", c.State(), c.Name, c.Evidence)
			}
		}
	}
}
