package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Hops that nobody logged are asked about once: where the float jumps and the tank was opened, or jumps far and no gauge
// could tell. The answer, or two days, ends the question.
func TestHopsThatNobodyLogged(t *testing.T) {
	swim := func(b *bench, sg, kPa float64, length time.Duration) {
		for end := b.now.Add(length); b.now.Before(end); {
			b.read("well-3", Temperature, 14.4)
			b.read("hyd-3", Gravity, sg)
			if kPa >= 0 {
				b.read("head-3", Pressure, kPa)
			}
			b.pass(5 * time.Minute)
		}
	}
	for name, tt := range map[string]struct {
		play func(*bench)
		want string
	}{
		"the tank opened, and a jump": {func(b *bench) { swim(b, 1.0120, 60, 12*time.Hour); swim(b, 1.0145, 0, 6*time.Hour) }, "+"},
		"a jump, no gauge":            {func(b *bench) { swim(b, 1.0120, -1, 12*time.Hour); swim(b, 1.0145, -1, 6*time.Hour) }, "+"},
		"a jump of a closed tank":     {func(b *bench) { swim(b, 1.0120, 60, 12*time.Hour); swim(b, 1.0145, 60, 6*time.Hour) }, ""},
		"opened, and no jump":         {func(b *bench) { swim(b, 1.0120, 60, 12*time.Hour); swim(b, 1.0120, 0, 6*time.Hour) }, ""},
		"a dry-hop in the log": {func(b *bench) {
			swim(b, 1.0120, 60, 12*time.Hour)
			b.log("dry-hop", nil, nil)
			swim(b, 1.0145, 0, 6*time.Hour)
		}, ""},
		"logged when asked": {func(b *bench) {
			swim(b, 1.0120, 60, 12*time.Hour)
			swim(b, 1.0145, 0, 6*time.Hour)
			b.log("dry-hop", nil, nil)
		}, "+-"},
		"never answered": {func(b *bench) { swim(b, 1.0120, 60, 12*time.Hour); swim(b, 1.0145, 0, 54*time.Hour) }, "+-"},
		"fermenting on purpose": {func(b *bench) {
			b.log("pitch", map[string]float64{"gravity": 1.048}, nil)
			swim(b, 1.0420, 60, 12*time.Hour)
			swim(b, 1.0445, 0, 6*time.Hour)
		}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.crash(14.4)
			tt.play(b)
			assert.Equal(t, tt.want, b.of(HopCharge))
			if tt.want != "" {
				assert.Empty(t, b.of(Refermentation))
			}
		})
	}
}

// A rest lets beer ferment, but not where hops were asked about and nobody answered, whatever else is logged late.
func TestARestAfterHopsThatWereAskedAbout(t *testing.T) {
	for name, tt := range map[string]struct {
		answer  string
		late    bool
		watched bool
	}{
		"nobody answered":           {"", false, true},
		"and a line comes late":     {"", true, true},
		"hops that ferment with it": {"active", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.crash(14.4)
			for hour := range 18 * 12 {
				sg := 1.0120
				if hour > 12*12 {
					sg = 1.0145
				}
				b.read("well-3", Temperature, 14.4)
				b.read("hyd-3", Gravity, sg)
				b.pass(5 * time.Minute)
			}
			require.Equal(t, "+", b.of(HopCharge))
			if tt.answer != "" {
				b.log("dry-hop", nil, map[string]string{"kind": tt.answer})
			}
			b.pass(time.Hour)
			b.log("rest", map[string]float64{"setpoint": 17}, nil)
			if tt.late {
				b.late(3*time.Hour, "sample", nil, nil)
			}
			assert.Equal(t, tt.watched, b.tank.armed())
		})
	}
}
