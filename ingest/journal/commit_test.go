package journal

import (
	"context"
	"log/slog"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestCommitTellsWhatBecameOfEachEntry(t *testing.T) {
	at := func(s int) time.Time { return noon().Add(time.Duration(s) * time.Second) }
	named := func(e Entry, id string) Entry { e.Event.ID = id; return e }
	corrected := gravity("FV1", "hyd", at(5), 1.05)
	corrected.Reading.Value = 1.0512
	for name, c := range map[string]struct {
		entries []Entry
		want    []Outcome
	}{
		"new readings":          {[]Entry{gravity("FV1", "hyd", at(0), 1.05), gravity("FV1", "hyd", at(1), 1.05)}, []Outcome{Accepted, Accepted}},
		"the same again":        {[]Entry{gravity("FV1", "hyd", at(5), 1.05), gravity("FV1", "hyd", at(5), 1.05)}, []Outcome{Accepted, Repeat}},
		"another value":         {[]Entry{gravity("FV1", "hyd", at(5), 1.05), gravity("FV1", "hyd", at(5), 1.04)}, []Outcome{Accepted, Conflict}},
		"sent the same":         {[]Entry{gravity("FV1", "hyd", at(5), 1.05), corrected}, []Outcome{Accepted, Repeat}},
		"late":                  {[]Entry{gravity("FV1", "hyd", at(5), 1.05), gravity("FV1", "hyd", at(4), 1.05)}, []Outcome{Accepted, Late}},
		"late, and again":       {[]Entry{gravity("FV1", "hyd", at(5), 1), gravity("FV1", "hyd", at(4), 1), gravity("FV1", "hyd", at(4), 1)}, []Outcome{Accepted, Late, Repeat}},
		"another probe's time":  {[]Entry{gravity("FV1", "hyd", at(5), 1.05), gravity("FV1", "top", at(4), 1.05)}, []Outcome{Accepted, Accepted}},
		"another tank's time":   {[]Entry{gravity("FV1", "hyd", at(5), 1.05), gravity("FV2", "hyd", at(5), 1.05)}, []Outcome{Accepted, Accepted}},
		"the same event":        {[]Entry{hopped(9, at(0)), hopped(9, at(0))}, []Outcome{Accepted, Repeat}},
		"another event":         {[]Entry{hopped(9, at(0)), hopped(8, at(0)), hopped(9, at(1))}, []Outcome{Accepted, Accepted, Accepted}},
		"the same id":           {[]Entry{named(hopped(9, at(0)), "a"), named(hopped(9, at(0)), "a")}, []Outcome{Accepted, Repeat}},
		"an id with other word": {[]Entry{named(hopped(9, at(0)), "a"), named(hopped(8, at(0)), "a")}, []Outcome{Accepted, Conflict}},
		"another id":            {[]Entry{named(hopped(9, at(0)), "a"), named(hopped(9, at(0)), "b")}, []Outcome{Accepted, Accepted}},
		"marks are never again": {[]Entry{mark("started"), mark("started")}, []Outcome{Accepted, Accepted}},
		"nothing":               {nil, []Outcome{}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Run("in one batch", func(t *testing.T) {
				assert.Equal(t, c.want, commit(t, open(t, Options{Memory: true}), c.entries...))
			})
			t.Run("one by one", func(t *testing.T) {
				j, got := open(t, Options{Memory: true}), []Outcome{}
				for _, e := range c.entries {
					got = append(got, commit(t, j, e)...)
				}
				assert.Equal(t, c.want, got)
			})
		})
	}
}

func TestCommitFillsWhatItStored(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		entries := []Entry{
			gravity("FV1", "hyd", noon(), 1.05), gravity("FV1", "hyd", noon(), 1.05), mark("started"),
			gravity("FV1", "hyd", noon().Add(-time.Second), 1.05), {Arrived: heard(), Act: &Act{Verb: "shelve", Incident: "i1", By: "mo", Why: "cleaning", Until: noon()}},
		}
		commit(t, j, entries...)
		seqs := []int64{}
		for _, e := range entries {
			seqs = append(seqs, e.Seq)
		}
		assert.Equal(t, []int64{1, 0, 2, 3, 4}, seqs)
		assert.False(t, entries[0].Reading.Late)
		assert.True(t, entries[3].Reading.Late)

		got, err := j.After(t.Context(), 0, 10)
		require.NoError(t, err)
		assert.Equal(t, []Entry{entries[0], entries[2], entries[3], entries[4]}, got)
		got, err = j.After(t.Context(), 1, 2)
		require.NoError(t, err)
		assert.Equal(t, []Entry{entries[2], entries[3]}, got)
		got, err = j.After(t.Context(), 4, 10)
		require.NoError(t, err)
		assert.Empty(t, got)
		got, err = j.After(t.Context(), 0, 0)
		require.NoError(t, err)
		assert.Empty(t, got)
	})
}

func TestArrivalMayStandOnTheReading(t *testing.T) {
	j := open(t, Options{Memory: true})
	reading, event := gravity("FV1", "hyd", noon(), 1.05), hopped(9, noon())
	reading.Arrived, event.Arrived = time.Time{}, time.Time{}
	assert.Equal(t, []Outcome{Accepted, Accepted}, commit(t, j, reading, event))
	got, err := j.After(t.Context(), 0, 10)
	require.NoError(t, err)
	assert.Equal(t, heard(), got[0].Arrived)
	assert.Equal(t, heard(), got[1].Event.Arrived)
}

