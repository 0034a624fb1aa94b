package detect

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// Hands that nobody logged, too light for a jump between two readings: pressure is higher within the hour and rests there.
// The same kilopascals are creep where they come over a day.
func TestALightHandIsNoCreep(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name string
		kPa  func(hours float64) float64 // over 60, after four days of rest
		want string
	}{
		{"hops roused", func(h float64) float64 { return 2.8 * -math.Expm1(-h/0.2) }, ""},
		{"a regulator opened and shut", func(h float64) float64 { return min(3*h, 2.4) }, ""},
		{"roused, and partly taken up", func(h float64) float64 { return 2 + 1.2*math.Exp(-h) }, ""},
		{"creep", func(h float64) float64 { return 0.05 * fermented(h) * h }, "+"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 160, ReliefKPa: 150})
			b.log("seal", nil, nil)
			b.crash(14.4)
			rng := rand.New(rand.NewPCG(8, 3))
			from, most := b.now.Add(96*time.Hour), 0.0
			for b.now.Before(from.Add(14 * time.Hour)) {
				kPa := 60.0
				if h := b.now.Sub(from).Hours(); h > 0 {
					kPa += test.kPa(h)
				}
				b.read("well-3", Temperature, 14.4)
				b.read("head-3", Pressure, kPa+0.25*rng.NormFloat64())
				b.pass(10 * time.Minute)
				most = max(most, b.tank.state.Gauges["head-3"].Score)
			}
			assert.Equal(t, test.want, b.of(Refermentation), "score %.1f", most)
		})
	}
}
