package journal

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// noon is when the tests' cellar day begins.
func noon() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }

func gravity(tank, probe string, at time.Time, value float64) Entry {
	return Entry{Arrived: noon().Add(time.Hour), Reading: &detect.Reading{
		Tank: tank, Probe: probe, Quantity: detect.Gravity, Time: at, Value: value, Raw: value,
	}}
}

func open(t *testing.T, o Options) *Journal {
	t.Helper()
	j, err := Open(t.Context(), o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	return j
}

func TestASecondWriterIsKeptOut(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a place with spaces?#%")
	first := open(t, Options{Dir: dir})
	_, err := Open(t.Context(), Options{Dir: dir})
	require.ErrorIs(t, err, ErrLocked)

	looker := open(t, Options{Dir: dir, ReadOnly: true})
	_, err = first.Commit(t.Context(), []Entry{gravity("FV1", "hyd", noon(), 1.05)})
	require.NoError(t, err)
	got, err := looker.After(t.Context(), 0, 10)
	require.NoError(t, err)
	assert.Len(t, got, 1)
	_, err = looker.Commit(t.Context(), []Entry{gravity("FV1", "hyd", noon(), 1.05)})
	require.ErrorIs(t, err, ErrReadOnly)
}
