package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"
)

// The figures of retention.
const (
	pruned  = "pruned"  // the highest seq that is removed
	thinned = "thinned" // the seq through which was looked; what is kept below it stays
)

// Thinning says which readings may go.
type Thinning struct {
	Before  time.Time // those that arrived before
	Readers []string  // whose positions are waited for, beside the judge's; one without a position has read nothing
	Limit   int       // readings looked at in one transaction
}

// Thinned is what one Thin came to.
type Thinned struct {
	Looked int   // readings looked at: call again while it is the limit
	Gone   int   // readings that are now part of a mean
	From   int64 // the seqs of these, from and to
	To     int64
}

// Thin makes means, an hour each, with their extremes, of the oldest readings,
// and removes these, in one transaction.
//
// It keeps what someone still needs: what the judge, its snapshot or another
// reader has not passed; the newest reading of each series, by which a late one
// is known; the last entry; and everything that is no reading. A removed reading
// that is sent again is stored again. The file does not shrink, its room is used
// anew.
func (j *Journal) Thin(ctx context.Context, t Thinning) (done Thinned, err error) {
	err = j.write(ctx, "thin readings", func(tx *sql.Tx) error {
		done, err = thin(ctx, tx, t)
		return err
	})
	if err != nil {
		return Thinned{}, err
	}
	return done, nil
}

// oldReading is a reading that is to go, if it is not its series' newest.
type oldReading struct {
	storedReading
	newest bool
}

func thin(ctx context.Context, tx *sql.Tx, t Thinning) (Thinned, error) {
	through, err := passed(ctx, tx, t.Readers)
	if err != nil {
		return Thinned{}, err
	}
	from, err := figure(ctx, tx, thinned)
	if err != nil {
		return Thinned{}, err
	}
	rows, err := tx.QueryContext(ctx, "SELECT "+readingRow+`, time >= (SELECT max(time) FROM readings WHERE series = r.series)
		FROM readings r WHERE seq > ? AND seq <= ? AND arrived < ? ORDER BY seq LIMIT ?`, from, through, ceilMillis(t.Before), t.Limit)
	old, err := collect(rows, err, func(r *sql.Rows) (o oldReading, err error) {
		err = r.Scan(&o.seq, &o.series, &o.time, &o.arrived, &o.value, &o.raw, &o.late, &o.newest)
		return o, err
	})
	if err != nil || len(old) == 0 {
		return Thinned{}, err
	}
	hours, kept := hourly(old)
	done := Thinned{Looked: len(old), Gone: len(old) - len(kept), From: old[0].seq, To: old[len(old)-1].seq}
	if err := putMeans(ctx, tx, hours); err != nil {
		return Thinned{}, err
	}
	if err := remove(ctx, tx, done, ceilMillis(t.Before), kept); err != nil {
		return Thinned{}, err
	}
	if err := refold(ctx, tx, hours); err != nil {
		return Thinned{}, err
	}
	return done, setFigure(ctx, tx, thinned, done.To)
}

// remove takes the readings of a range away that arrived before a moment, but for those that are kept.
func remove(ctx context.Context, tx *sql.Tx, t Thinned, before int64, kept []int64) error {
	if t.Gone == 0 {
		return nil
	}
	list, err := json.Marshal(kept)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "DELETE FROM readings WHERE seq BETWEEN ? AND ? AND arrived < ? AND seq NOT IN (SELECT value FROM json_each(?))",
		t.From, t.To, before, string(list))
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM aside WHERE seq <= ?", t.To); err != nil {
		return err
	}
	return setFigure(ctx, tx, pruned, t.To)
}

func figure(ctx context.Context, q queryer, name string) (value int64, err error) {
	err = q.QueryRowContext(ctx, "SELECT coalesce(max(value), 0) FROM figures WHERE name = ?", name).Scan(&value)
	return value, err
}

// setFigure raises a figure.
func setFigure(ctx context.Context, tx *sql.Tx, name string, value int64) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO figures (name, value) VALUES (?, ?)
		ON CONFLICT (name) DO UPDATE SET value = max(value, excluded.value)`, name, value)
	return err
}

// passed is the highest seq behind everyone who reads, and before the last.
func passed(ctx context.Context, tx *sql.Tx, readers []string) (int64, error) {
	through, err := lastSeq(ctx, tx)
	if err != nil {
		return 0, err
	}
	through--
	for _, name := range append([]string{judge}, readers...) {
		seq, _, err := position(ctx, tx, name) // 0: it has not begun
		if err != nil {
			return 0, err
		}
		through = min(through, seq)
	}
	var snapshot sql.NullInt64
	err = tx.QueryRowContext(ctx, "SELECT max(seq) FROM snapshots").Scan(&snapshot)
	// Without a snapshot the judge rebuilds its state from the first entry.
	return min(through, snapshot.Int64), err
}

// DropMeans removes the oldest hours of means, whole: some limit means, and
// those beyond it that are of the same hour as the last of these. It tells how
// many went, and where the newest of them began.
func (j *Journal) DropMeans(ctx context.Context, limit int) (gone int, newest time.Time, err error) {
	err = j.write(ctx, "drop means", func(tx *sql.Tx) error {
		var last sql.NullInt64
		err := tx.QueryRowContext(ctx, "SELECT max(time) FROM (SELECT time FROM means ORDER BY time LIMIT ?)", limit).Scan(&last)
		if err != nil || !last.Valid {
			return err
		}
		done, err := tx.ExecContext(ctx, "DELETE FROM means WHERE time <= ?", last.Int64)
		if err != nil {
			return err
		}
		n, err := done.RowsAffected()
		gone, newest = int(n), moment(last.Int64)
		return err
	})
	if err != nil {
		return 0, time.Time{}, err
	}
	return gone, newest, nil
}

// PruneSettled removes up to limit messages that were made before a moment and
// are delivered, with their attempts, and tells how many.
func (j *Journal) PruneSettled(ctx context.Context, before time.Time, limit int) (gone int, err error) {
	err = j.write(ctx, "prune settled messages", func(tx *sql.Tx) error {
		const settled = "(SELECT id FROM outbox WHERE state = 'delivered' AND created < ? ORDER BY place LIMIT ?)"
		if _, err := tx.ExecContext(ctx, "DELETE FROM attempts WHERE message IN "+settled, millis(before), limit); err != nil {
			return err
		}
		done, err := tx.ExecContext(ctx, "DELETE FROM outbox WHERE id IN "+settled, millis(before), limit)
		if err != nil {
			return err
		}
		n, err := done.RowsAffected()
		gone = int(n)
		return err
	})
	if err != nil {
		return 0, err
	}
	return gone, nil
}

// Size is the room that the journal's rows take, in bytes; the file may be
// larger by what was pruned and not yet used anew.
func (j *Journal) Size(ctx context.Context) (int64, error) {
	var size int64
	err := j.reader.QueryRowContext(ctx, `SELECT (p.page_count - f.freelist_count) * s.page_size
		FROM pragma_page_count p, pragma_freelist_count f, pragma_page_size s`).Scan(&size)
	return size, explain("measure", err)
}
