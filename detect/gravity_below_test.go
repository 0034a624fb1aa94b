package detect

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hopsSettle is what hops that go in at an hour put on a float.
func hopsSettle(hour, hopped int, step, tail float64) float64 {
	if hour < hopped {
		return 0
	}
	return step * math.Exp(-float64(hour-hopped)/tail)
}

// Hops settle back to where the float stood before them and give off a little: what comes to stand below by more than drift
// does is a fall, however large the step was.
func TestAFloatThatFallsBelowWhereItStoodBeforeTheHopsIsCalled(t *testing.T) {
	t.Parallel()
	const hopped, onset, end = 28, 56, 200
	sum := 0.0
	for seed := range uint64(8) {
		f, s := &float{White: whiteGuess, Noise: noiseGuess, Hopped: after(hopped)}, newSwimmer(seed, 0.09, 0.05)
		for hour := range end {
			plato := 2.6 + hopsSettle(hour, hopped, 0.7, 16) - 0.0082*usualCourse().gone(float64(hour-onset))
			f.addPoint(point{At: after(hour), Plato: plato + s.noise(), Celsius: 14.4, N: 1}, 0)
		}
		f.White = 0.09
		f.look()
		sum += f.Score / 8
	}
	assert.Greater(t, sum, NewTank("FV1", Settings{}).scoreNeeded())
}

// Hops give off extract and take none away: a float that stands higher after them is nothing odd, one that stands lower is.
func TestHopsTakeNothingAway(t *testing.T) {
	t.Parallel()
	explained := func(stays float64) float64 {
		f := &float{White: 0.03, Noise: 0.02, Hopped: after(40)}
		for hour := range 160 {
			plato := 3 + hopsSettle(hour, 40, 0.5, 12)
			if hour >= 40 {
				plato += stays * -math.Expm1(-float64(hour-40)/leachHours)
			}
			f.Points = append(f.Points, point{At: after(hour), Plato: plato, Celsius: 14.4, N: 1})
		}
		return logSum(f.bends().proofs(1))
	}
	assert.Greater(t, explained(0.1), explained(-0.1)+1)
}

// What fell before a jump falls on after it. Just after one, something may settle.
func TestAJumpHidesNoFallThatWasInCourse(t *testing.T) {
	t.Parallel()
	f := &float{White: whiteGuess, Noise: noiseGuess, Hopped: after(10), Stepped: after(100)}
	for hour := range 160 {
		f.Points = append(f.Points, point{At: after(hour), N: 1})
	}
	before, later := 0, 0
	for _, o := range f.onsets() {
		at := f.Points[o.point].At
		require.False(t, !at.Before(f.Stepped) && at.Before(f.Stepped.Add(stepQuiet)), "%s", at)
		if at.Before(f.Stepped) {
			before++
		} else {
			later++
		}
	}
	assert.Greater(t, before, 20)
	assert.Greater(t, later, 10)
}

// What is taken for a jump in the midst of a fall explains the rest of it: it is forgotten where creep explains the curve as
// well without it.
func TestAJumpThatIsNoneIsForgottenWhereCreepExplainsTheCurve(t *testing.T) {
	t.Parallel()
	forgotten := 0
	for seed := range uint64(8) {
		f := &float{White: whiteGuess, Noise: noiseGuess, Hopped: after(40)}
		newSwimmer(seed, 0.05, 0.06).swims(f, 0, 120, func(hour int) float64 {
			return 2.9 + hopsSettle(hour, 40, -0.25, 13) - 0.012*usualCourse().gone(float64(hour-60))
		}, func(hour int) {
			if hour == 84 {
				f.Stepped = after(84)
			}
		})
		if f.Stepped.IsZero() {
			forgotten++
		}
	}
	assert.GreaterOrEqual(t, forgotten, 6)
}

// Most of what looks like a jump is noise: one of which nothing shows by when creep is looked for after it is forgotten then.
func TestAJumpOfWhichNothingShowsIsForgotten(t *testing.T) {
	t.Parallel()
	forgotten := 0
	for seed := range uint64(8) {
		f := &float{White: 0.1, Noise: noiseGuess}
		newSwimmer(seed, 0.1, 0.06).swims(f, 0, 44, func(int) float64 { return 2.9 }, func(hour int) {
			if hour == 30 {
				f.Stepped = after(30)
			}
		})
		if f.Stepped.IsZero() {
			forgotten++
		}
	}
	assert.GreaterOrEqual(t, forgotten, 7)
}
