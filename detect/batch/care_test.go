package batch_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
)

func TestAFloatIsHeldAgainstTheHand(t *testing.T) {
	cared := func(offset, drift float64, hands ...float64) []batch.ProbeCare {
		r := batch.NewRecord("FV3", detect.Settings{}, batch.Limits{})
		for h := 0.25; h < 200; h += 0.5 {
			sg := 1.012 - offset - drift*h/24 + 0.0001*math.Sin(7*h)
			r.Take(detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: at(h), Value: sg})
		}
		for _, h := range hands {
			r.Log(line("gravity", at(h), map[string]float64{"value": 1.012}, nil))
		}
		r.Log(line("gravity", at(150), map[string]float64{"value": 1.050}, map[string]string{"probe": "hyd-9"}))
		return r.Report(at(200)).Probes
	}
	assert.Empty(t, cared(0.001, 0))

	one := cared(0.0008, 0, 100)
	require.Len(t, one, 1)
	assert.InDelta(t, 0.0008, one[0].Offset.Value, 0.0001)
	assert.Nil(t, one[0].DriftPerDay)
	assert.Contains(t, one[0].Says, "hyd-3 reads low by 0.8 points")
	assert.Contains(t, one[0].Says, "add 0.0008 to its offset.gravity")

	none := cared(0.0001, 0, 20, 90, 160)
	assert.Contains(t, none[0].Says, "no more than hand and float err")
	assert.Less(t, none[0].DriftPerDay.Low, 0.0)
	assert.Greater(t, none[0].DriftPerDay.High, 0.0)

	drifting := cared(-0.0005, 0.0004, 10, 70, 130, 190)
	assert.InDelta(t, 0.0004, drifting[0].DriftPerDay.Value, 0.00005)
	assert.Positive(t, drifting[0].DriftPerDay.Low)
	assert.Contains(t, drifting[0].Says, "drifts by -0.40 points a day")
}
