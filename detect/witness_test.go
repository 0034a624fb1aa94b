package detect

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A call says the same whichever of the witnesses of one moment is heard first: a gauge may call at the end of a half hour
// that is the float's hour, too.
func TestACallSaysTheSameInWhateverOrderAMomentIsHeard(t *testing.T) {
	for _, climb := range []float64{1.5, 2, 2.5, 3, 3.5, 4} { // kPa/h
		one, other := closedTank(t), closedTank(t)
		noise := rand.New(rand.NewPCG(3, uint64(climb*10)))
		for at := time.Duration(0); at < 90*time.Hour; at += 10 * time.Minute {
			working := max(0, (at - 60*time.Hour).Hours())
			said := []word{
				{"hyd-3", Gravity, roundTo(1.012-0.00005*working+0.0003*noise.NormFloat64(), 0.0001), 0},
				{"well-3", Temperature, roundTo(14.4+0.05*noise.NormFloat64(), 0.1), 0},
				{"head-3", Pressure, 60 + climb*working + 0.1*noise.NormFloat64(), 0},
			}
			one.moment(said...)
			slices.Reverse(said)
			other.moment(said...)
			one.pass(10 * time.Minute)
			other.pass(10 * time.Minute)
		}
		require.Contains(t, one.of(Refermentation), "+", "%v kPa/h", climb)
		assert.ElementsMatch(t, one.found, other.found, "%v kPa/h", climb)
		assert.Equal(t, one.tank.Status().Forecast, other.tank.Status().Forecast, "%v kPa/h", climb)
	}
}
