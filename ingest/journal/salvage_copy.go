package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

const (
	saveRows   = 10_000 // copied by one statement, as long as nothing is broken
	pageBytes  = 4096   // of the file
	patientFor = 20_000 // broken statements; beyond them the search for single good rows becomes coarse
	coarseRows = 512
)

// saver copies table by table out of a damaged file, attached as "bad". A
// statement that meets damage does nothing; its range is then halved, until
// what is broken stands alone.
type saver struct {
	db      *sql.DB
	entries int64 // readings, events, acts and marks saved, at the end
	holes   bool  // something could not be read
	broken  int   // statements that failed
}

// save copies everything readable, puts it right and notes what came of it.
func (s *saver) save(ctx context.Context, bad, aside string, now time.Time) error {
	if _, err := s.db.ExecContext(ctx, "ATTACH ? AS bad", bad); err != nil && !isDamage(err) {
		return err
	}
	for _, table := range []struct{ name, key string }{
		{"series", "id"}, {"events", "seq"}, {"acts", "seq"}, {"marks", "seq"},
		{"transitions", "id"}, {"outbox", "place"}, {"snapshots", "seq"}, {"readings", "seq"},
	} {
		if err := s.copyRows(ctx, table.name, table.key); err != nil {
			return fmt.Errorf("table %s: %w", table.name, err)
		}
	}
	for _, table := range []struct{ name, key, values string }{
		{"figures", "name", "SELECT 'pruned' UNION ALL SELECT 'thinned' UNION ALL SELECT 'salvaged'"},
		{"positions", "name", "SELECT 'judge' UNION ALL SELECT 'influx'"},
		{"attempts", "message", "SELECT id FROM main.outbox"},
		{"aside", "name", "SELECT 'influx'"},
		{"means", "series", "SELECT id FROM main.series"},
	} {
		if s.lacks(ctx, table.name) {
			continue
		}
		if err := s.copyKeyed(ctx, table.name, table.key, table.values); err != nil {
			return fmt.Errorf("table %s: %w", table.name, err)
		}
	}
	unfolded := !s.lacks(ctx, "folds") // they are not copied: they follow from readings
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // a no-op after the commit
	for _, text := range repairs() {
		if _, err := tx.ExecContext(ctx, text); err != nil {
			return err
		}
	}
	if unfolded {
		if _, err := tx.ExecContext(ctx, unfold, foldMillis); err != nil {
			return err
		}
	}
	if err := s.note(ctx, tx, aside, now); err != nil {
		return err
	}
	return tx.Commit()
}

// lacks tells of a table that the file's schema does not have.
func (s *saver) lacks(ctx context.Context, table string) bool {
	var tables int64
	err := s.one(ctx, &tables, "SELECT count(*) FROM main.sqlite_schema WHERE name = '"+table+"'")
	return err == nil && tables == 0
}

// copyRows copies a table by ranges of its key.
func (s *saver) copyRows(ctx context.Context, table, key string) error {
	low, high, err := s.bounds(ctx, table, key)
	if err != nil {
		return err
	}
	for from := low; from <= high; from += saveRows {
		if err := s.copyRange(ctx, table, key, from, min(from+saveRows-1, high)); err != nil {
			return err
		}
	}
	return nil
}

// bounds are the lowest and highest key of a table, or what they cannot exceed
// where the ends of the table are broken.
func (s *saver) bounds(ctx context.Context, table, key string) (low, high int64, err error) {
	if err := s.one(ctx, &low, "SELECT coalesce(min("+key+"), 0) FROM bad."+table); err != nil {
		return 0, 0, err
	}
	if low == unknown {
		low = 1
		if key == "seq" { // pruned entries are the lowest
			if err := s.one(ctx, &low, "SELECT coalesce(max(value), 0) + 1 FROM bad.figures WHERE name = 'pruned'"); err != nil {
				return 0, 0, err
			}
			low = max(low, 1)
		}
	}
	if err := s.one(ctx, &high, "SELECT coalesce(max("+key+"), -1) FROM bad."+table); err != nil || high != unknown {
		return low, high, err
	}
	var pages int64
	err = s.one(ctx, &pages, "SELECT page_count FROM pragma_page_count('bad')")
	const smallestRow = 12 // bytes of a row with its header, at the least
	return low, low + max(pages, 1)*pageBytes/smallestRow, err
}

// unknown is a figure that could not be read because of damage.
const unknown = -1 << 62

func (s *saver) one(ctx context.Context, into *int64, query string) error {
	err := s.db.QueryRowContext(ctx, query).Scan(into)
	if isDamage(err) {
		*into = unknown
		return nil
	}
	return err
}

// copyRange copies the rows of a range, or else what is readable of its halves.
func (s *saver) copyRange(ctx context.Context, table, key string, from, to int64) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR IGNORE INTO main."+table+" SELECT * FROM bad."+table+
		" WHERE "+key+" BETWEEN ? AND ? ORDER BY "+key, from, to)
	if err == nil || !isDamage(err) {
		return err
	}
	s.broken++
	least := int64(0)
	if s.broken > patientFor {
		least = coarseRows
	}
	if to-from <= least {
		s.holes = true
		return nil
	}
	middle := from + (to-from)/2
	if err := s.copyRange(ctx, table, key, from, middle); err != nil {
		return err
	}
	return s.copyRange(ctx, table, key, middle+1, to)
}

// copyKeyed copies a table without row ids: whole, or else key by key.
func (s *saver) copyKeyed(ctx context.Context, table, key, values string) error {
	text := "INSERT OR IGNORE INTO main." + table + " SELECT * FROM bad." + table
	// Without a condition SQLite copies the rows as they lie there, and holds none against the table's rules.
	_, err := s.db.ExecContext(ctx, text+" WHERE true")
	if err == nil || !isDamage(err) {
		return err
	}
	s.holes = true
	rows, err := s.db.QueryContext(ctx, values)
	keys, err := collect(rows, err, func(r *sql.Rows) (key any, err error) {
		err = r.Scan(&key)
		return key, err
	})
	if err != nil {
		return err
	}
	for _, k := range keys {
		if _, err := s.db.ExecContext(ctx, text+" WHERE "+key+" = ?", k); err != nil && !isDamage(err) {
			return err
		}
	}
	return nil
}

// isDamage tells a failure that comes of what a file holds from one of the disk
// or of the context.
func isDamage(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() & 0xff {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, // of a schema that cannot be parsed
		sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_TOOBIG, sqlite3.SQLITE_FORMAT:
		return true
	}
	return false
}
