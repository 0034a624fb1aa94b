package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// judge is the position of who makes findings of readings.
const judge = "judge"

// Position tells how far a reader of the journal has come, 0 at the start.
func (j *Journal) Position(ctx context.Context, name string) (int64, error) {
	seq, _, err := position(ctx, j.reader, name)
	return seq, explain("read the position of "+name, err)
}

// Judged tells through which entry, and up to which moment, the judge has come.
func (j *Journal) Judged(ctx context.Context) (seq int64, at time.Time, err error) {
	seq, at, err = position(ctx, j.reader, judge)
	return seq, at, explain("read the judge's position", err)
}

// Began tells when a spile first started on this journal; zero: none has.
func (j *Journal) Began(ctx context.Context) (time.Time, error) {
	var ms sql.NullInt64
	err := j.reader.QueryRowContext(ctx, "SELECT arrived FROM marks ORDER BY seq LIMIT 1").Scan(&ms)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return maybeMoment(ms), explain("find when the journal was begun", err)
}

// SetPosition notes that a reader is done with everything through seq. It may
// go back, to read again; never beyond the last entry.
func (j *Journal) SetPosition(ctx context.Context, name string, seq int64) error {
	return j.write(ctx, "set the position of "+name, func(tx *sql.Tx) error {
		return setPosition(ctx, tx, name, seq, time.Time{})
	})
}

func position(ctx context.Context, q queryer, name string) (seq int64, at time.Time, err error) {
	var ms sql.NullInt64
	err = q.QueryRowContext(ctx, "SELECT seq, at FROM positions WHERE name = ?", name).Scan(&seq, &ms)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, time.Time{}, nil
	}
	return seq, maybeMoment(ms), err
}

func setPosition(ctx context.Context, tx *sql.Tx, name string, seq int64, at time.Time) error {
	last, err := lastSeq(ctx, tx)
	if err != nil {
		return err
	}
	if seq < 0 || seq > last {
		return fmt.Errorf("%w: %d is not within 0 and the last entry, %d", ErrOrder, seq, last)
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO positions (name, seq, at) VALUES (?, ?, ?)
		ON CONFLICT (name) DO UPDATE SET seq = excluded.seq, at = excluded.at`, name, seq, maybeMillis(at))
	return err
}

// Aside is an entry that a reader could not use and went past.
type Aside struct {
	Name    string // the reader
	Seq     int64
	Problem string
}

// SetAside notes that a reader goes past an entry, and why.
func (j *Journal) SetAside(ctx context.Context, name string, seq int64, problem string) error {
	return j.write(ctx, "set aside for "+name, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO aside (name, seq, problem) VALUES (?, ?, ?)
			ON CONFLICT (name, seq) DO UPDATE SET problem = excluded.problem`, name, seq, problem)
		return err
	})
}

// Aside lists what a reader went past, the newest first.
func (j *Journal) Aside(ctx context.Context, name string, limit int) ([]Aside, error) {
	rows, err := j.reader.QueryContext(ctx, "SELECT name, seq, problem FROM aside WHERE name = ? ORDER BY seq DESC LIMIT ?", name, limit)
	all, err := collect(rows, err, func(r *sql.Rows) (a Aside, err error) {
		err = r.Scan(&a.Name, &a.Seq, &a.Problem)
		return a, err
	})
	return all, explain("list what was set aside for "+name, err)
}
