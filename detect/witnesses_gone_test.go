package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An alarm whose last witness is taken out of the tank would stand for ever.
func TestWhatNobodyCanTakeBackEndsWithItsProbe(t *testing.T) {
	for alarm, tt := range map[Alarm]struct {
		of   Quantity
		seen []float64 // by the hour
	}{
		OverPressure: {Pressure, []float64{60, 98}},
		Vacuum:       {Pressure, []float64{20, -8}},
		CrashDrift:   {Temperature, []float64{14.4, 17, 17}},
		FreezeRisk:   {Temperature, []float64{-3}},
	} {
		for _, another := range []bool{false, true} {
			b := newBench(t, Settings{ReliefKPa: 100})
			if alarm == CrashDrift {
				b.crash(14.4)
			}
			for _, value := range tt.seen {
				b.hold("first", tt.of, value, time.Minute, time.Hour)
				if another {
					b.read("second", tt.of, value)
				}
			}
			require.Equal(t, "+", b.of(alarm), "%s, another %t", alarm, another)
			b.pass(time.Minute)
			b.log("probe", nil, map[string]string{"id": "first", "state": "out"})
			assert.Equal(t, map[bool]string{false: "+-", true: "+"}[another], b.of(alarm), "%s, another %t", alarm, another)
		}
	}
}

// An empty tank holds nothing that freezes, whether its thermometer is heard or not.
func TestAnEmptyTankFreezesNoMore(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("well-3", Temperature, -3, 5*time.Minute, time.Hour)
	require.Equal(t, "+", b.of(FreezeRisk))
	b.log("empty", nil, nil)
	assert.Equal(t, "+-", b.of(FreezeRisk))
}
