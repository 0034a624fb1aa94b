package journal

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// count tells how many entries a folder's journal holds, and that none is broken.
func count(t *testing.T, dir string) int64 {
	t.Helper()
	j, err := Open(t.Context(), Options{Dir: dir})
	require.NoError(t, err)
	defer func() { assert.NoError(t, j.Close()) }()
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	require.Empty(t, faults)
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	return last
}

// TestABackupTakenWhileEntriesPourInIsWhole copies again and again beside a
// writer, from a reader of its own as the command does, and restores each copy.
func TestABackupTakenWhileEntriesPourInIsWhole(t *testing.T) {
	dir, copies := t.TempDir(), t.TempDir()
	j := open(t, Options{Dir: dir})
	commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
	ctx, stop := context.WithCancel(t.Context())
	var writing sync.WaitGroup
	writing.Go(func() {
		for i := 1; ctx.Err() == nil; i++ {
			entry := gravity("FV1", "hyd", noon().Add(time.Duration(i)*time.Second), 1.05)
			if _, err := j.Commit(t.Context(), []Entry{entry}); err != nil {
				t.Errorf("the writer was held up: %v", err)
				return
			}
		}
	})
	reader, err := Open(t.Context(), Options{Dir: dir, ReadOnly: true})
	require.NoError(t, err)
	before := int64(0)
	for i := range 5 {
		var last int64
		require.Eventually(t, func() bool {
			last, err = reader.Last(t.Context())
			return err != nil || last > before
		}, time.Minute, time.Millisecond)
		require.NoError(t, err)
		path := filepath.Join(copies, fmt.Sprint(i, ".db"))
		require.NoError(t, reader.Backup(t.Context(), path))
		restored := t.TempDir()
		aside, err := Restore(t.Context(), restored, path, noon())
		require.NoError(t, err)
		assert.Empty(t, aside, "nothing was there")
		got := count(t, restored)
		assert.GreaterOrEqual(t, got, last, "all that was committed before is in it")
		before = got
	}
	stop()
	writing.Wait()
	require.NoError(t, reader.Close())
	left, err := filepath.Glob(copies + "/*.partial*")
	require.NoError(t, err)
	assert.Empty(t, left)
}

func TestABackupOverwritesNothing(t *testing.T) {
	j := open(t, Options{Dir: t.TempDir()})
	path := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, os.WriteFile(path, []byte("dear to somebody"), 0o600))
	require.ErrorContains(t, j.Backup(t.Context(), path), "never overwritten")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "dear to somebody", string(text))
	require.Error(t, j.Backup(t.Context(), filepath.Join(path, "in-a-file")))
}

func TestARestoreKeepsWhatWasThere(t *testing.T) {
	dir := t.TempDir()
	j := openUnchecked(t, Options{Dir: dir})
	commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
	path := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, j.Backup(t.Context(), path))
	commit(t, j, gravity("FV1", "hyd", noon().Add(time.Minute), 1.04))
	_, err := Restore(t.Context(), dir, path, noon())
	require.ErrorIs(t, err, ErrLocked, "a spile uses it")
	require.NoError(t, j.Close())

	aside, err := Restore(t.Context(), dir, path, noon())
	require.NoError(t, err)
	assert.Equal(t, int64(1), count(t, dir))
	was := t.TempDir()
	require.NoError(t, os.Rename(aside, filepath.Join(was, fileName)))
	assert.Equal(t, int64(2), count(t, was))
	_, err = os.Stat(path)
	assert.NoError(t, err, "the copy stays")
}

func TestOnlyAJournalIsRestored(t *testing.T) {
	dir, from := t.TempDir(), t.TempDir()
	kept := openUnchecked(t, Options{Dir: dir})
	commit(t, kept, gravity("FV1", "hyd", noon(), 1.05))
	whole := filepath.Join(from, "whole.db")
	require.NoError(t, kept.Backup(t.Context(), whole))
	require.NoError(t, kept.Close())
	text, err := os.ReadFile(whole)
	require.NoError(t, err)
	for name, body := range map[string][]byte{"empty": nil, "a letter": []byte("dear brewer"), "cut short": text[:len(text)/2]} {
		path := filepath.Join(from, name)
		require.NoError(t, os.WriteFile(path, body, 0o600))
		_, err := Restore(t.Context(), dir, path, noon())
		require.Error(t, err, name)
		assert.Equal(t, int64(1), count(t, dir), "%s: what was there stays", name)
	}
}

// A file that came to the name while the copy was made stays as it is.
func TestACopyTakesNoNameThatIsTaken(t *testing.T) {
	dir := t.TempDir()
	partial, path := filepath.Join(dir, "copy.partial"), filepath.Join(dir, "copy")
	require.NoError(t, os.WriteFile(partial, []byte("a copy"), 0o600))
	require.NoError(t, os.WriteFile(path, []byte("somebody's"), 0o600))
	require.ErrorIs(t, christen(partial, path), os.ErrExist)
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "somebody's", string(kept))
	require.NoError(t, os.Remove(path))
	require.NoError(t, christen(partial, path))
	assert.FileExists(t, path)
	assert.NoFileExists(t, partial)
}
