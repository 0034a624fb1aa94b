package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/beer"
)

func TestCorrections(t *testing.T) {
	twenty := 20.0
	d := newDecoder(t, DecoderOptions{Probes: map[string]Correction{
		"hyd-1": {Calibration: &twenty, Offset: map[detect.Quantity]float64{detect.Gravity: -0.0012, detect.Temperature: 0.3}},
		"hyd-2": {Offset: map[detect.Quantity]float64{detect.Pressure: -0.4}},
		"hyd-3": {Offset: map[detect.Quantity]float64{detect.Gravity: 0.5}},
	}})
	corrected := func(sg, celsius float64) float64 {
		v, err := beer.CorrectHydrometer(sg, celsius, twenty)
		require.NoError(t, err)
		return v
	}
	for name, c := range map[string]struct {
		topic, payload string
		raw, value     []float64
		reasons        []string
	}{
		"offset, then its own temperature": {"cellar/FV3/hyd-1", `{"gravity":1.0118,"temperature":4.0}`,
			[]float64{1.0118, 4.0}, []float64{corrected(1.0106, 4.3), 4.3}, nil},
		"no temperature in the message": {"cellar/FV3/hyd-1", `{"gravity":1.0118}`, []float64{1.0118}, []float64{1.0106}, nil},
		"hot caustic keeps its offset":  {"cellar/FV3/hyd-1", `{"gravity":0.990,"temperature":80}`, []float64{0.990, 80}, []float64{0.9888, 80.3}, nil},
		"only the temperature of the same time": {"cellar/FV3/hyd-1", `[{"n":"gravity","v":1.0118},{"n":"temperature","v":4,"t":-60},{"n":"gravity","v":1.0118,"t":-60}]`,
			[]float64{1.0118, 4, 1.0118}, []float64{1.0106, 4.3, corrected(1.0106, 4.3)}, nil},
		"offset alone":        {"cellar/FV3/hyd-2/pressure", `82`, []float64{82}, []float64{81.6}, nil},
		"nothing known":       {"cellar/FV3/hyd-9/pressure", `82`, []float64{82}, []float64{82}, nil},
		"impossible after it": {"cellar/FV3/hyd-3", `{"gravity":1.01,"temperature":14}`, []float64{14}, []float64{14}, []string{ReasonOutOfRange}},
	} {
		t.Run(name, func(t *testing.T) {
			out := d.Decode(Message{Topic: c.topic, Payload: []byte(c.payload)}, noon)
			require.Len(t, out.Readings, len(c.raw), "%v", out.Refusals)
			for i, r := range out.Readings {
				assert.InDelta(t, c.raw[i], r.Raw, 1e-12)
				assert.InDelta(t, c.value[i], r.Value, 1e-12)
			}
			assert.Equal(t, c.reasons, reasons(out.Refusals))
		})
	}
}

// A glass hydrometer right at 20 degC reads too high in colder beer: the figure
// must come down when it is cold, and stay at its calibration.
func TestCorrectionGoesTheRightWay(t *testing.T) {
	twenty := 20.0
	at := func(celsius float64) float64 {
		readings := []detect.Reading{
			{Quantity: detect.Gravity, Raw: 1.010, Time: time.Unix(0, 0)}, {Quantity: detect.Temperature, Raw: celsius, Time: time.Unix(0, 0)},
		}
		Correction{Calibration: &twenty}.correct(readings)
		return readings[0].Value
	}
	assert.InDelta(t, 1.010, at(20), 1e-9)
	assert.Less(t, at(4), 1.0095)
	assert.Greater(t, at(30), 1.0105)
}
