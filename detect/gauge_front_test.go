package detect

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// A low that passes lifts a quiet gauge by nearly three kPa in ten hours, as a creep may. It goes up straight and is over; creep bends,
// and goes on.
func TestALowThatPassesIsNoClimb(t *testing.T) {
	t.Parallel()
	const enough = 16.0 // nats
	highest := func(course func(hours float64) float64, seed uint64) float64 {
		most := 0.0
		for _, until := range []float64{56, 58, 60, 62, 64, 68} {
			c := plays(func(h float64) float64 { return 160 + course(h-48) }, hours(until), 5*time.Minute, 0.1, 0.1, seed)
			most = max(most, c.Score)
		}
		return most
	}
	var fronts, creeps []float64
	for seed := range uint64(8) {
		fronts = append(fronts, highest(func(h float64) float64 { return 2.8 * min(max(h/10, 0), 1) }, seed))
		creeps = append(creeps, highest(func(h float64) float64 { return 0.55 * fermented(h) }, seed))
	}
	assert.Less(t, slices.Max(fronts), enough)
	assert.Greater(t, slices.Min(creeps), enough)
}
