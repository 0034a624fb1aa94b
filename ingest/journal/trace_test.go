package journal

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestTracesKeepTheExtremesOfEachStep(t *testing.T) {
	j := open(t, Options{Memory: true})
	at := noon().Truncate(time.Hour)
	say := func(probe string, after time.Duration, value float64) Entry {
		return Entry{Arrived: at.Add(after), Reading: &detect.Reading{
			Tank: "FV3", Probe: probe, Quantity: detect.Pressure, Time: at.Add(after), Value: value, Raw: value,
		}}
	}
	_, err := j.Commit(t.Context(), []Entry{
		say("spare", -time.Second, 1),
		say("head-3", 0, 80), say("head-3", time.Minute, 86), say("head-3", 2*time.Minute, 80), // one step
		say("spare", time.Hour-time.Millisecond, 2),
		say("head-3", 3*time.Hour, 81), // two hours of nothing are no steps
	})
	require.NoError(t, err)

	traces, err := j.Traces(t.Context(), Filter{Tank: "FV3", From: at, To: at.Add(4 * time.Hour)}, time.Hour)
	require.NoError(t, err)
	require.Len(t, traces, 2)
	assert.Equal(t, "head-3", traces[0].Probe)
	assert.Equal(t, []detect.TraceStep{
		{Time: at, Low: 80, High: 86, Mean: 82, Count: 3},
		{Time: at.Add(3 * time.Hour), Low: 81, High: 81, Mean: 81, Count: 1},
	}, traces[0].Steps)
	assert.Equal(t, []detect.TraceStep{{Time: at, Low: 2, High: 2, Mean: 2, Count: 1}}, traces[1].Steps, "from is included, what is before it is not")

	traces, err = j.Traces(t.Context(), Filter{Tank: "FV9"}, time.Hour)
	require.NoError(t, err)
	assert.Empty(t, traces)
}

// BenchmarkTraces traces a batch of 30 days that a minute's probes wrote among
// those of a hundred tanks.
func BenchmarkTraces(b *testing.B) {
	j, err := Open(b.Context(), Options{Dir: b.TempDir()})
	require.NoError(b, err)
	start := noon()
	const minutes = 30 * 24 * 60
	var batch []Entry
	for m := range minutes {
		at := start.Add(time.Duration(m) * time.Minute)
		for p, q := range detect.Quantities() {
			for t := range 10 {
				v := 1 + float64(m%977)/1e4
				batch = append(batch, Entry{Arrived: at, Reading: &detect.Reading{Tank: fmt.Sprintf("FV%d", t), Probe: fmt.Sprint("p", p), Quantity: q, Time: at, Value: v, Raw: v}})
			}
		}
		if len(batch) > 6000 || m == minutes-1 {
			_, err := j.Commit(b.Context(), batch)
			require.NoError(b, err)
			batch = batch[:0]
		}
	}
	b.ResetTimer()
	for b.Loop() {
		traces, err := j.Traces(b.Context(), Filter{Tank: "FV3"}, time.Hour)
		require.NoError(b, err)
		assert.Len(b, traces, 3)
	}
	require.NoError(b, j.Close())
}

// What retention has thinned is drawn with what it left.
func TestTracesShowWhatIsLeftOfThinnedReadings(t *testing.T) {
	j := open(t, Options{Memory: true})
	at := noon().Truncate(time.Hour)
	var batch []Entry
	for m := range 6 * 60 {
		when, value := at.Add(time.Duration(m)*time.Minute), 80+float64(m%60)/10
		batch = append(batch, Entry{Arrived: when, Reading: &detect.Reading{
			Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: when, Value: value, Raw: value,
		}})
	}
	_, err := j.Commit(t.Context(), batch)
	require.NoError(t, err)
	whole, err := j.Traces(t.Context(), Filter{}, 2*time.Hour)
	require.NoError(t, err)
	through(t, j, 360, 360)
	done, err := j.Thin(t.Context(), Thinning{Before: at.Add(3 * time.Hour), Limit: 1000})
	require.NoError(t, err)
	require.Equal(t, 180, done.Gone)
	left, err := j.Traces(t.Context(), Filter{}, 2*time.Hour)
	require.NoError(t, err)
	require.Len(t, left, 1)
	require.Len(t, left[0].Steps, len(whole[0].Steps))
	for i, s := range left[0].Steps {
		assert.InDelta(t, whole[0].Steps[i].Mean, s.Mean, 1e-9)
		s.Mean = whole[0].Steps[i].Mean
		assert.Equal(t, whole[0].Steps[i], s)
	}
}
