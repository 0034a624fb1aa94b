package cellarsim

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// demoTruths runs the whole demo and keeps every tank's truth, minute by minute.
func demoTruths(t *testing.T, seed uint64) map[string][]Truth {
	t.Helper()
	all := map[string][]Truth{}
	c := Demo(monday(), seed)
	for m := range int(DemoLength.Minutes()) {
		require.NoError(t, c.Each(monday().Add(time.Duration(m+1)*time.Minute), func(Arrival) error { return nil }))
		for _, tank := range c.Plan().Tanks {
			truth, ok := c.Truth(tank.Name)
			require.True(t, ok)
			all[tank.Name] = append(all[tank.Name], truth)
		}
	}
	return all
}

// atHour picks the truth at an hour.
func atHour(truths []Truth, hour float64) Truth { return truths[int(hour*60)-1] }

func TestDemoTellsItsFourStories(t *testing.T) {
	all := demoTruths(t, 1)
	require.Len(t, all, 4)

	t.Run("FV1 wakes at hour 22", func(t *testing.T) {
		fv1 := all["FV1"]
		assert.Zero(t, atHour(fv1, 21.9).RatePlatoPerDay)
		assert.InDelta(t, 0.5, atHour(fv1, 38).RatePlatoPerDay, 0.05)
		assert.InDelta(t, 0, atHour(fv1, 3).GaugeKPa, 0.1, "blown down the day before the hops")
		rested := atHour(fv1, 21).GaugeKPa
		assert.Greater(t, rested, 4.0, "some pressure comes back")
		assert.Less(t, rested, 12.0, "most of the CO2 was let out before the hops: they erupt otherwise")
		assert.Greater(t, atHour(fv1, 60).GaugeKPa, rested+60)
		assert.Less(t, atHour(fv1, 60).GaugeKPa, 180.0, "under nine tenths of its relief")
	})
	t.Run("FV2 stays quiet", func(t *testing.T) {
		for _, s := range all["FV2"] {
			require.Zero(t, s.RatePlatoPerDay)
			require.InDelta(t, 14.4, s.Celsius, 0.3)
			require.Less(t, s.GaugeKPa, 90.0)
		}
		assert.InDelta(t, 85, atHour(all["FV2"], 30).GaugeKPa, 0.5)
	})
	t.Run("FV3 warms from hour 30", func(t *testing.T) {
		assert.InDelta(t, 14.4, atHour(all["FV3"], 30).Celsius, 0.3)
		assert.InDelta(t, 20.4, atHour(all["FV3"], 54).Celsius, 1)
		assert.Zero(t, atHour(all["FV3"], 60).MadeGrams)
	})
	t.Run("FV4 nears its relief at hour 50", func(t *testing.T) {
		fv4 := all["FV4"]
		reached := 0.0
		for i, s := range fv4 {
			if s.GaugeKPa >= 90 {
				reached = float64(i+1) / 60
				break
			}
		}
		assert.InDelta(t, 50, reached, 1)
		assert.Less(t, atHour(fv4, 60).GaugeKPa, 99.0)
		assert.Zero(t, atHour(fv4, 60).MadeGrams)
	})
}

func TestDemoSpeaksSeveralShapes(t *testing.T) {
	first := map[byte]int{}
	logs := map[string][]string{}
	require.NoError(t, Demo(monday(), 1).Run(monday().Add(DemoLength), func(m Message) error {
		require.True(t, json.Valid(m.Payload), "%s", m.Payload)
		kind := m.Payload[0]
		if kind != '{' && kind != '[' {
			kind = '0'
		}
		first[kind]++
		var event struct{ Event string }
		if m.Topic[len(m.Topic)-4:] == "/log" {
			require.NoError(t, json.Unmarshal(m.Payload, &event))
			logs[m.Topic] = append(logs[m.Topic], event.Event)
		}
		return nil
	}))
	for kind, count := range first {
		assert.Greater(t, count, 1000, "messages that begin with %q", kind)
	}
	assert.Len(t, first, 3)
	background := []string{"pitch", "gravity", "gravity", "gravity", "vdk", "crash", "yeast-off"}
	assert.Equal(t, append(background[:7:7], "vent", "note", "dry-hop", "seal"), logs["cellar/FV1/log"])
	assert.Equal(t, append(background[:7:7], "vent", "note", "dry-hop", "seal", "sample", "gas"), logs["cellar/FV2/log"])
	assert.Equal(t, background, logs["cellar/FV3/log"])
	assert.Equal(t, append(background[:len(background):len(background)], "gas"), logs["cellar/FV4/log"])
}

func TestUnitankAndFittingsArePlausible(t *testing.T) {
	tank := Unitank("FV1")
	tank.Probes = []Probe{Hydrometer("hyd"), Thermowell("well"), HeadGauge("head")}
	for q, readings := range heard(t, tank, 24*time.Hour) {
		for _, r := range readings {
			switch q {
			case "gravity":
				assert.InDelta(t, gravityOf(3.6), r.Value, 0.003)
			case "temperature":
				assert.InDelta(t, 14.4, r.Value, 0.6)
			default:
				assert.InDelta(t, 80, r.Value, 3)
			}
		}
	}
}
