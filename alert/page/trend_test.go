package page

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestTrendsAreSaidInTheUnitsOfTheCellar(t *testing.T) {
	metric, _ := serve(t, nil)
	customary, _ := serve(t, func(o *Options) {
		o.Display = detect.Display{Gravity: "degP", Temperature: "degF", Pressure: "psi"}
	})
	tests := []struct {
		quantity              detect.Quantity
		value, change         float64
		inMetric, inCustomary string
	}{
		{detect.Gravity, 1.0118, -0.0009, "↘ −0.9 points in 24 h", "↘ −0.2 °P in 24 h"},
		{detect.Gravity, 1.0118, 0.0002, "→ steady for 24 h", "→ steady for 24 h"},
		{detect.Temperature, 15, 1, "↗ +1.0 °C in 6 h", "↗ +1.8 °F in 6 h"},
		{detect.Pressure, 80, -20, "↘ −20.0 kPa in 6 h", "↘ −2.9 psi in 6 h"},
	}
	for _, test := range tests {
		assert.Equal(t, test.inMetric, metric.trend(test.quantity, test.value, test.change))
		assert.Equal(t, test.inCustomary, customary.trend(test.quantity, test.value, test.change))
	}
}

func TestATrendNeedsBothEnds(t *testing.T) {
	s, kept := serve(t, nil)
	say := func(probe string, ago time.Duration, value float64) {
		kept.readings = append(kept.readings, detect.Reading{Tank: "FV3", Probe: probe, Quantity: detect.Pressure, Time: now.Add(-ago), Value: value})
	}
	say("head-3", 6*time.Hour, 70)
	say("head-3", 6*time.Hour-20*time.Minute, 72)
	say("head-3", time.Minute, 82)
	say("new", time.Minute, 50)
	say("gone", 6*time.Hour, 50)
	changes, err := s.trends.get(t.Context(), "")
	require.NoError(t, err)
	assert.Equal(t, map[probed]float64{{"FV3", "head-3", detect.Pressure}: 11}, changes)
	alone, err := s.trends.get(t.Context(), "FV3")
	require.NoError(t, err)
	assert.Equal(t, changes, alone)
	assert.Contains(t, said(t, ask(s, "GET", "/", "").Body.String()), "pressure 82.0 kPa 40 min ago ↗ +11.0 kPa in 6 h")
}

func TestAPageWithoutTrendsIsAPage(t *testing.T) {
	s, kept := serve(t, nil)
	kept.fail = errDisk
	assert.Equal(t, 200, ask(s, "GET", "/", "").Code)
}
