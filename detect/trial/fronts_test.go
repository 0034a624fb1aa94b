package trial

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Lows pass over three runs of ten, whatever the class, and lie in their range.
func TestFrontsAreDrawnInRange(t *testing.T) {
	t.Parallel()
	var stormy, all int
	for _, c := range Classes() {
		for i := range 60 {
			s := Options{Seed: 12}.scene(c, i)
			fronts := s.plan.Weather.Fronts
			if all++; len(fronts) == 0 {
				continue
			}
			stormy++
			inRange(t, fronts[0].Begins.Hours(), -160, 0)
			for i, f := range fronts {
				inRange(t, f.Lasts.Hours(), 7.9, 20)
				inRange(t, f.KPa, -2.2, -0.8)
				inRange(t, f.Returns.Hours(), 19.9, 60)
				if i > 0 {
					inRange(t, (f.Begins - fronts[i-1].Begins).Hours(), 39.9, 160)
				}
			}
			assert.Less(t, fronts[len(fronts)-1].Begins, s.end)
			assert.Greater(t, fronts[len(fronts)-1].Begins, s.end-160*time.Hour, "they go on to the end of the run")
		}
	}
	assert.InDelta(t, 0.3, float64(stormy)/float64(all), 0.04)
}

// What is drawn of a run beside its fronts, and is yet to be drawn as it is played, is as it would be without them.
func TestFrontsChangeNothingElseThatIsDrawn(t *testing.T) {
	t.Parallel()
	for _, c := range Classes() {
		for i := range 10 {
			plain, passed := newScene(12, c, i), Options{Seed: 12}.scene(c, i)
			passed.plan.Weather.Fronts = nil
			require.Equal(t, plain.plan, passed.plan)
			require.Equal(t, plain.told, passed.told)
			require.Equal(t, plain.Uint64(), passed.Uint64())
		}
	}
}

func TestATaleTellsItsFronts(t *testing.T) {
	t.Parallel()
	class, _ := find("quiet-float")
	o := Options{Seed: 12, Class: class.Name}
	told := map[bool]bool{}
	for i := 0; !told[true] || !told[false]; i++ {
		require.Less(t, i, 60)
		var out bytes.Buffer
		fronts := o.scene(class, i).plan.Weather.Fronts
		if told[len(fronts) > 0] {
			continue
		}
		told[len(fronts) > 0] = true
		require.NoError(t, WriteTale(context.Background(), o, i, &out))
		assert.Equal(t, len(fronts), strings.Count(out.String(), "a front begins"))
		for _, f := range fronts {
			assert.Contains(t, out.String(), fmt.Sprintf("%6.1f h  a front begins: the barometer goes by %+.1f kPa in", f.Begins.Hours(), f.KPa))
		}
	}
}
