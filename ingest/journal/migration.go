package journal

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
)

//go:embed schema/*.sql
var schemas embed.FS

// schemaVersion is the schema that this code reads and writes. schema/N.sql
// leads from N-1 to N; a file that has been released never changes.
const schemaVersion = 4

// migrate brings the file to schemaVersion, each step in a transaction of its own.
func (j *Journal) migrate(ctx context.Context) error {
	have, err := version(ctx, j.writer)
	if err != nil {
		return err
	}
	if have > schemaVersion {
		return fmt.Errorf("%w (schema %d, this one knows up to %d)", ErrNewer, have, schemaVersion)
	}
	return j.lay(ctx, have+1, schemaVersion)
}

// lay brings the file from one schema to another, both included.
func (j *Journal) lay(ctx context.Context, from, to int) error {
	for v := from; v <= to; v++ {
		if err := j.transact(ctx, func(tx *sql.Tx) error { return migrateTo(ctx, tx, v) }); err != nil {
			return fmt.Errorf("lay down schema %d: %w", v, err)
		}
	}
	return nil
}

func migrateTo(ctx context.Context, tx *sql.Tx, v int) error {
	text, err := schemas.ReadFile(fmt.Sprintf("schema/%d.sql", v))
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, string(text)); err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO migrations (version) VALUES (?)", v)
	return err
}

// checkVersion is for those who may not migrate.
func (j *Journal) checkVersion(ctx context.Context) error {
	have, err := version(ctx, j.reader)
	if err != nil {
		return err
	}
	switch {
	case have > schemaVersion:
		return fmt.Errorf("%w (schema %d, this one knows up to %d)", ErrNewer, have, schemaVersion)
	case have < schemaVersion:
		return fmt.Errorf("schema %d is older than this spile's %d: start the daemon once, it brings the file up to date", have, schemaVersion)
	}
	return nil
}

// version tells the schema of a file, 0 where it is empty.
func version(ctx context.Context, db *sql.DB) (int, error) {
	var tables int
	err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'migrations'").Scan(&tables)
	if err != nil || tables == 0 {
		return 0, err
	}
	var v int
	err = db.QueryRowContext(ctx, "SELECT coalesce(max(version), 0) FROM migrations").Scan(&v)
	return v, err
}
