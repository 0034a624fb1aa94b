package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// MarkDamaged is the name of the mark that a journal begins anew with after its
// file was found damaged: the mark stands behind what was saved, and its detail
// says where the damaged file lies and what was saved of it.
const MarkDamaged = "journal-damaged"

// salvaged is the figure of the highest seq that was saved of a damaged file:
// up to there entries may be missing, and incidents may have holes.
const salvaged = "salvaged"

// The files of a salvage. What is being saved is not trusted until it is whole:
// then it is renamed, and from there on a start only finishes the exchange.
const (
	condemnedName = "journal.condemned" // says that the file is to be salvaged at the next Open, and why
	savingName    = "journal.saving"
	savedName     = "journal.saved"
	graftedName   = "journal.grafted" // a copy of the damaged file with another schema
)

// lastAside is the last damaged file that is kept. A disk that goes on like that
// is not to be filled with them too.
const lastAside = "journal-damaged-9.db"

// Condemn has the next Open save what it can of the file into a new one. It is
// for damage that is found while the journal is open.
func (j *Journal) Condemn(why string) error {
	if j.dir == "" {
		return errors.New("journal: condemn: a journal in memory has no file to set aside")
	}
	if name := asideName(j.dir); len(name) > len(lastAside) {
		return fmt.Errorf("journal: condemn: %s is reached: the disk damages file after file, change it and delete those", lastAside)
	}
	if err := os.WriteFile(filepath.Join(j.dir, condemnedName), []byte(why+"\n"), 0o640); err != nil {
		return fmt.Errorf("journal: condemn: %w", err)
	}
	return nil
}

// condemned tells whether a file was condemned, or its salvage not finished.
func condemned(dir string) bool {
	for _, name := range []string{condemnedName, savedName} {
		if _, err := os.Stat(filepath.Join(dir, name)); err == nil {
			return true
		}
	}
	return false
}

