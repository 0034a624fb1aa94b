package journal

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"time"

	"spile/detect"
)

// readingColumns is the number of values in a row of readings.
const readingColumns = 7

// insertRows are the numbers of rows that one statement puts in, the most
// first: most of a batch goes in by the hundred, its rest in a few more.
func insertRows() []int { return []int{100, 10, 1} }

// statements are those of the busiest path, made once: as they are for the
// writing connection, or as they are for one transaction on it.
type statements struct {
	insert map[int]*sql.Stmt // by number of rows
	lookup *sql.Stmt         // the raw value of a series and time
	fold   *sql.Stmt         // makes the rows of folds of a series from one time to another
}

func (j *Journal) prepare(ctx context.Context) (err error) {
	j.statements.insert = map[int]*sql.Stmt{}
	for _, n := range insertRows() {
		row := "(" + strings.Repeat("?, ", readingColumns-1) + "?)"
		text := "INSERT INTO readings (seq, series, time, arrived, value, raw, late) VALUES " +
			strings.Repeat(row+", ", n-1) + row
		insert, err := j.writer.PrepareContext(ctx, text) //nolint:sqlclosecheck // Journal.Close closes it
		if err != nil {
			return err
		}
		j.statements.insert[n] = insert
	}
	if j.statements.lookup, err = j.writer.PrepareContext(ctx, "SELECT coalesce(raw, value) FROM readings WHERE series = ? AND time = ?"); err != nil {
		return err
	}
	j.statements.fold, err = j.writer.PrepareContext(ctx, putFolds)
	return err
}

// in gives the statements to a transaction, which closes its own at its end.
func (s statements) in(ctx context.Context, tx *sql.Tx) statements {
	own := statements{insert: map[int]*sql.Stmt{}, lookup: tx.StmtContext(ctx, s.lookup), fold: tx.StmtContext(ctx, s.fold)}
	for n, insert := range s.insert {
		own.insert[n] = tx.StmtContext(ctx, insert)
	}
	return own
}

// Close closes them.
func (s statements) Close() error {
	var errs []error
	for _, insert := range s.insert {
		errs = append(errs, insert.Close())
	}
	for _, one := range []*sql.Stmt{s.lookup, s.fold} {
		if one != nil {
			errs = append(errs, one.Close())
		}
	}
	return errors.Join(errs...)
}

func (b *batch) addReading(ctx context.Context, r detect.Reading, arrived time.Time) (Outcome, error) {
	s, err := b.seriesOf(ctx, seriesKey{r.Tank, r.Probe, r.Quantity})
	if err != nil {
		return "", err
	}
	at := millis(r.Time)
	late := s.heard && at < s.newest
	if s.heard && at <= s.newest {
		stored, found, err := b.stored(ctx, s, at)
		switch {
		case err != nil:
			return "", err
		case found && stored == r.Raw:
			return Repeat, nil
		case found:
			return Conflict, nil
		}
	}
	if s.heard {
		b.touch(s, s.newest, at)
	}
	if !late {
		s.newest, s.heard = at, true
	}
	if err := b.insert(ctx, s.id, at, millis(arrived), r, late); err != nil {
		return "", err
	}
	if late {
		return Late, nil
	}
	return Accepted, nil
}

// seriesOf finds a series, or makes it in this transaction.
func (b *batch) seriesOf(ctx context.Context, k seriesKey) (*series, error) {
	if s := b.j.series.of(k); s != nil {
		return s, nil
	}
	s := &series{seriesKey: k, id: b.j.series.nextID()}
	_, err := b.tx.ExecContext(ctx, "INSERT INTO series (id, tank, probe, quantity) VALUES (?, ?, ?, ?)",
		s.id, k.Tank, k.Probe, string(k.Quantity))
	if err != nil {
		return nil, err
	}
	b.j.series.add(s) // before the commit: who sees its readings must know its name
	return s, nil
}

// stored looks up what the journal, or this batch before, has for a time.
func (b *batch) stored(ctx context.Context, s *series, at int64) (raw float64, found bool, err error) {
	if err := b.flush(ctx, 1); err != nil {
		return 0, false, err
	}
	err = b.statements.lookup.QueryRowContext(ctx, s.id, at).Scan(&raw)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return raw, err == nil, err
}

func (b *batch) insert(ctx context.Context, series, at, arrived int64, r detect.Reading, late bool) error {
	var raw any // NULL
	if r.Raw != r.Value {
		raw = r.Raw
	}
	b.rows = append(b.rows, b.next(), series, at, arrived, r.Value, raw, late)
	most := insertRows()[0]
	if len(b.rows) < most*readingColumns {
		return nil
	}
	return b.flush(ctx, most)
}

// flush sends the rows that wait to SQLite, in statements of at least so many.
func (b *batch) flush(ctx context.Context, least int) error {
	rows := b.rows
	for _, n := range insertRows() {
		for ; n >= least && len(rows) >= n*readingColumns; rows = rows[n*readingColumns:] {
			_, err := b.statements.insert[n].ExecContext(ctx, rows[:n*readingColumns]...)
			if err != nil {
				return err
			}
		}
	}
	b.rows = append(b.rows[:0], rows...)
	return nil
}
