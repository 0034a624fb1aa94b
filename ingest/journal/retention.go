package journal

import (
	"context"
	"database/sql"
	"time"
)

// pruned is the figure of the highest seq that Prune has removed.
const pruned = "pruned"

// Prune removes up to limit readings that arrived before a moment, in one
// transaction, and tells how many went: call it again while it is limit.
//
// It keeps what someone still needs: what the judge, its snapshot or another
// position has not passed; the newest reading of each series, by which a late
// one is known; the last entry; and everything that is no reading. A removed
// reading that is sent again is stored again. The file does not shrink, its
// room is used anew.
func (j *Journal) Prune(ctx context.Context, before time.Time, limit int) (int, error) {
	gone := 0
	err := j.write(ctx, "prune readings", func(tx *sql.Tx) (err error) {
		gone, err = prune(ctx, tx, before, limit)
		return err
	})
	if err != nil {
		return 0, err
	}
	return gone, nil
}

func prune(ctx context.Context, tx *sql.Tx, before time.Time, limit int) (int, error) {
	through, err := passed(ctx, tx)
	if err != nil {
		return 0, err
	}
	rows, err := tx.QueryContext(ctx, `DELETE FROM readings WHERE seq IN (
		SELECT seq FROM readings r WHERE seq <= ? AND arrived < ?
		AND time < (SELECT max(time) FROM readings WHERE series = r.series)
		ORDER BY seq LIMIT ?) RETURNING seq`, through, ceilMillis(before), limit)
	gone, err := collect(rows, err, func(r *sql.Rows) (seq int64, err error) {
		err = r.Scan(&seq)
		return seq, err
	})
	if err != nil || len(gone) == 0 {
		return 0, err
	}
	highest := gone[0]
	for _, seq := range gone {
		highest = max(highest, seq)
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO figures (name, value) VALUES (?, ?)
		ON CONFLICT (name) DO UPDATE SET value = max(value, excluded.value)`, pruned, highest)
	return len(gone), err
}

// passed is the highest seq behind everyone who reads, and before the last.
func passed(ctx context.Context, tx *sql.Tx) (int64, error) {
	through, _, err := position(ctx, tx, judge) // 0: it has not begun
	if err != nil {
		return 0, err
	}
	last, err := lastSeq(ctx, tx)
	if err != nil {
		return 0, err
	}
	var others, snapshot sql.NullInt64
	err = tx.QueryRowContext(ctx, "SELECT (SELECT min(seq) FROM positions), (SELECT max(seq) FROM snapshots)").Scan(&others, &snapshot)
	// Without a snapshot the judge rebuilds its state from the first entry.
	return min(through, last-1, others.Int64, snapshot.Int64), err
}

// Size is the room that the journal's rows take, in bytes; the file may be
// larger by what was pruned and not yet used anew.
func (j *Journal) Size(ctx context.Context) (int64, error) {
	var size int64
	err := j.reader.QueryRowContext(ctx, `SELECT (p.page_count - f.freelist_count) * s.page_size
		FROM pragma_page_count p, pragma_freelist_count f, pragma_page_size s`).Scan(&size)
	return size, explain("measure", err)
}
