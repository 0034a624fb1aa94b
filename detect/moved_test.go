package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// drifts reads a float's gravity every ten minutes for a time, a last digit of noise on it.
func (b *bench) drifts(sg float64, length time.Duration) {
	i := 0
	for end := b.now.Add(length); b.now.Before(end); i++ {
		b.read("hyd-3", Gravity, sg+0.0001*float64(i%3))
		b.pass(10 * time.Minute)
	}
}

func TestAFloatThatWasMovedIsAskedAbout(t *testing.T) {
	for name, tt := range map[string]struct {
		play func(*bench)
		want string
	}{
		"to another tank": {func(b *bench) { b.drifts(1.0480, time.Hour) }, "+"},
		"and back":        {func(b *bench) { b.drifts(1.0480, 24*time.Hour); b.drifts(1.0142, 3*time.Hour) }, "+-"},
		"and logged": {func(b *bench) {
			b.drifts(1.0480, 24*time.Hour)
			b.log("probe", nil, map[string]string{"id": "hyd-3", "state": "out"})
		}, "+-"},
		"hops": {func(b *bench) { b.drifts(1.0175, 24*time.Hour) }, ""},
		"wild readings": {func(b *bench) {
			for range 30 {
				b.drifts(1.0140, 30*time.Minute)
				b.drifts(1.0480, 20*time.Minute)
			}
		}, ""},
		"wild readings three in a row": {func(b *bench) { b.drifts(1.0480, 30*time.Minute); b.drifts(1.0140, 4*time.Hour) }, ""},
		"fruit":                        {func(b *bench) { b.log("add", nil, nil); b.drifts(1.0240, 24*time.Hour) }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.drifts(1.0140, 24*time.Hour)
			tt.play(b)
			found := ""
			for _, f := range b.found {
				if f.Alarm == ProbeFault && (f.Active == (found == "" || found == "+-")) {
					found += map[bool]string{true: "+", false: "-"}[f.Active]
				}
			}
			assert.Equal(t, tt.want, found)
		})
	}
}

// A wild value among the first readings, of which a level is made, is no level.
func TestAWildValueAmongAFloatsFirst(t *testing.T) {
	for wild := range movedKnown {
		b := newBench(t, Settings{})
		for i := range movedKnown {
			b.read("hyd-3", Gravity, map[bool]float64{true: 1.1020, false: 1.0120}[i == wild])
			b.pass(10 * time.Minute)
		}
		b.drifts(1.0120, 24*time.Hour)
		assert.Empty(t, b.of(ProbeFault), "the wild one at %d", wild)
		b.drifts(1.0480, time.Hour)
		assert.Equal(t, "+", b.of(ProbeFault), "it is still asked about where it jumps")
	}
}

// A thermometer that people hold in the hand says nothing of the beer; once they are gone it is heard again.
func TestAThermometerPulledByHands(t *testing.T) {
	b := newBench(t, Settings{})
	b.crash(4)
	b.hold("well-3", Temperature, 4, 5*time.Minute, 24*time.Hour)
	b.log("work", map[string]float64{"for": 1}, nil)
	b.hold("well-3", Temperature, 19, 5*time.Minute, 50*time.Minute)
	b.hold("well-3", Temperature, 4, 5*time.Minute, 2*time.Hour)
	assert.Empty(t, b.of(CrashDrift))
	b.hold("well-3", Temperature, 19, 5*time.Minute, time.Hour)
	assert.Equal(t, "+", b.of(CrashDrift))
}
