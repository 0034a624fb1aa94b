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
	group.SetLimit(tracesAtOnce)
	for i, s := range all {
		group.Go(func() (err error) {
			found[i] = detect.Trace{Tank: s.Tank, Probe: s.Probe, Quantity: s.Quantity}
			found[i].Steps, err = j.trace(ctx, s.id, from, to, max(step.Milliseconds(), 1))
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, explain("trace readings", err)
	}
	return slices.DeleteFunc(found, func(t detect.Trace) bool { return len(t.Steps) == 0 }), nil
}

// tracesAtOnce leaves readers to the judge and to InfluxDB.
const tracesAtOnce = 2

func (j *Journal) trace(ctx context.Context, series, from, to, step int64) ([]detect.TraceStep, error) {
	rows, err := j.reader.QueryContext(ctx, "SELECT time / ?, min(value), max(value), avg(value), count(*)"+
		" FROM readings WHERE series = ? AND time >= ? AND time < ? GROUP BY 1 ORDER BY 1", step, series, from, to)
	return collect(rows, err, func(r *sql.Rows) (detect.TraceStep, error) {
		var s detect.TraceStep
		var nth int64
		err := r.Scan(&nth, &s.Low, &s.High, &s.Mean, &s.Count)
		s.Time = moment(nth * step)
		return s, err
	})
}
