package journal

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"spile/detect"
)

// Traces gives every series of a filter that has a reading in it, by name,
// folded into steps of a length. Steps are counted from 1970, so that two calls
// with one length cut at the same moments.
func (j *Journal) Traces(ctx context.Context, f Filter, step time.Duration) ([]detect.Trace, error) {
	all, err := j.chosen(ctx, f)
	if err != nil {
		return nil, explain("trace readings", err)
	}
	from, to := int64(0), int64(math.MaxInt64)
	if !f.From.IsZero() {
		from = ceilMillis(f.From)
	}
	if !f.To.IsZero() {
		to = ceilMillis(f.To)
	}
	found := make([]detect.Trace, len(all))
	group, ctx := errgroup.WithContext(ctx)
	for first := range tracesAtOnce {
		group.Go(func() error {
			return j.read(ctx, "trace readings", func(tx *sql.Tx) (err error) {
				for i := first; i < len(all) && err == nil; i += tracesAtOnce {
					s := all[i]
					found[i] = detect.Trace{Tank: s.Tank, Probe: s.Probe, Quantity: s.Quantity}
					found[i].Steps, err = trace(ctx, tx, s.id, from, to, max(step.Milliseconds(), 1))
				}
				return err
			})
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return slices.DeleteFunc(found, func(t detect.Trace) bool { return len(t.Steps) == 0 }), nil
}

// tracesAtOnce leaves readers to the judge and to InfluxDB.
const tracesAtOnce = 2

// trace folds one series: what retention has left of it, and the readings that are there still.
func trace(ctx context.Context, tx *sql.Tx, series, from, to, step int64) ([]detect.TraceStep, error) {
	thinned, err := steps(ctx, tx, "means", series, from, to, step)
	if err != nil {
		return nil, err
	}
	whole, err := whole(ctx, tx, series, from, to, step)
	return joined(thinned, whole), err
}

// foldsWorth is the stretch from which on folds save more than it takes to find where they begin and end.
const foldsWorth = 12 * int64(time.Hour/time.Millisecond)

// whole folds the readings of a series: what can be had of its folds, and what lies before and behind them.
func whole(ctx context.Context, tx *sql.Tx, series, from, to, step int64) ([]detect.TraceStep, error) {
	if step%foldMillis != 0 || to-from < foldsWorth {
		return steps(ctx, tx, "readings", series, from, to, step)
	}
	var folded, newest int64
	err := tx.QueryRowContext(ctx, "SELECT folded, coalesce((SELECT max(time) FROM readings WHERE series = id), 0) FROM series WHERE id = ?",
		series).Scan(&folded, &newest)
	if err != nil {
		return nil, err
	}
	begin := (max(from, folded) + foldMillis - 1) / foldMillis * foldMillis
	end := min(to, newest) / foldMillis * foldMillis
	if begin >= end {
		return steps(ctx, tx, "readings", series, from, to, step)
	}
	before, err := steps(ctx, tx, "readings", series, from, begin, step)
	if err != nil {
		return nil, err
	}
	within, err := steps(ctx, tx, "folds", series, begin, end, step)
	if err != nil {
		return nil, err
	}
	behind, err := steps(ctx, tx, "readings", series, end, to, step)
	return joined(joined(before, within), behind), err
}

// steps folds the rows of a table.
func steps(ctx context.Context, tx *sql.Tx, table string, series, from, to, step int64) ([]detect.TraceStep, error) {
	columns := "min(low), max(high), sum(mean * count) / sum(count), sum(count)"
	if table == "readings" {
		columns = "min(value), max(value), avg(value), count(*)"
	}
	rows, err := tx.QueryContext(ctx, "SELECT time / ?, "+columns+" FROM "+table+
		" WHERE series = ? AND time >= ? AND time < ? GROUP BY 1 ORDER BY 1", step, series, from, to)
	return collect(rows, err, func(r *sql.Rows) (detect.TraceStep, error) {
		var s detect.TraceStep
		var nth int64
		err := r.Scan(&nth, &s.Low, &s.High, &s.Mean, &s.Count)
		s.Time = moment(nth * step)
		return s, err
	})
}

// joined merges two lists of steps, oldest first, adding up what is of one step.
func joined(a, b []detect.TraceStep) []detect.TraceStep {
	if len(a) == 0 {
		return b
	}
	all := slices.Concat(a, b)
	slices.SortStableFunc(all, func(x, y detect.TraceStep) int { return x.Time.Compare(y.Time) })
	out := all[:1]
	for _, s := range all[1:] {
		last := &out[len(out)-1]
		if !s.Time.Equal(last.Time) {
			out = append(out, s)
			continue
		}
		n := last.Count + s.Count
		last.Mean = (last.Mean*float64(last.Count) + s.Mean*float64(s.Count)) / float64(n)
		last.Low, last.High, last.Count = min(last.Low, s.Low), max(last.High, s.High), n
	}
	return out
}
