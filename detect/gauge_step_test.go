package detect

import (
	"math"
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
		{"roused hard", func(h float64) float64 { return 14 * -math.Expm1(-h/2) }, ""},
		{"roused harder, and slower to rest", func(h float64) float64 { return 20 * -math.Expm1(-h/3) }, ""},
		{"creep", func(h float64) float64 { return 0.05 * fermented(h) * h }, "+"},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b, _ := restedTank{rests: 96 * time.Hour, every: 10 * time.Minute, noise: 0.25, seed: 3, kPa: test.kPa}.play(t)
			assert.Equal(t, test.want, b.of(Refermentation))
		})
	}
}
