package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestBeerNearItsFreezingPoint(t *testing.T) {
	cool := func(b *bench, to float64) {
		for c := 2.0; c > to; c -= 0.1 {
			b.hold("well-3", Temperature, c, 5*time.Minute, 5*time.Minute)
		}
	}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"of an unknown beer":            {func(b *bench) { cool(b, -0.9) }, "+"},
		"and warm enough":               {func(b *bench) { cool(b, 0) }, ""},
		"held that cold on purpose":     {func(b *bench) { b.crash(-1); cool(b, -1.3) }, ""},
		"and running on from there":     {func(b *bench) { b.crash(-1); cool(b, -1.7) }, "+"},
		"away again, past the deadband": {func(b *bench) { cool(b, -0.9); b.hold("well-3", Temperature, -0.1, 5*time.Minute, 10*time.Minute) }, "+-"},
		// OG 1.100, 1.020: some 8.6 % w/w, so that -0.9 degC is far from ice.
		"of a strong beer": {func(b *bench) {
			b.log("pitch", map[string]float64{"gravity": 1.100}, nil)
			b.read("hyd-1", Gravity, 1.020)
			cool(b, -0.9)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(FreezeRisk))
		})
	}
}
