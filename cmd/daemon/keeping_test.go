package daemon

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A journal that an older spile wrote is folded while the watch goes on.
func TestAnOlderJournalIsFoldedBesideTheWatch(t *testing.T) {
	text, err := os.ReadFile("../../testdata/journals/schema-3.sql")
	require.NoError(t, err)
	dir := t.TempDir()
	file, err := sql.Open("sqlite", filepath.Join(dir, "journal.db"))
	require.NoError(t, err)
	defer func() { assert.NoError(t, file.Close()) }()
	_, err = file.ExecContext(t.Context(), string(text))
	require.NoError(t, err)

	d := New(Options{Data: dir})
	require.NoError(t, d.Start(t.Context()))
	defer func() { assert.NoError(t, d.Stop(context.Background())) }()
	require.Eventually(t, func() bool {
		var left, folds int
		require.NoError(t, file.QueryRowContext(t.Context(),
			"SELECT (SELECT count(*) FROM series WHERE folded > 0), (SELECT count(*) FROM folds)").Scan(&left, &folds))
		return left == 0 && folds > 0
	}, 30*time.Second, 5*time.Millisecond)
}
