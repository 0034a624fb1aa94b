package journal

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAnySQLiteOpensTheFile reads a journal in use with the command sqlite3.
func TestAnySQLiteOpensTheFile(t *testing.T) {
	command, err := exec.LookPath("sqlite3")
	if err != nil {
		if os.Getenv("SPILE_REQUIRE_SERVERS") == "1" {
			t.Fatal("sqlite3 is not installed: apt-get install sqlite3")
		}
		t.Skip("sqlite3 is not installed: apt-get install sqlite3")
	}
	dir := t.TempDir()
	j := open(t, Options{Dir: dir})
	furnish(t, j)
	ask := func(query string) string {
		out, err := exec.CommandContext(t.Context(), command, "-readonly", filepath.Join(dir, fileName), query).CombinedOutput()
		require.NoError(t, err, string(out))
		return strings.TrimSpace(string(out))
	}
	assert.Equal(t, "ok", ask("PRAGMA integrity_check"))
	assert.Equal(t, "2|FV1|hyd|gravity|2026-03-02T12:00:02.000Z|2026-03-02T13:00:00.000Z|1.04|1.04|0",
		ask("SELECT * FROM readings_in_words WHERE seq = 2"))
	assert.Equal(t, "delivered", ask("SELECT state FROM outbox WHERE id = 'm1'"))
}

func TestTheCommitWaitsForTheDisk(t *testing.T) {
	j := open(t, Options{Dir: t.TempDir()})
	for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2"} {
		var got string
		require.NoError(t, j.writer.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got))
		assert.Equal(t, want, got, pragma)
	}
}

func TestTheSchemaIsLaidDownOnce(t *testing.T) {
	dir := t.TempDir()
	for range 2 {
		j := openUnchecked(t, Options{Dir: dir})
		var n int
		require.NoError(t, j.writer.QueryRowContext(t.Context(), "SELECT count(*) FROM migrations").Scan(&n))
		assert.Equal(t, schemaVersion, n)
		require.NoError(t, j.Close())
	}
}

func TestAJournalOfTheFutureIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	j := openUnchecked(t, Options{Dir: dir})
	_, err := j.writer.ExecContext(t.Context(), "INSERT INTO migrations VALUES (?)", schemaVersion+1)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	for _, readOnly := range []bool{false, true} {
		_, err = Open(t.Context(), Options{Dir: dir, ReadOnly: readOnly})
		require.ErrorIs(t, err, ErrNewer)
		require.ErrorContains(t, err, fmt.Sprintf("schema %d, this one knows up to %d", schemaVersion+1, schemaVersion))
	}
}

// TestAnOlderFileIsBroughtForward lays down the first schema, fills it as the first version did, and opens it.
func TestAnOlderFileIsBroughtForward(t *testing.T) {
	dir := t.TempDir()
	old := &Journal{}
	var err error
	old.writer, err = pool(source(filepath.Join(dir, fileName), "rwc", writing()...), 1)
	require.NoError(t, err)
	require.NoError(t, old.lay(t.Context(), 1, 1))
	_, err = old.writer.ExecContext(t.Context(), `
		INSERT INTO marks VALUES (1, 1772452800000, 'started', '');
		INSERT INTO positions VALUES ('judge', 1, 1772452800000);
		INSERT INTO transitions VALUES (1, 1, 'i1', 'FV1', 'leak', '', 'medium', 'normal', 'shelved', 1772452800000, NULL, 'x', NULL, 'mo', 'known');
		INSERT INTO outbox VALUES (1, 'm1', 'phone', 'i1', 1772452800000, '{}', 'dead', 1, NULL, '410'), (2, 'm2', 'phone', 'i1', 1772452800000, '{}', 'pending', 0, NULL, '');
		INSERT INTO attempts VALUES ('m1', 1, 1772452800000, 'dead', '410');`)
	require.NoError(t, err)
	_, err = Open(t.Context(), Options{Dir: dir, ReadOnly: true})
	require.ErrorContains(t, err, "start the daemon once")
	require.NoError(t, old.writer.Close())

	j := open(t, Options{Dir: dir})
	steps, err := j.Transitions(t.Context(), TransitionFilter{})
	require.NoError(t, err)
	require.Len(t, steps, 1)
	assert.True(t, steps[0].Until.IsZero(), "nobody knows it any more")
	queues, err := j.Queues(t.Context(), "phone")
	require.NoError(t, err)
	require.Len(t, queues, 1)
	assert.Equal(t, "m2", queues[0].ID, "what was given up stays so")
	again := step("i1", "shelved", "shelved")
	again.Until = heard()
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: heard(), Transitions: []Transition{again}}))
	steps, err = j.Transitions(t.Context(), TransitionFilter{Limit: 1})
	require.NoError(t, err)
	assert.Equal(t, []Transition{again}, steps)
}

func TestAReaderDoesNotLayDownASchema(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, fileName), nil, 0o600))
	_, err := Open(t.Context(), Options{Dir: dir, ReadOnly: true})
	require.ErrorContains(t, err, "start the daemon once")
}

// TestLibcIsTheOneThatSQLiteWasTestedWith guards against an update of
// modernc.org/libc alone, which SQLite's documentation warns of.
func TestLibcIsTheOneThatSQLiteWasTestedWith(t *testing.T) {
	sqlite, libc := module(t, "modernc.org/sqlite"), module(t, "modernc.org/libc")
	text, err := os.ReadFile(sqlite.GoMod)
	require.NoError(t, err)
	want := regexp.MustCompile(`(?m)^\s*modernc\.org/libc (v\S+)`).FindSubmatch(text)
	require.NotNil(t, want)
	assert.Equal(t, string(want[1]), libc.Version, "go get modernc.org/libc@%s", want[1])
}

type moduleInfo struct{ Version, GoMod string }

func module(t *testing.T, path string) (m moduleInfo) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "go", "list", "-m", "-json", path).Output()
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(out, &m))
	return m
}
