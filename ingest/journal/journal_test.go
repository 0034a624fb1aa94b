package journal

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(writerDir); dir != "" {
		os.Exit(writeUntilKilled(dir))
	}
	os.Exit(m.Run())
}

// open opens a journal that is closed at the end of the test, after Check has
// found nothing wrong with it.
func open(t *testing.T, o Options) *Journal {
	t.Helper()
	j := openUnchecked(t, o)
	t.Cleanup(func() {
		faults, err := j.Check(context.WithoutCancel(t.Context()), 0)
		assert.NoError(t, err)
		assert.Empty(t, faults)
	})
	return j
}

func openUnchecked(t *testing.T, o Options) *Journal {
	t.Helper()
	j, err := Open(t.Context(), o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	return j
}

// everywhere runs a test on a journal in a file and on one in memory.
func everywhere(t *testing.T, test func(t *testing.T, j *Journal)) {
	t.Helper()
	t.Run("in a file", func(t *testing.T) { test(t, open(t, Options{Dir: t.TempDir()})) })
	t.Run("in memory", func(t *testing.T) { test(t, open(t, Options{Memory: true})) })
}

// noon is when the tests' cellar day begins.
func noon() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }

// heard is when all the tests' entries arrive.
func heard() time.Time { return noon().Add(time.Hour) }

func gravity(tank, probe string, at time.Time, value float64) Entry {
	return Entry{Arrived: heard(), Reading: &detect.Reading{
		Tank: tank, Probe: probe, Quantity: detect.Gravity, Time: at, Value: value, Raw: value, Arrived: heard(),
	}}
}

func hopped(mass float64, at time.Time) Entry {
	return Entry{Arrived: heard(), Event: &detect.Event{
		Tank: "FV1", Name: "dry-hop", Time: at, Arrived: heard(), By: "mo", Amounts: map[string]float64{"mass": mass},
	}}
}

func mark(name string) Entry { return Entry{Arrived: heard(), Mark: &Mark{Name: name}} }

func commit(t *testing.T, j *Journal, entries ...Entry) []Outcome {
	t.Helper()
	outcomes, err := j.Commit(t.Context(), entries)
	require.NoError(t, err)
	return outcomes
}

func TestWhatWasCommittedIsThereAfterReopening(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a cellar's data? #1 %20")
	entries := []Entry{gravity("FV1", "hyd", noon(), 1.05), hopped(9, noon()), mark("started")}
	first := openUnchecked(t, Options{Dir: dir})
	commit(t, first, entries...)
	require.NoError(t, first.Close())

	second := open(t, Options{Dir: dir})
	got, err := second.After(t.Context(), 0, 10)
	require.NoError(t, err)
	assert.Equal(t, entries, got)
	assert.Equal(t, []Outcome{Repeat, Late}, commit(t, second, entries[0], gravity("FV1", "hyd", noon().Add(-time.Second), 1.05)))
	last, err := second.Last(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, 4, last)
}

func TestASecondWriterIsKeptOut(t *testing.T) {
	dir := t.TempDir()
	first := openUnchecked(t, Options{Dir: dir})
	_, err := Open(t.Context(), Options{Dir: dir})
	require.ErrorIs(t, err, ErrLocked)
	require.NoError(t, first.Close())
	open(t, Options{Dir: dir})
}

func TestAReaderStandsBesideTheWriter(t *testing.T) {
	dir := t.TempDir()
	writer := open(t, Options{Dir: dir})
	reader := open(t, Options{Dir: dir, ReadOnly: true})
	commit(t, writer, gravity("FV1", "hyd", noon(), 1.05))
	got, err := reader.After(t.Context(), 0, 10)
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.Equal(t, "FV1", got[0].Reading.Tank)

	_, err = reader.Commit(t.Context(), []Entry{mark("started")})
	require.ErrorIs(t, err, ErrReadOnly)
	require.ErrorIs(t, reader.SetPosition(t.Context(), "influx", 1), ErrReadOnly)
}

func TestAReaderNeedsAJournal(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(t.Context(), Options{Dir: dir, ReadOnly: true})
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = os.Stat(filepath.Join(dir, fileName))
	require.ErrorIs(t, err, os.ErrNotExist, "looking makes nothing")
	_, err = Open(t.Context(), Options{Memory: true, ReadOnly: true})
	require.Error(t, err)
}

func TestReadersDoNotHoldUpTheWriter(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		commit(t, j, gravity("FV1", "hyd", noon(), 1.05), gravity("FV1", "hyd", noon().Add(time.Second), 1.04))
		seen := 0
		err := j.Readings(t.Context(), Filter{}, func(r detect.Reading) error {
			seen++
			_, err := j.Commit(t.Context(), []Entry{gravity("FV2", "hyd", r.Time, 1.05)})
			return err
		})
		require.NoError(t, err)
		assert.Equal(t, 2, seen, "a series that began meanwhile is not waited for")
	})
}
