package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/ingest/journal"
)

// guarded is a cellar of two tanks with a relief setting and a phone.
func guarded() alert.Options {
	o := phone()
	o.Tanks = map[string]detect.Settings{"FV1": {ReliefKPa: 100}, "FV2": {ReliefKPa: 100}}
	return o
}

func pressed(tank string, at time.Time, kPa float64) journal.Entry {
	return journal.Entry{Arrived: at, Reading: &detect.Reading{
		Tank: tank, Probe: "head", Quantity: detect.Pressure, Time: at, Value: kPa, Raw: kPa, Arrived: at,
	}}
}

// judging is a judge over a journal, at a moment that the test sets.
func judging(kept *journal.Journal, at *time.Time) *judge {
	return &judge{
		journal: kept, horizon: func() time.Time { return *at }, log: slog.New(slog.DiscardHandler), wake: func() {},
		told: func([]alert.Transition) {}, relieve: func(error) {},
		watch: alert.NewWatch(guarded()), answers: map[int64]error{}, progress: make(chan struct{}),
	}
}

func write(t *testing.T, kept *journal.Journal, entries ...journal.Entry) {
	t.Helper()
	_, err := kept.Commit(t.Context(), entries)
	require.NoError(t, err)
}

// While the judge is still at work on the past, pressure comes near the relief setting: the phone hears of it at once,
// and once. An alarm that stood before is not told anew.
func TestVesselsAreWatchedWhileThePastIsJudgedAgain(t *testing.T) {
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	at := time.Date(2026, 3, 2, 2, 0, 0, 0, time.UTC)
	for i := range 60 {
		write(t, kept, pressed("FV1", at.Add(time.Duration(i)*time.Minute), 60), pressed("FV2", at.Add(time.Duration(i)*time.Minute), 60))
	}
	at = at.Add(time.Hour)
	for range 3 {
		at = at.Add(time.Minute)
		write(t, kept, pressed("FV2", at, 99))
	}
	before := judging(kept, &at)
	require.NoError(t, before.restore(t.Context()))
	require.NoError(t, before.round(t.Context()))
	require.NoError(t, before.last(t.Context()))
	told := func() []journal.Queue {
		queues, err := kept.Queues(t.Context(), "phone")
		require.NoError(t, err)
		return queues
	}
	require.Len(t, told(), 1, "FV2 is known")

	j := judging(kept, &at)
	j.through, j.until, err = kept.Judged(t.Context())
	require.NoError(t, err)
	j.behind = true // as without a snapshot
	v, err := newVigil(t.Context(), guarded(), j, 0)
	require.NoError(t, err)
	at = at.Add(time.Minute)
	write(t, kept, journal.Entry{Arrived: at, Mark: &journal.Mark{Name: markStarted, Detail: j.until.Format(time.RFC3339Nano)}})
	for range 3 {
		at = at.Add(time.Minute)
		write(t, kept, pressed("FV1", at, 97), pressed("FV2", at, 99))
	}
	at = at.Add(5 * time.Minute)
	require.NoError(t, v.look(t.Context()))
	posted := told()
	require.Len(t, posted, 2, "FV1 is told, FV2 not again")

	require.NoError(t, j.onward(t.Context()))
	require.NoError(t, j.last(t.Context()))
	assert.False(t, j.isBehind())
	assert.Equal(t, posted, told(), "the judge makes the same messages")
	faults, err := kept.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Empty(t, faults, "and each has its alarm")
}

// filled is a journal on disk of some tanks that speak each minute, judged and with a snapshot, as it is after a stop.
func filled(t testing.TB, tanks, days int) (dir string, readings int) {
	t.Helper()
	dir = t.TempDir()
	kept, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	require.NoError(t, err)
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	j := judging(kept, &at)
	j.watch = alert.NewWatch(alert.Options{})
	for minute := range days * 24 * 60 {
		at = at.Add(time.Minute)
		batch := make([]journal.Entry, 0, 3*tanks)
		for tank := range tanks {
			for q, value := range map[detect.Quantity]float64{
				detect.Gravity: 1.0118 + float64((minute+tank)%3)*1e-4, detect.Temperature: 14.3 + float64((minute+tank)%5)/50,
				detect.Pressure: 82 + float64((minute+tank)%7)/10,
			} {
				batch = append(batch, journal.Entry{Arrived: at, Reading: &detect.Reading{
					Tank: fmt.Sprintf("FV%d", tank), Probe: "all", Quantity: q, Time: at, Value: value, Raw: value, Arrived: at,
				}})
			}
		}
		readings += len(batch)
		_, err := kept.Commit(t.Context(), batch)
		require.NoError(t, err)
		for _, e := range batch { // what the judge would do, without the way over the disk
			j.take(e)
		}
	}
	j.owed.Through, j.owed.At = j.seq, at
	require.NoError(t, j.settle(t.Context(), true))
	require.NoError(t, kept.Close())
	return dir, readings
}

// A restart on a month of a hundred tanks (with SPILE_LONG=1; else on a day of ten) watches again within seconds.
func TestARestartOnALongJournalIsQuick(t *testing.T) {
	tanks, days := 10, 2
	if os.Getenv("SPILE_LONG") == "1" {
		tanks, days = 100, 30
	}
	dir, readings := filled(t, tanks, days)
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(days)*24*time.Hour + time.Minute)
	began := time.Now()
	d := New(Options{Data: dir, Clock: func() time.Time { return begin }})
	require.NoError(t, d.Start(t.Context()))
	took := time.Since(began)
	defer func() { assert.NoError(t, d.Stop(context.Background())) }()
	assert.Empty(t, d.notReady())
	assert.Len(t, d.View().Tanks, tanks)
	t.Logf("%d readings: watching again after %s", readings, took.Round(time.Millisecond))
	assert.Less(t, took, 5*time.Second)
}

// What is judged again may take minutes, and the service manager ends a spile whose judge has not gone round for one: the
// next would begin the past anew, and be ended too.
func TestAJudgeOfThePastGoesRound(t *testing.T) {
	kept, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, kept.Close()) }()
	at := time.Date(2026, 3, 2, 2, 0, 0, 0, time.UTC)
	entries := make([]journal.Entry, 0, 3*judgeBatch)
	for i := range 3 * judgeBatch {
		at = at.Add(time.Second)
		entries = append(entries, pressed("FV1", at, 60+float64(i%7)/10))
	}
	write(t, kept, entries...)
	j := judging(kept, &at)
	j.through, j.until, j.behind = int64(len(entries)), at, true
	require.NoError(t, j.rebuild(t.Context()))
	assert.False(t, j.isBehind())
	assert.GreaterOrEqual(t, j.turns.Load(), uint64(3))
}
