package journal

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What can be wrong with a journal, for errors.Is.
var (
	ErrFull     = errors.New("the disk is full: make room, or lower retention")
	ErrDamaged  = errors.New("the journal's file is damaged: start spile, it sets the file aside and saves what is readable")
	ErrLocked   = errors.New("another process has the journal: stop the other spile, or give this one its own data directory")
	ErrReadOnly = errors.New("the journal cannot be written to")
	ErrNewer    = errors.New("the journal was written by a newer spile: run that one, or give this one its own data directory")
	ErrUnknown  = errors.New("the journal has no such row")
	ErrSettled  = errors.New("the message is settled already")
	ErrOrder    = errors.New("out of order")
)

// explain names what was being done, and puts SQLite's failure into one of the
// journal's own where a caller can act on it.
func explain(doing string, err error) error {
	if err == nil {
		return nil
	}
	if kind := kindOf(err); kind != nil && !errors.Is(err, kind) {
		return fmt.Errorf("journal: %s: %w (%w)", doing, kind, err)
	}
	return fmt.Errorf("journal: %s: %w", doing, err)
}

func kindOf(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return nil
	}
	switch e.Code() & 0xff { // the primary code; the rest says where
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return ErrDamaged
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return ErrLocked
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return ErrReadOnly
	}
	return nil
}
