package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
)

// Fault is a broken invariant.
type Fault struct {
	Table string // "file" where the file itself is damaged
	Seq   int64  // of the entry or, in tables without one, the row's own number; 0: not one row
	What  string
}

// String is the fault in one line.
func (f Fault) String() string {
	if f.Seq == 0 {
		return fmt.Sprintf("%s: %s", f.Table, f.What)
	}
	return fmt.Sprintf("%s %d: %s", f.Table, f.Seq, f.What)
}

// maxFaults bounds what Check gathers: a file with so many needs a copy
// restored, not a longer list.
const maxFaults = 1000

// Check walks the journal and tells every invariant that it finds broken.
//
// With since 0 it walks everything and the whole of SQLite's own structure;
// else the entries behind since, the incidents judged since, the tables that
// are small, and that structure without the indexes. Faults of the file end
// the walk. An error means only that it could not look.
func (j *Journal) Check(ctx context.Context, since int64) ([]Fault, error) {
	c := &checker{since: since}
	err := j.read(ctx, "check", func(tx *sql.Tx) error {
		c.tx = tx
		return c.all(ctx)
	})
	switch {
	case errors.Is(err, errEnough):
		c.faults = append(c.faults, Fault{Table: "file", What: "there are more faults than these"})
	case errors.Is(err, ErrDamaged):
		c.faults = append(c.faults, Fault{Table: "file", What: err.Error()})
	case err != nil:
		return c.faults, err
	}
	return c.faults, nil
}

var errEnough = errors.New("enough faults")

// checker is one Check under way.
type checker struct {
	tx     *sql.Tx
	since  int64
	last   int64
	pruned int64
	saved  int64 // the highest seq that was saved of a damaged file
	judged int64
	series map[int64]seriesKey
	faults []Fault
}

func (c *checker) all(ctx context.Context) error {
	steps := []func(context.Context) error{
		c.file, c.learn, c.order, c.readings, c.means, c.folds, c.events,
		c.chains, c.outbox, c.attempts, c.positions, c.snapshot,
	}
	for _, step := range steps {
		if err := step(ctx); err != nil {
			return err
		}
		if len(c.faults) > 0 && c.faults[0].Table == "file" {
			return nil // what else would be found is the same damage
		}
	}
	return nil
}

// fault notes a fault; it fails only when there are too many.
func (c *checker) fault(table string, seq int64, format string, args ...any) error {
	if len(c.faults) >= maxFaults {
		return errEnough
	}
	c.faults = append(c.faults, Fault{Table: table, Seq: seq, What: fmt.Sprintf(format, args...)})
	return nil
}

// each runs a query and hands its rows to f, one by one.
func (c *checker) each(ctx context.Context, query string, f func(scanner) error, args ...any) error {
	rows, err := c.tx.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { _ = rows.Close() }() // Err below tells what matters
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// file lets SQLite look at its own structure.
func (c *checker) file(ctx context.Context) error {
	pragma := "PRAGMA quick_check(100)"
	if c.since == 0 {
		pragma = "PRAGMA integrity_check(100)"
	}
	return c.each(ctx, pragma, func(row scanner) error {
		var what string
		if err := row.Scan(&what); err != nil || what == "ok" {
			return err
		}
		return c.fault("file", 0, "%s", what)
	})
}

// learn reads what the other steps compare with, and looks at it.
func (c *checker) learn(ctx context.Context) (err error) {
	if c.last, err = lastSeq(ctx, c.tx); err != nil {
		return err
	}
	if c.judged, _, err = position(ctx, c.tx, judge); err != nil {
		return err
	}
	err = c.tx.QueryRowContext(ctx, "SELECT coalesce(max(value), 0) FROM figures WHERE name = ?", pruned).Scan(&c.pruned)
	if err != nil {
		return err
	}
	err = c.tx.QueryRowContext(ctx, "SELECT coalesce(max(value), 0) FROM figures WHERE name = ?", salvaged).Scan(&c.saved)
	if err != nil {
		return err
	}
	if c.pruned >= max(c.last, 1) {
		if err := c.fault("figures", 0, "pruned through %d, and the last entry is %d", c.pruned, c.last); err != nil {
			return err
		}
	}
	c.series = map[int64]seriesKey{}
	return c.each(ctx, "SELECT id, tank, probe, quantity FROM series", func(row scanner) error {
		var id int64
		var k seriesKey
		if err := row.Scan(&id, &k.Tank, &k.Probe, &k.Quantity); err != nil {
			return err
		}
		c.series[id] = k
		if k.Tank == "" || k.Probe == "" || k.Quantity.Unit() == "" {
			return c.fault("series", id, "tank %q, probe %q, quantity %q is no series", k.Tank, k.Probe, k.Quantity)
		}
		return nil
	})
}

// order sees that seq counts by one over all kinds, and that arrivals never go
// back along it.
func (c *checker) order(ctx context.Context) error {
	was, heard := c.since, int64(math.MinInt64)
	return c.each(ctx, `SELECT 'readings', seq, arrived FROM readings WHERE seq > ?1
		UNION ALL SELECT 'events', seq, arrived FROM events WHERE seq > ?1
		UNION ALL SELECT 'acts', seq, arrived FROM acts WHERE seq > ?1
		UNION ALL SELECT 'marks', seq, arrived FROM marks WHERE seq > ?1 ORDER BY seq`, func(row scanner) error {
		var table string
		var seq, arrived int64
		if err := row.Scan(&table, &seq, &arrived); err != nil {
			return err
		}
		err := c.place(table, seq, was)
		if err == nil && arrived < heard {
			err = c.fault(table, seq, "it arrived %v before the entry before it", moment(heard).Sub(moment(arrived)))
		}
		if err == nil {
			err = c.time(table, seq, "arrived", arrived)
		}
		was, heard = seq, arrived
		return err
	}, c.since)
}

// place compares a seq with the one before; gaps are allowed where Prune was, and in what was saved of a damaged file.
func (c *checker) place(table string, seq, was int64) error {
	next := max(was, c.pruned, c.saved) + 1
	switch {
	case seq == was:
		return c.fault(table, seq, "another entry has the same seq")
	case seq > next:
		return c.fault(table, seq, "the entries %d to %d before it are missing", next, seq-1)
	}
	return nil
}

// time finds absurd times. The year 2000 is before any spile: a clock there was
// never set.
func (c *checker) time(table string, seq int64, what string, ms int64) error {
	const year2000 = 946684800000
	if ms < year2000 || ms >= latest {
		return c.fault(table, seq, "%s = %d ms is not between the years 2000 and 2200: was a clock not set?", what, ms)
	}
	return nil
}