// salvage saves what can be read of a damaged journal.db into a new one, and
// keeps the old one under another name. It may be cut off anywhere and is then
// done again, or finished, by the next Open.
func salvage(ctx context.Context, dir string, now time.Time) error {
	saved := filepath.Join(dir, savedName)
	if _, err := os.Stat(saved); err != nil {
		if err := saveAll(ctx, dir, now); err != nil {
			return fmt.Errorf("save what is readable of a damaged journal: %w", err)
		}
	}
	aside := asideName(dir)
	for _, part := range []string{"-shm", "-wal", ""} { // the file itself last: until then its log is needed
		err := os.Rename(filepath.Join(dir, fileName+part), filepath.Join(dir, aside+part))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	// The note goes first: left beside the new file, it would have that one salvaged too.
	if err := removeAny(filepath.Join(dir, condemnedName)); err != nil {
		return err
	}
	return os.Rename(saved, filepath.Join(dir, fileName))
}

// asideName is the first name for a damaged file that is not taken.
func asideName(dir string) string {
	for n := 1; ; n++ {
		name := fmt.Sprintf("journal-damaged-%d.db", n)
		if _, err := os.Stat(filepath.Join(dir, name)); errors.Is(err, os.ErrNotExist) {
			return name
		}
	}
}

func removeAny(paths ...string) error {
	for _, path := range paths {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// removeDatabases removes files of SQLite with all that lies beside them.
func removeDatabases(paths ...string) error {
	var errs []error
	for _, path := range paths {
		errs = append(errs, removeAny(path, path+"-wal", path+"-shm"))
	}
	return errors.Join(errs...)
}

// saveAll writes savedName, whole or not at all.
func saveAll(ctx context.Context, dir string, now time.Time) (err error) {
	saving, grafted := filepath.Join(dir, savingName), filepath.Join(dir, graftedName)
	if err := removeDatabases(saving, grafted); err != nil {
		return err
	}
	bad := filepath.Join(dir, fileName)
	version, readable := damagedVersion(ctx, bad)
	if !readable {
		defer func() { err = errors.Join(err, removeDatabases(grafted)) }()
		pages, err := keptSchema(dir)
		if err := errors.Join(err, copyDatabase(bad, grafted), graft(grafted, pages)); err != nil {
			return err
		}
		bad = grafted
		version, readable = damagedVersion(ctx, bad)
	}
	if err := layDown(ctx, saving, version); err != nil {
		return err
	}
	if !readable { // where this version begins its tables, the damaged one may have begun them too
		pages, err := freshSchema(ctx, saving)
		if err := errors.Join(err, graft(bad, pages)); err != nil {
			return err
		}
	}
	s := &saver{}
	if s.db, err = pool(source(saving, "rw", append(writing(), "writable_schema(1)")...), 1); err != nil {
		return err
	}
	err = s.save(ctx, bad, asideName(dir), now)
	if err := errors.Join(err, s.db.Close()); err != nil {
		return err
	}
	return os.Rename(saving, filepath.Join(dir, savedName))
}

// damagedVersion tells the schema of a damaged file, and whether its schema can
// be read at all. What cannot be told is taken for this version's.
func damagedVersion(ctx context.Context, path string) (v int, readable bool) {
	db, err := pool(source(path, "rw", "writable_schema(1)"), 1)
	if err != nil {
		return schemaVersion, false
	}
	defer func() { _ = db.Close() }() // it is given up anyway
	var tables int
	err = db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE name IN ('migrations', 'readings')").Scan(&tables)
	if err != nil || tables < 2 {
		return schemaVersion, false
	}
	if v, err = version(ctx, db); err != nil || v < 1 || v > schemaVersion {
		return schemaVersion, true
	}
	return v, true
}

// layDown makes an empty journal of a schema.
func layDown(ctx context.Context, path string, version int) error {
	db, err := pool(source(path, "rwc", writing()...), 1)
	if err != nil {
		return err
	}
	fresh := &Journal{writer: db}
	return errors.Join(fresh.lay(ctx, 1, version), db.Close())
}

// repairs makes what was saved hang together again. Their order matters.
func repairs() []string {
	return []string{
		// What a page that was cut off, or written over, passes for: no probe and no clock says so. Arrivals do not
		// go back: of two that do, the first is wrong where those around it agree, and else the second.
		`DELETE FROM readings WHERE seq IN (SELECT seq FROM (SELECT seq, arrived, lag(arrived) OVER way AS before, lead(arrived) OVER way AS after
			FROM readings WINDOW way AS (ORDER BY seq)) WHERE arrived > after AND after >= coalesce(before, 0))`,
		`DELETE FROM readings WHERE seq IN (SELECT seq FROM (SELECT seq, arrived, lag(arrived) OVER (ORDER BY seq) AS before FROM readings)
			WHERE arrived < before)`,
		"DELETE FROM events WHERE NOT json_valid(body)",
		"DELETE FROM readings WHERE time <= 0 OR arrived <= 0 OR NOT (value BETWEEN -110 AND 10000)",
		// A reading of which nobody knows the probe is none.
		"DELETE FROM readings WHERE series NOT IN (SELECT id FROM series)",
		"DELETE FROM attempts WHERE message NOT IN (SELECT id FROM outbox)",
		// Where attempts are missing, one stands for all that was delivered.
		`DELETE FROM attempts WHERE message IN (SELECT id FROM outbox o
			WHERE attempts <> (SELECT count(*) FROM attempts a WHERE a.message = o.id))`,
		`INSERT INTO attempts (message, number, at, result, problem)
			SELECT id, 1, created, 'delivered', 'noted anew: the attempts were lost with a damaged file' FROM outbox
			WHERE state = 'delivered' AND id NOT IN (SELECT message FROM attempts)`,
		"UPDATE outbox SET attempts = (SELECT count(*) FROM attempts a WHERE a.message = id)",
		// The judge has come at least to what it has committed.
		`INSERT INTO positions (name, seq, at)
			SELECT 'judge', seq, at FROM (SELECT seq, at FROM snapshots UNION ALL SELECT judged, time FROM transitions ORDER BY 1 DESC LIMIT 1)
			WHERE true ON CONFLICT (name) DO UPDATE SET at = max(at, excluded.at), seq = excluded.seq WHERE excluded.seq > seq`,
	}
}

// note puts the figures right and writes the mark behind the last entry.
func (s *saver) note(ctx context.Context, tx *sql.Tx, aside string, now time.Time) error {
	last, err := lastSeq(ctx, tx)
	if err != nil {
		return err
	}
	var newest, pruned int64
	err = tx.QueryRowContext(ctx, `SELECT coalesce((SELECT max(arrived) FROM (
			SELECT arrived FROM (SELECT arrived FROM readings ORDER BY seq DESC LIMIT 1) UNION ALL SELECT arrived FROM events
			UNION ALL SELECT arrived FROM acts UNION ALL SELECT arrived FROM marks UNION ALL SELECT at FROM positions WHERE name = 'judge')), 0),
		coalesce((SELECT value FROM figures WHERE name = 'pruned'), 0)`).Scan(&newest, &pruned)
	if err != nil {
		return err
	}
	err = tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM readings) + (SELECT count(*) FROM events)
		+ (SELECT count(*) FROM acts) + (SELECT count(*) FROM marks)`).Scan(&s.entries)
	if err != nil {
		return err
	}
	last = max(last, pruned)
	detail := fmt.Sprintf("%s: %s", aside, s.tally(last, pruned))
	for _, do := range []struct {
		text string
		args []any
	}{
		{"UPDATE positions SET seq = ?1 WHERE seq > ?1", []any{last}},
		{"DELETE FROM aside WHERE seq > ?", []any{last}},
		{"DELETE FROM snapshots WHERE seq > (SELECT seq FROM positions WHERE name = 'judge')", nil},
		{"INSERT INTO figures (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", []any{salvaged, last}},
		{"INSERT INTO marks (seq, arrived, name, detail) VALUES (?, ?, ?, ?)",
			[]any{last + 1, max(newest, millis(now)), MarkDamaged, detail}},
	} {
		if _, err := tx.ExecContext(ctx, do.text, do.args...); err != nil {
			return err
		}
	}
	return nil
}

// tally says what was saved. The entries are numbered by one, so the numbers
// that are missing are the entries that are lost; those behind the last one
// that was saved nobody can count.
func (s *saver) tally(last, pruned int64) string {
	text := fmt.Sprintf("%d entries were saved", s.entries)
	switch missing := last - pruned - s.entries; {
	case missing > 0 && pruned == 0:
		text += fmt.Sprintf(", %d are missing", missing)
	case s.holes:
		text += ", some are lost"
	}
	return text
}
