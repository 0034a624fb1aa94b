package journal

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBallastTakesRoomUntilItIsDropped(t *testing.T) {
	const size = 9<<20 + 1
	j := open(t, Options{Dir: t.TempDir()})
	assert.Zero(t, j.Ballast())
	require.NoError(t, j.LayBallast(t.Context(), size))
	assert.EqualValues(t, size, j.Ballast())
	room, err := j.Room()
	require.NoError(t, err)
	assert.NotZero(t, room)
	require.NoError(t, j.DropBallast())
	require.NoError(t, j.DropBallast(), "twice is once")
	assert.Zero(t, j.Ballast())
}

func TestBallastIsWholeOrNotThere(t *testing.T) {
	j := open(t, Options{Dir: t.TempDir()})
	ended, end := context.WithCancel(t.Context())
	end()
	require.ErrorIs(t, j.LayBallast(ended, 1<<20), context.Canceled)
	assert.Zero(t, j.Ballast())
	_, err := open(t, Options{Memory: true}).Room()
	require.Error(t, err)
}

// A journal in memory touches no file of the working folder.
func TestAJournalInMemoryHasNoBallast(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile(ballastName, []byte("somebody's"), 0o600))
	j, err := Open(t.Context(), Options{Memory: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, j.Close()) }()
	assert.Zero(t, j.Ballast())
	require.Error(t, j.LayBallast(t.Context(), 1<<20))
	require.NoError(t, j.DropBallast())
	kept, err := os.ReadFile(ballastName)
	require.NoError(t, err)
	assert.Equal(t, "somebody's", string(kept))
}
