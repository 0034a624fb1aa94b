package batch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
)

// held is a tank that has stood at a temperature and a pressure for a day until noon.
func held(celsius, kPa float64, lines ...detect.Event) *batch.Record {
	r := batch.NewRecord("FV3", detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 103.4, Sealed: true}, batch.Limits{})
	for at := noon.Add(-24 * time.Hour); at.Before(noon); at = at.Add(2 * time.Minute) {
		r.Take(detect.Reading{Tank: "FV3", Probe: "well-3", Quantity: detect.Temperature, Time: at, Value: celsius})
		value := kPa
		for _, e := range lines {
			if e.Name == "vent" && !at.Before(e.Time) {
				value = 0
			}
		}
		r.Take(detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: at, Value: value})
	}
	for _, e := range lines {
		r.Log(e)
	}
	return r
}

// A barometer that is published under a tank's name is no gauge of that tank.
func TestWhatIsOutsideIsNotTheTanks(t *testing.T) {
	r := batch.NewRecord("FV3", detect.Settings{At: map[string]detect.Place{"baro-1": detect.Outside}}, batch.Limits{})
	r.Take(detect.Reading{Tank: "FV3", Probe: "baro-1", Quantity: detect.Pressure, Time: noon.Add(-time.Minute), Value: 100.9})
	assert.Nil(t, r.Report(noon).Figures.PressureKPa)
	r.Take(detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: noon.Add(-time.Minute), Value: 80})
	require.NotNil(t, r.Report(noon).Figures.PressureKPa)
}

var noon = time.Date(2026, 3, 9, 12, 0, 0, 0, time.UTC)

func line(name string, at time.Time, amounts map[string]float64, words map[string]string) detect.Event {
	return detect.Event{Tank: "FV3", Name: name, Time: at, Arrived: at, Amounts: amounts, Words: words}
}

// The ends are those of the closed tank's balance worked by hand: 14.4 to 2 degC, a head space of a tenth.
func TestWhereACoolingEnds(t *testing.T) {
	tests := map[string]struct {
		kPa   float64
		lines []detect.Event
		says  string
	}{
		"well over":    {80, nil, "it ends near 22."},
		"near nothing": {50, nil, "That may pass below the atmosphere: put CO2 on first"},
		"below":        {20, nil, "it ends near -18.5 kPa"},
		"gas left on":  {50, []detect.Event{line("gas", noon.Add(-time.Hour), map[string]float64{"hold": 50}, nil)}, "CO2 is left on at 50.0 kPa"},
		"open":         {0, []detect.Event{line("vent", noon.Add(-20*time.Hour), nil, nil)}, "The tank is open by the log"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			said := held(14.4, tt.kPa, tt.lines...).Before(line("crash", noon, map[string]float64{"setpoint": 2}, nil))
			assert.Contains(t, said[len(said)-1], tt.says)
		})
	}
}

// 2.5 volumes at 14.4 degC need about 151 kPa, above a vessel for 15 psi.
func TestWhatAValveGives(t *testing.T) {
	pitch := line("pitch", noon.Add(-24*time.Hour), map[string]float64{"co2": 2.5 * 1.9635}, nil)
	said := held(14.4, 60, pitch).Before(line("vent", noon, map[string]float64{"pressure": 82.7}, nil))
	assert.Contains(t, said[0], "A valve at 82.7 kPa gives about 1.79 volumes")
	assert.Contains(t, said[1], "2.50 volumes take 15")
	assert.Contains(t, said[1], "not reachable here, for the relief valve is set at 103.4 kPa")
}

// From beer at 80 kPa, blown to zero and purged, pressure climbs back to about 73; with half air to about 119.
func TestWhatClosingAgainGives(t *testing.T) {
	r := held(14.4, 80, line("vent", noon.Add(-30*time.Minute), nil, nil))
	said := r.Before(line("seal", noon, nil, nil))
	assert.Len(t, said, 1)
	assert.Contains(t, said[0], "climbs back to about 73.")
	assert.Contains(t, said[0], "to 11")
	assert.Contains(t, said[0], "The relief valve is set at 103.4 kPa")
}

func TestAnActBeforeItsHoldPointIsDoubted(t *testing.T) {
	said := held(14.4, 80).Before(line("dry-hop", noon, map[string]float64{"mass": 9000}, map[string]string{"kind": "cold"}))
	assert.Contains(t, said[0], "The hold point before this says no. Not met: the head is blown down")
	assert.Empty(t, held(14.4, 80).Before(line("dry-hop", noon, nil, map[string]string{"kind": "active"})))
	unknown := held(14.4, 80).Before(line("crash", noon, map[string]float64{"setpoint": 2}, nil))
	assert.Contains(t, unknown[0], "The hold point before this cannot be told yet. Not known:", "open would read as a gate that is passed")
}

func TestHoursToTheReliefSetting(t *testing.T) {
	r := batch.NewRecord("FV3", detect.Settings{ReliefKPa: 100}, batch.Limits{})
	for at := noon.Add(-12 * time.Hour); at.Before(noon); at = at.Add(time.Minute) {
		r.Take(detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: at, Value: 80 - 2*noon.Sub(at).Hours()})
	}
	assert.Contains(t, r.At(noon).Outlook[0], "the relief setting of 100.0 kPa comes in 10 h. Loosen no clamp")
}

func TestWhatLeftTheTankSinceACreepBegan(t *testing.T) {
	r := held(2, 60, line("pitch", noon.Add(-23*time.Hour), nil, nil),
		line("package", noon.Add(-20*time.Hour), map[string]float64{"volume": 300}, nil),
		line("package", noon.Add(-2*time.Hour), map[string]float64{"volume": 500}, nil))
	r.Alarms([]batch.Alarm{{Alarm: detect.Refermentation, Raised: noon.Add(-time.Hour), Onset: noon.Add(-10 * time.Hour), Summary: "FV3: beer is fermenting again"}})
	assert.Equal(t, "the watch says so: beer is fermenting again", r.At(noon).Stage.Why, "of a tank whose name stands above it")
	said := r.At(noon).Outlook
	assert.Contains(t, said[0], "Mon 9 Mar 10:00 package volume 5.0 hL")
	assert.NotContains(t, said[0], "3.0 hL")
}