func TestWhatCannotBeKeptIsRefusedAlone(t *testing.T) {
	reading := func(change func(*detect.Reading)) Entry {
		e := gravity("FV1", "hyd", noon(), 1.05)
		change(e.Reading)
		return e
	}
	event := func(change func(*detect.Event)) Entry {
		e := hopped(9, noon())
		change(e.Event)
		return e
	}
	both := mark("started")
	both.Act = &Act{}
	for name, bad := range map[string]Entry{
		"of no kind":       {Arrived: heard()},
		"of two kinds":     both,
		"never arrived":    {Mark: &Mark{Name: "started"}},
		"no number":        reading(func(r *detect.Reading) { r.Value = math.NaN() }),
		"endless as sent":  reading(func(r *detect.Reading) { r.Raw = math.Inf(1) }),
		"of no liquid":     reading(func(r *detect.Reading) { r.Value, r.Raw = 5, 5 }),
		"unknown quantity": reading(func(r *detect.Reading) { r.Quantity = "colour" }),
		"no tank":          reading(func(r *detect.Reading) { r.Tank = "" }),
		"no probe":         reading(func(r *detect.Reading) { r.Probe = "" }),
		"no time":          reading(func(r *detect.Reading) { r.Time = time.Time{} }),
		"before 1970":      reading(func(r *detect.Reading) { r.Time = time.UnixMilli(-1) }),
		"ms for seconds":   reading(func(r *detect.Reading) { r.Time = time.Unix(noon().UnixMilli(), 0) }),
		"event no number":  event(func(e *detect.Event) { e.Amounts["mass"] = math.NaN() }),
		"event no name":    event(func(e *detect.Event) { e.Name = "" }),
		"event no time":    event(func(e *detect.Event) { e.Time = time.Time{} }),
	} {
		t.Run(name, func(t *testing.T) {
			j := open(t, Options{Memory: true})
			got := commit(t, j, mark("started"), bad, gravity("FV1", "hyd", noon(), 1.05))
			assert.Equal(t, []Outcome{Accepted, Refused, Accepted}, got)
			last, err := j.Last(t.Context())
			require.NoError(t, err)
			assert.EqualValues(t, 2, last)
		})
	}
}

// A commit that fails leaves neither rows nor memory of them.
func TestAFailedCommitIsAsIfNeverTried(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
		_, err := j.writer.ExecContext(t.Context(), `CREATE TEMP TRIGGER stumble BEFORE INSERT ON readings
			WHEN new.value = 1.011 BEGIN SELECT RAISE(ABORT, 'stumbled'); END`)
		require.NoError(t, err)
		batch := []Entry{
			gravity("FV1", "hyd", noon().Add(time.Second), 1.04), gravity("FV9", "new", noon(), 1.05),
			gravity("FV9", "new", noon().Add(time.Second), 1.011), hopped(9, noon()),
		}
		_, err = j.Commit(t.Context(), batch)
		require.ErrorContains(t, err, "stumbled")
		assert.Zero(t, batch[0].Seq)
		ended, end := context.WithCancel(t.Context())
		end()
		_, err = j.Commit(ended, batch[:1])
		require.ErrorIs(t, err, context.Canceled)

		_, err = j.writer.ExecContext(t.Context(), "DROP TRIGGER stumble")
		require.NoError(t, err)
		assert.Equal(t, []Outcome{Accepted}, commit(t, j, gravity("FV8", "other", noon(), 1.03)), "its series takes the number of the one undone")
		assert.Equal(t, []Outcome{Accepted, Accepted, Accepted, Accepted}, commit(t, j, batch...))
		got, err := j.After(t.Context(), 0, 10)
		require.NoError(t, err)
		require.Len(t, got, 6)
		assert.Equal(t, "FV8", got[1].Reading.Tank)
		assert.Equal(t, batch, got[2:])
	})
}

// callOff is a log that ends a context at the first line.
type callOff struct {
	slog.Handler
	end context.CancelFunc
}

func (c callOff) Enabled(context.Context, slog.Level) bool { return true }

func (c callOff) Handle(context.Context, slog.Record) error { c.end(); return nil }

func TestACommitCalledOffInItsMidstLeavesNothing(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
		batch := make([]Entry, 1000)
		fill(batch, 0)
		for i := range batch {
			batch[i].Arrived = heard()
		}
		spoilt := slices.Clone(batch)
		spoilt[500] = Entry{} // the journal refuses it, and says so in its log
		ctx, end := context.WithCancel(t.Context())
		j.log = slog.New(callOff{slog.DiscardHandler, end})
		_, err := j.Commit(ctx, spoilt)
		require.ErrorIs(t, err, context.Canceled)

		last, err := j.Last(t.Context())
		require.NoError(t, err)
		assert.EqualValues(t, 1, last)
		for _, o := range commit(t, j, batch...) {
			require.Equal(t, Accepted, o)
		}
	})
}

func TestAFullDiskIsToldAndOutlived(t *testing.T) {
	j := open(t, Options{Dir: t.TempDir()})
	_, err := j.writer.ExecContext(t.Context(), "PRAGMA max_page_count = 1") // SQLite takes the pages there are
	require.NoError(t, err)
	batch := make([]Entry, 5000)
	fill(batch, 0)
	_, err = j.Commit(t.Context(), batch)
	require.ErrorIs(t, err, ErrFull)
	require.NotErrorIs(t, err, ErrDamaged)

	_, err = j.writer.ExecContext(t.Context(), "PRAGMA max_page_count = 1000000")
	require.NoError(t, err)
	fill(batch, 0)
	for _, o := range commit(t, j, batch...) {
		require.Equal(t, Accepted, o)
	}
}
