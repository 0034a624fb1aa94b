package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// A page that was looked at a minute ago reads what came since, and shows what one that reads everything shows.
func TestAKeptCurveGrows(t *testing.T) {
	_, kept := serve(t, nil)
	at := now
	kept.readings = nil
	speak := func(from, to time.Time) {
		for ; from.Before(to); from = from.Add(time.Minute) {
			kept.readings = append(kept.readings, detect.Reading{Tank: "FV3", Probe: "h", Quantity: detect.Gravity, Time: from, Value: 1 + float64(from.Minute())/1e4})
		}
	}
	cache := &traceCache{records: kept, clock: func() time.Time { return at }}
	get := func() []detect.Trace {
		traces, err := cache.get(t.Context(), "FV3", window{From: at.Add(-weekLength), To: at, Step: time.Minute})
		require.NoError(t, err)
		return traces
	}
	speak(now.Add(-5*time.Hour), now)
	first := get()
	require.Len(t, first, 1)
	count := len(first[0].Steps)

	at = now.Add(4*time.Minute + 10*time.Second)
	speak(now, at)
	kept.readings = append(kept.readings, detect.Reading{Tank: "FV3", Probe: "new", Quantity: detect.Pressure, Time: at, Value: 80})
	grown := get()
	assert.Equal(t, now.Add(-traceLate), kept.traced[1].From, "only the end is read again")
	assert.Len(t, first[0].Steps, count, "what another request holds stays as it was")
	fresh := &traceCache{records: kept, clock: cache.clock}
	whole, err := fresh.get(t.Context(), "FV3", window{From: at.Add(-weekLength), To: at, Step: time.Minute})
	require.NoError(t, err)
	assert.Equal(t, whole, grown)

	at = at.Add(traceLife)
	get()
	assert.True(t, kept.traced[len(kept.traced)-1].From.Before(now.Add(-5*24*time.Hour)), "after a while all of it, with what came late")
}

func TestOnlySoManyCurvesAreKept(t *testing.T) {
	_, kept := serve(t, nil)
	cache := &traceCache{records: kept, clock: func() time.Time { return now }}
	for i := range 3 * tracesKept {
		_, err := cache.get(t.Context(), fmt.Sprint("FV", i), window{From: now.Add(-time.Hour), To: now, Step: time.Minute})
		require.NoError(t, err)
	}
	assert.Len(t, cache.kept, tracesKept)
	kept.fail = errDisk
	_, err := cache.get(t.Context(), "FV3", window{From: now.Add(-time.Hour), To: now, Step: time.Minute})
	assert.ErrorIs(t, err, errDisk)
}
