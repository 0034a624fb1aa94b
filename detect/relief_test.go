package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHeadPressureAgainstTheRelief(t *testing.T) {
	tests := map[string]struct {
		settings Settings
		play     func(*bench)
		want     string
	}{
		"at nine tenths": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 85, time.Minute, 20*time.Minute)
			b.hold("head-3", Pressure, 90.2, time.Minute, 10*time.Minute)
		}, "+"},
		"and back, past the deadband": {Settings{ReliefKPa: 100}, func(b *bench) {
			for _, p := range []float64{88, 91, 87, 84, 81, 79.5} {
				b.hold("head-3", Pressure, p, time.Minute, 3*time.Minute)
			}
		}, "+-"},
		"under a valve that holds that much": {Settings{ReliefKPa: 103}, func(b *bench) {
			b.log("vent", map[string]float64{"pressure": 93}, nil)
			b.hold("head-3", Pressure, 93.4, time.Minute, 3*time.Hour)
		}, ""},
		"past that valve": {Settings{ReliefKPa: 103}, func(b *bench) {
			b.log("vent", map[string]float64{"pressure": 93}, nil)
			for p := 93.0; p < 98; p += 0.5 {
				b.hold("head-3", Pressure, p, time.Minute, 10*time.Minute)
			}
		}, "+"},
		"on its way there within the hour": {Settings{ReliefKPa: 100}, func(b *bench) {
			for p := 30.0; p < 80; p += 0.5 {
				b.hold("head-3", Pressure, p, time.Minute, time.Minute)
			}
		}, "+"},
		"a top-up by hand is no trend": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 55, time.Minute, 2*time.Hour)
			for p := 55.0; p < 80; p += 5 {
				b.hold("head-3", Pressure, p, time.Minute, time.Minute)
			}
			b.hold("head-3", Pressure, 80, time.Minute, 2*time.Hour)
		}, ""},
		"one reading over the limit, by the noise": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 87, time.Minute, 20*time.Minute)
			b.read("head-3", Pressure, 91)
			b.pass(time.Minute)
			b.hold("head-3", Pressure, 87, time.Minute, 20*time.Minute)
		}, ""},
		"an hour just below, whose noise passes the limit now and then": {Settings{ReliefKPa: 100}, func(b *bench) {
			for i := range 720 {
				b.read("head-3", Pressure, 89.6+[]float64{0, -0.4, 0.6, 0.5, -0.3, -0.4, 0.1, -0.2}[i%8])
				b.now = b.now.Add(10 * time.Second)
			}
		}, ""},
		"two wild readings in a row": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 62, time.Minute, 20*time.Minute)
			for _, p := range []float64{89, 91.4, 62, 62, 89, 101, 101, 62, 62} {
				b.read("head-3", Pressure, p)
				b.pass(time.Minute)
			}
		}, ""},
		"a top-up by hand past the limit": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 62, time.Minute, 20*time.Minute)
			b.hold("head-3", Pressure, 91.4, time.Minute, 3*time.Minute)
		}, "+"},
		"a gauge that seldom speaks is believed at once": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.hold("head-3", Pressure, 86, 30*time.Minute, 90*time.Minute)
			b.read("head-3", Pressure, 90.4)
		}, "+"},
		"not given": {Settings{}, func(b *bench) {
			b.hold("head-3", Pressure, 300, time.Minute, time.Hour)
		}, ""},
		"a probe at the bottom reads the beer too": {Settings{ReliefKPa: 100, At: map[string]Place{"foot-3": Bottom}}, func(b *bench) {
			b.hold("foot-3", Pressure, 96, time.Minute, time.Hour)
		}, ""},
		"an empty tank is watched as well": {Settings{ReliefKPa: 100}, func(b *bench) {
			b.log("empty", nil, nil)
			b.hold("head-3", Pressure, 95, time.Minute, 5*time.Minute)
		}, "+"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, tt.settings)
			tt.play(b)
			assert.Equal(t, tt.want, b.of(OverPressure))
		})
	}
}

func TestPastAValveItsOwnSettingIsNamed(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 103})
	b.log("vent", map[string]float64{"pressure": 93}, nil)
	for p := 93.0; b.of(OverPressure) == "" && p < 100; p += 0.5 { // to the very limit
		b.hold("head-3", Pressure, p, time.Minute, 10*time.Minute)
	}
	assert.Contains(t, b.last(OverPressure).Summary, "head pressure 97.0 kPa is past the spund setting of 93.0 kPa")
}

func TestAtItsSettingTheReliefShouldPassGas(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100})
	b.hold("head-3", Pressure, 100.2, time.Minute, 15*time.Minute)
	assert.Contains(t, b.last(OverPressure).Summary, "head pressure 100.2 kPa has reached the relief setting of 100.0 kPa; the valve should pass gas now")
}

func TestAboveItsSettingTheReliefMayBeBlocked(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100})
	b.hold("head-3", Pressure, 104, time.Minute, 5*time.Minute)
	assert.Contains(t, b.last(OverPressure).Summary, "may be blocked")
}

func TestPastTheReliefSettingItIsToldAgain(t *testing.T) {
	b := newBench(t, Settings{ReliefKPa: 100})
	for p := 88.0; p < 104; p += 0.5 {
		b.hold("head-3", Pressure, p, time.Minute, 3*time.Minute)
	}
	require.Equal(t, "++", b.of(OverPressure))
	f := b.last(OverPressure)
	assert.True(t, f.Worse)
	assert.Contains(t, f.Summary, "above the relief setting")
}
