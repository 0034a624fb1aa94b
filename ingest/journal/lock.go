package journal

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
)

// dirLock keeps a second writer out of a directory. It is SQLite's own lock on
// an empty file: it works wherever SQLite does, within one process too, and
// goes with the process, however that ends.
type dirLock struct {
	db   *sql.DB
	conn *sql.Conn
}

const lockName = "journal.lock"

func lockDir(ctx context.Context, dir string) (*dirLock, error) {
	db, err := pool(source(filepath.Join(dir, lockName), "rwc", "busy_timeout(0)"), 1)
	if err != nil {
		return nil, err
	}
	l := &dirLock{db: db}
	if l.conn, err = db.Conn(ctx); err == nil {
		_, err = l.conn.ExecContext(ctx, "BEGIN EXCLUSIVE")
	}
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// Close lets the next one in.
func (l *dirLock) Close() error {
	var err error
	if l.conn != nil {
		err = l.conn.Close()
	}
	return errors.Join(err, l.db.Close())
}
