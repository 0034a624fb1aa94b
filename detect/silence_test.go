package detect

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestASilentProbeIsFoundByItsOwnHabit(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
	b.pass(35 * time.Minute)
	require.Empty(t, b.of(ProbeSilent), "45 minutes are always allowed")
	b.pass(time.Minute)
	require.Equal(t, "+", b.of(ProbeSilent))
	f := b.last(ProbeSilent)
	assert.Equal(t, "hyd-1", f.Probe)
	assert.Contains(t, f.Summary, "usually speaks every 10 min")
	b.pass(5 * time.Hour)
	require.Equal(t, "+", b.of(ProbeSilent), "told once")
	b.read("hyd-1", Gravity, 1.0118)
	assert.Equal(t, "+-", b.of(ProbeSilent))
}

func TestTheLastThermometerToFallSilentIsMissed(t *testing.T) {
	for others, want := range map[string]bool{"": true, "hyd-3": false, "out-3": true} {
		b := newBench(t, Settings{At: map[string]Place{"out-3": Head}})
		for range 24 {
			b.read("well-3", Temperature, 14.4)
			if others != "" {
				b.read(others, Temperature, 15.1)
			}
			b.pass(5 * time.Minute)
		}
		for range 12 {
			if others != "" {
				b.read(others, Temperature, 15.1)
			}
			b.pass(5 * time.Minute)
		}
		require.Equal(t, "+", b.of(ProbeSilent))
		assert.Equal(t, want, strings.Contains(b.last(ProbeSilent).Summary, "no other thermometer is heard: read this tank's by hand"), others)
	}
}

func TestTheLastGaugeToFallSilentIsMissed(t *testing.T) {
	for others, want := range map[string]bool{"": true, "head-4": false, "cone-3": true} {
		b := newBench(t, Settings{At: map[string]Place{"cone-3": Cone}})
		for range 36 {
			if b.tank.state.Now.Sub(began) < 2*time.Hour {
				b.read("head-3", Pressure, 80)
			}
			if others != "" {
				b.read(others, Pressure, 90)
			}
			b.pass(5 * time.Minute)
		}
		require.Equal(t, "+", b.of(ProbeSilent))
		assert.Equal(t, want, strings.Contains(b.last(ProbeSilent).Summary, "nobody watches the head pressure, read it at the tank"), others)
	}
}

func TestThermometersThatFallSilentTogetherAreMissed(t *testing.T) {
	b := newBench(t, Settings{})
	for range 24 {
		b.read("hyd-3", Temperature, 15.1)
		b.read("out-3", Temperature, 15.1)
		b.read("well-3", Temperature, 14.4)
		b.pass(5 * time.Minute)
	}
	b.log("probe", nil, map[string]string{"id": "out-3", "state": "out"})
	b.pass(time.Hour)
	require.Equal(t, "++", b.of(ProbeSilent))
	for _, f := range b.found {
		assert.Contains(t, f.Summary, "no other thermometer is heard: read this tank's by hand")
	}
}

func TestSilenceThatIsNobodysFault(t *testing.T) {
	tests := map[string]func(*bench){
		"spile was away": func(b *bench) {
			from := b.now
			b.now = b.now.Add(10 * time.Hour)
			b.tank.Away(from, b.now)
			b.pass(20 * time.Minute)
		},
		"taken out for cleaning": func(b *bench) {
			b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "out"})
			b.pass(10 * time.Hour)
		},
		"taken out, mute in its box, and put in again": func(b *bench) {
			b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "out"})
			b.pass(10 * time.Hour)
			b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "in"})
			b.pass(20 * time.Minute)
			b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
		},
		"it sends late and out of order, but it sends": func(b *bench) {
			for range 20 {
				b.now = b.now.Add(10 * time.Minute)
				b.found = append(b.found, b.tank.Take(Reading{
					Probe: "hyd-1", Quantity: Gravity, Time: b.now.Add(-9 * time.Hour), Arrived: b.now, Value: 1.0118, Late: true,
				})...)
				b.found = append(b.found, b.tank.Tick(b.now)...)
			}
		},
	}
	for name, play := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
			play(b)
			assert.Empty(t, b.of(ProbeSilent))
		})
	}
}

// A probe whose battery died is taken out, and the log says so: nobody need come down for it again.
func TestASilentProbeThatIsTakenOutIsMissedNoMore(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, 10*time.Minute, 2*time.Hour)
	b.pass(2 * time.Hour)
	require.Equal(t, "+", b.of(ProbeSilent))
	b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "out"})
	assert.Equal(t, "+-", b.of(ProbeSilent))
	b.pass(24 * time.Hour)
	assert.Equal(t, "+-", b.of(ProbeSilent))
	b.log("probe", nil, map[string]string{"id": "hyd-1", "state": "in"})
	b.pass(2 * time.Hour)
	assert.Equal(t, "+-+", b.of(ProbeSilent), "it is in, and should speak")
}

func TestAnHourlyProbeMaySpeakHourly(t *testing.T) {
	b := newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, time.Hour, 24*time.Hour)
	b.pass(100 * time.Minute)
	assert.Empty(t, b.of(ProbeSilent))
	b.pass(60 * time.Minute)
	assert.Equal(t, "+", b.of(ProbeSilent))
}

// The first messages may come twice, or late: they are no habit. Nor is an outage, but two in a row are.
func TestAHabitIsFoundWhateverWasHeardFirst(t *testing.T) {
	b := newBench(t, Settings{})
	b.read("hyd-1", Gravity, 1.0118)
	b.pass(time.Minute)
	b.hold("hyd-1", Gravity, 1.0118, 54*time.Minute, 24*time.Hour)
	require.Empty(t, b.of(ProbeSilent))

	b = newBench(t, Settings{}) // each 25 min, the first one twice, and one is lost
	b.read("hyd-1", Gravity, 1.0118)
	b.pass(9 * time.Minute)
	b.read("hyd-1", Gravity, 1.0118)
	b.pass(16 * time.Minute)
	b.read("hyd-1", Gravity, 1.0118)
	b.pass(50 * time.Minute)
	require.Empty(t, b.of(ProbeSilent), "of three messages little is known")
	b.pass(50 * time.Minute)
	assert.Equal(t, "+", b.of(ProbeSilent), "but it is missed in time")

	b = newBench(t, Settings{})
	b.hold("hyd-1", Gravity, 1.0118, 5*time.Minute, 6*time.Hour)
	b.hold("hyd-1", Gravity, 1.0118, time.Hour, 24*time.Hour)
	assert.Equal(t, "+-+-", b.of(ProbeSilent), "it speaks once an hour now")
}
