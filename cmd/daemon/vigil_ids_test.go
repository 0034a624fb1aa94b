package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/alert"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/journal"
)

// taken is a journal of a past that is judged, and a vigil over it beside a judge that begins anew.
func taken(t require.TestingT, kept *journal.Journal, o alert.Options, at *time.Time) (*vigil, *judge) {
	before := judging(kept, at)
	before.watch = alert.NewWatch(o)
	ctx := context.Background()
	require.NoError(t, before.restore(ctx))
	require.NoError(t, before.round(ctx))
	require.NoError(t, before.last(ctx))
	j := judging(kept, at)
	j.watch = alert.NewWatch(o)
	var err error
	j.through, j.until, err = kept.Judged(ctx)
	require.NoError(t, err)
	j.behind = true // as without a snapshot
	v, err := newVigil(ctx, o, j, 0)
	require.NoError(t, err)
	return v, j
}

// course is a head pressure that goes its way by turns of some hours, in a tank that stays closed.
func course(t *rapid.T, minutes int) []float64 {
	out := make([]float64, 0, minutes)
	level, slope, left := rapid.Float64Range(10, 95).Draw(t, "level"), 0.0, 0
	for len(out) < minutes {
		if left == 0 {
			left = rapid.IntRange(20, 300).Draw(t, "minutes")
			slope = rapid.Float64Range(-15, 25).Draw(t, "kPa/h") / 60
		}
		left--
		level = min(max(level+slope, 10), 108)
		out = append(out, math.Round(level*10)/10)
	}
	return out
}

// Whatever the pressure did before and does now, and though the vigil saw no more of it than three hours: what the vigil
// calls, the judge has under the same ids, and it is not told again.
func TestTheVigilCallsUnderTheJudgesIDs(t *testing.T) {
	calls := 0
	rapid.Check(t, func(rt *rapid.T) {
		kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
		require.NoError(rt, err)
		defer func() { require.NoError(rt, kept.Close()) }()
		past, now := rapid.IntRange(30, 24*60).Draw(rt, "past"), 180
		at := time.Date(2026, 3, 2, 2, 0, 17, 0, time.UTC)
		one, two := course(rt, past+now), course(rt, past+now)
		hour := func(from, to int) {
			var batch []journal.Entry
			for i := from; i < to; i++ {
				at = at.Add(time.Minute)
				batch = append(batch, pressed("FV1", at, one[i]), pressed("FV2", at, two[i]))
			}
			_, err := kept.Commit(t.Context(), batch)
			require.NoError(rt, err)
		}
		hour(0, past)
		v, j := taken(rt, kept, guarded(), &at)
		started := rapid.SampledFrom([]string{markStarted, ingest.MarkLeapt}).Draw(rt, "mark")
		before := at.Add(90 * time.Second)
		at = at.Add(time.Duration(rapid.IntRange(2, 300).Draw(rt, "away")) * time.Minute)
		_, err = kept.Commit(t.Context(), []journal.Entry{{Arrived: at, Mark: &journal.Mark{Name: started, Detail: before.Format(time.RFC3339Nano)}}})
		require.NoError(rt, err)
		told := func() (n int) {
			queues, err := kept.Queues(t.Context(), "phone")
			require.NoError(rt, err)
			for _, q := range queues {
				var m struct{ Alarm detect.Alarm }
				require.NoError(rt, json.Unmarshal(q.Body, &m))
				if d, _ := alert.Define(m.Alarm); d.Scope == alert.Vessel {
					n++
				}
			}
			return n
		}
		old := told()
		for from := past; from < past+now; from += 20 {
			hour(from, from+20)
			require.NoError(rt, v.look(t.Context()))
		}
		posted := told()
		calls += posted - old
		require.NoError(rt, j.onward(t.Context()))
		require.NoError(rt, j.last(t.Context()))
		require.Equal(rt, posted, told(), "the judge calls of no other vessel")
		faults, err := kept.Check(t.Context(), 0)
		require.NoError(rt, err)
		require.Empty(rt, faults, "and knows of what was called")
	})
	assert.Positive(t, calls, "the stories must lead to calls")
}

// Where many vessels call at once the vigil tells of each of them too, in a message that names them.
func TestTheVigilTellsOfAFlood(t *testing.T) {
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	o, at := guarded(), time.Date(2026, 3, 2, 2, 0, 0, 0, time.UTC)
	const tanks = 14
	all := func(kPa float64) {
		at = at.Add(time.Minute)
		for i := range tanks {
			name := fmt.Sprintf("FV%d", i)
			o.Tanks[name] = detect.Settings{ReliefKPa: 100}
			write(t, kept, pressed(name, at, kPa))
		}
	}
	for range 10 {
		all(60)
	}
	v, _ := taken(t, kept, o, &at)
	for range 3 {
		all(97)
	}
	at = at.Add(5 * time.Minute)
	require.NoError(t, v.look(t.Context()))
	queues, err := kept.Queues(t.Context(), "phone")
	require.NoError(t, err)
	said := ""
	for _, q := range queues {
		said += string(q.Body)
	}
	for i := range tanks {
		assert.Contains(t, said, fmt.Sprintf(`"tank":"FV%d"`, i))
	}
}
