package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Whatever is committed, what is held in memory is what the file has.
func TestWhatIsHeldIsWhatTheFileHas(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		j, err := Open(t.Context(), Options{Memory: true})
		require.NoError(rt, err)
		defer func() { require.NoError(rt, j.Close()) }()
		at := noon()
		for range rapid.IntRange(1, 8).Draw(rt, "batches") {
			var batch []Entry
			for range rapid.IntRange(1, 6).Draw(rt, "entries") {
				at = at.Add(time.Duration(rapid.IntRange(0, 3).Draw(rt, "ms")) * 700 * time.Microsecond)
				switch rapid.IntRange(0, 9).Draw(rt, "kind") {
				case 0:
					batch = append(batch, hopped(9, at))
				case 1:
					batch = append(batch, mark("started"))
				default:
					e := gravity("FV1", "hyd", noon().Add(time.Duration(rapid.IntRange(0, 9).Draw(rt, "time"))*time.Second), 1.05)
					e.Reading.Raw = rapid.SampledFrom([]float64{1.05, 1.051}).Draw(rt, "raw")
					batch = append(batch, e)
				}
				batch[len(batch)-1].Arrived = at
			}
			_, err := j.Commit(t.Context(), batch)
			require.NoError(rt, err)
			last, err := j.Last(t.Context())
			require.NoError(rt, err)
			for seq := range last + 2 {
				limit := rapid.IntRange(1, 5).Draw(rt, "limit")
				held, err := j.After(t.Context(), seq, limit)
				require.NoError(rt, err)
				kept := j.recent.entries
				j.recent.entries = nil
				read, err := j.After(t.Context(), seq, limit)
				require.NoError(rt, err)
				j.recent.entries = kept
				require.Len(rt, held, len(read))
				for i := range read {
					require.Equal(rt, read[i], held[i])
				}
			}
		}
	})
}

func TestWhatIsHeldHasABound(t *testing.T) {
	j := open(t, Options{Memory: true})
	batch := make([]Entry, 5000)
	for n := range 12 {
		fill(batch, n*len(batch))
		commit(t, j, batch...)
	}
	assert.LessOrEqual(t, len(j.recent.entries), recentMost+recentSlack)
	got, err := j.After(t.Context(), 10, 5)
	require.NoError(t, err)
	assert.EqualValues(t, 11, got[0].Seq, "older ones come from the file")
}
