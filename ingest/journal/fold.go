package journal

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// foldMillis is the stretch of a fold: a week's curve has steps of twenty
// minutes, and a probe that speaks each minute is read ten times as quickly.
const foldMillis = int64(10 * time.Minute / time.Millisecond)

// pastFolded is how much of a series FoldPast folds at once: more would keep
// readings waiting on a small board.
const pastFolded = int64(7 * 24 * time.Hour / time.Millisecond)

// fold is ten minutes of a series.
type fold struct{ series, time int64 }

func foldOf(series, at int64) fold { return fold{series, at - at%foldMillis} }

// putFolds makes the folds of a length, of a series, from one time to another
// that is excluded.
const putFolds = `INSERT OR REPLACE INTO folds (series, time, count, mean, low, high)
	SELECT series, time - time % ?, count(*), avg(value), min(value), max(value) FROM readings
	WHERE series = ? AND time >= ? AND time < ? GROUP BY 1, 2`

// unfold leaves everything to FoldPast.
const unfold = "UPDATE series SET folded = coalesce((SELECT max(time) / ?1 * ?1 FROM readings WHERE series = id), 0)"

// touch notes which folds a new reading changes: the one that it ends, or
// where it comes late, the one that it belongs to.
func (b *batch) touch(s *series, newest, at int64) {
	was, is := foldOf(s.id, newest), foldOf(s.id, at)
	if is == was {
		return // its row is made when a later one is begun
	}
	if b.touched == nil {
		b.touched = map[fold]struct{}{}
	}
	b.touched[fold{s.id, min(was.time, is.time)}] = struct{}{}
}

// fold makes the touched folds anew, once all readings of the batch are in.
func (b *batch) fold(ctx context.Context) error {
	for f := range b.touched {
		if _, err := b.statements.fold.ExecContext(ctx, foldMillis, f.series, f.time, f.time+foldMillis); err != nil {
			return err
		}
	}
	return nil
}

// refold makes the folds of hours, which come series by series, anew after readings of them were removed.
func refold(ctx context.Context, tx *sql.Tx, hours []*hour) error {
	var newest int64
	var err error
	for i, h := range hours {
		until := h.time + hourMillis
		if _, err := tx.ExecContext(ctx, "DELETE FROM folds WHERE series = ? AND time >= ? AND time < ?", h.series, h.time, until); err != nil {
			return err
		}
		if i == 0 || h.series != hours[i-1].series {
			if newest, err = newestOf(ctx, tx, h.series); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx, putFolds, foldMillis, h.series, h.time, min(until, foldOf(h.series, newest).time)); err != nil {
			return err
		}
	}
	return nil
}

// newestOf is the time of a series' newest reading, ms; 0: it has none.
func newestOf(ctx context.Context, q queryer, series int64) (newest int64, err error) {
	err = q.QueryRowContext(ctx, "SELECT coalesce(max(time), 0) FROM readings WHERE series = ?", series).Scan(&newest)
	return newest, err
}

// FoldPast folds a week of what an older spile left without folds, and tells
// whether there is more. Until all is folded, curves of that past are right and
// take longer.
func (j *Journal) FoldPast(ctx context.Context) (more bool, err error) {
	err = j.write(ctx, "fold the past", func(tx *sql.Tx) error {
		more, err = foldPast(ctx, tx)
		return err
	})
	return more && err == nil, err
}

func foldPast(ctx context.Context, tx *sql.Tx) (more bool, err error) {
	var series, folded, newest int64
	err = tx.QueryRowContext(ctx, `SELECT id, folded, coalesce((SELECT max(time) FROM readings WHERE series = id AND time < folded), 0)
		FROM series WHERE folded > 0 LIMIT 1`).Scan(&series, &folded, &newest)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	from := int64(0) // and nothing is older
	if newest > 0 {
		from = max(foldOf(series, newest).time-pastFolded, 0)
		if _, err := tx.ExecContext(ctx, putFolds, foldMillis, series, from, folded); err != nil {
			return false, err
		}
	}
	_, err = tx.ExecContext(ctx, "UPDATE series SET folded = ? WHERE id = ?", from, series)
	return true, err
}
