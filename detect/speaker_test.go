package detect

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// word is one reading of a moment, measured some time before it is heard.
type word struct {
	probe    string
	quantity Quantity
	value    float64
	ago      time.Duration
}

// moment hears all of it now.
func (b *bench) moment(words ...word) {
	for _, w := range words {
		b.found = append(b.found, b.tank.Take(Reading{
			Tank: "FV3", Probe: w.probe, Quantity: w.quantity, Time: b.now.Add(-w.ago), Arrived: b.now, Value: w.value, Raw: w.value,
		})...)
	}
}

// A gateway sends what it has gathered at once, and the journal may write it in any order.
func TestNoThermometerTellsAnotherProbeOfTheSameMoment(t *testing.T) {
	wave := func(at time.Duration) float64 { return 0.4 * math.Sin(at.Hours()) }
	hyd := func(celsius float64) word { return word{"hyd-3", Temperature, celsius, 0} }
	well := func(name string, celsius float64) word { return word{name, Temperature, celsius, 10 * time.Second} }
	head := func(at time.Duration) word { return word{"head-3", Pressure, 80 + wave(at), 0} }
	tests := map[string]struct {
		every time.Duration
		says  func(at time.Duration) []word
	}{
		"clocks apart": {5 * time.Minute, func(at time.Duration) []word {
			return []word{well("well-3", 14.4+wave(at)), head(at)}
		}},
		"each hour": {time.Hour, func(at time.Duration) []word {
			return []word{well("well-3", 14.4+wave(at)), head(at)}
		}},
		"two wells": {5 * time.Minute, func(at time.Duration) []word {
			return []word{well("well-3", 14.2+wave(at)), well("well-4", 14.6+wave(at)), head(at)}
		}},
		"wells that come back beside a float": {5 * time.Minute, func(at time.Duration) []word {
			out := []word{{"hyd-3", Gravity, 1.012, 0}, hyd(15 + wave(at)), head(at)}
			if at < 6*time.Hour || at > 10*time.Hour {
				out = append(out, well("well-3", 14.2+wave(at)), well("well-4", 14.6+wave(at)))
			}
			return out
		}},
		"all of them lost, and back": {5 * time.Minute, func(at time.Duration) []word {
			if at > 6*time.Hour && at < 10*time.Hour {
				return nil
			}
			return []word{hyd(15 + wave(at)), well("well-3", 14.2+wave(at)), head(at)}
		}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			one, other := closedTank(t), closedTank(t)
			for at := time.Duration(0); at < 16*time.Hour; at += test.every {
				said := test.says(at)
				one.moment(said...)
				slices.Reverse(said)
				other.moment(said...)
				one.pass(test.every)
				other.pass(test.every)
			}
			require.ElementsMatch(t, one.found, other.found)
			a, err := json.Marshal(one.tank)
			require.NoError(t, err)
			b, err := json.Marshal(other.tank)
			require.NoError(t, err)
			assert.JSONEq(t, string(a), string(b))
		})
	}
}
