package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// A float that is dropped into the beer may begin with a wild value. No other one came before it, and two that agree stand off
// it: as the level that the curve began with it would hide a creep for days.
func TestAWildFirstValueBlindsNoFloat(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		hopped time.Time
		first  float64 // degP
		begins int     // hour of the first point of the curve
	}{
		"wild":                           {time.Time{}, 6, 2},
		"wild after the hops":            {after(-5), 6, 2},
		"near enough":                    {time.Time{}, 3.2, 0},
		"where it stood before the hops": {after(1), 3.9, 0},
	} {
		t.Run(name, func(t *testing.T) {
			s := newSwimmer(3, 0.03, 0.01)
			f := &float{White: whiteGuess, Noise: noiseGuess, Hopped: tt.hopped}
			s.swims(f, 0, 12, func(hour int) float64 {
				if hour == 0 {
					return tt.first
				}
				return 3
			}, nil)
			assert.Equal(t, after(tt.begins), f.Points[0].At)
		})
	}
}

// What fell in hours of which a float says nothing is no jump, unless no yeast falls so far in them. Upward, none does.
func TestAFallOverAGapIsNoJump(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		silent int     // hours
		by     float64 // degP
		want   bool
	}{
		"from hour to hour":           {0, -0.4, true},
		"over half a night":           {8, -0.4, false},
		"too far for half a night":    {8, -0.9, true},
		"upward over half a night":    {8, 0.4, true},
		"as far as yeast goes in one": {1, -0.18, false},
	} {
		t.Run(name, func(t *testing.T) {
			f := &float{White: 0.02, Noise: 0.02}
			newSwimmer(5, 0.005, 0.005).swims(f, 0, 12, func(int) float64 { return 3 }, nil)
			newSwimmer(6, 0.005, 0.005).swims(f, 12+tt.silent, 17+tt.silent, func(int) float64 { return 3 + tt.by }, nil)
			assert.Equal(t, tt.want, !f.Stepped.IsZero())
		})
	}
}

func TestAJumpInMidHourIsAJump(t *testing.T) {
	t.Parallel()
	f := &float{White: 0.05, Noise: noiseGuess}
	newSwimmer(3, 0.05, 0.03).swims(f, 0, 30, func(hour int) float64 {
		switch {
		case hour < 20:
			return 3
		case hour == 20: // half of the hour before it
			return 2.75
		}
		return 2.5
	}, nil)
	assert.WithinDuration(t, after(20), f.Stepped, time.Hour, "and the hour after it is no other")
}

// What stands out for an hour only is forgotten as a jump by when creep is looked for after it; what stays is kept.
func TestWhatWasNoJumpIsForgotten(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		stays  float64
		jumped bool
	}{"one hour": {0, false}, "for good": {0.3, true}} {
		t.Run(name, func(t *testing.T) {
			f, seen := &float{White: 0.05, Noise: noiseGuess}, false
			newSwimmer(5, 0.04, 0.02).swims(f, 0, 60, func(hour int) float64 {
				switch {
				case hour < 30:
					return 2.9
				case hour == 30:
					return 2.9 + 0.3
				}
				return 2.9 + test.stays
			}, func(int) { seen = seen || !f.Stepped.IsZero() })
			assert.True(t, seen, "it looked like one")
			assert.Equal(t, test.jumped, !f.Stepped.IsZero())
		})
	}
}
