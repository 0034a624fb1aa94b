package journal

import (
	"cmp"
	"container/heap"
	"context"
	"database/sql"
	"math"

	"spile/detect"
)

// Readings hands every reading of a filter to f, the oldest by its own time
// first, those of one time by tank, probe and quantity; an error of f ends it.
//
// It reads in pages between the calls of f, so neither memory nor the writer's
// WAL grows with what is asked or with how slowly it is taken. A reading that is
// committed meanwhile is included where its time has not been passed.
func (j *Journal) Readings(ctx context.Context, f Filter, each func(detect.Reading) error) error {
	curves, err := j.curves(ctx, f)
	if err != nil {
		return explain("read readings", err)
	}
	for len(curves) > 0 {
		if err := ctx.Err(); err != nil {
			return explain("read readings", err)
		}
		foremost := curves[0]
		if err := each(foremost.page[0].reading(foremost.series)); err != nil {
			return err
		}
		if err := foremost.step(ctx, j.reader); err != nil {
			return explain("read readings", err)
		}
		if len(foremost.page) == 0 {
			heap.Pop(&curves)
		} else {
			heap.Fix(&curves, 0)
		}
	}
	return nil
}

// curve is one series on its way to be merged with the others.
type curve struct {
	series *series
	rank   int             // among the curves, by name
	page   []storedReading // what is read of it and not yet taken
	from   int64           // where the next page begins, ms
	to     int64           // excluded, ms
	size   int             // of a page
}

// curves gives a heap of the series of a filter that have a reading in it.
func (j *Journal) curves(ctx context.Context, f Filter) (curveHeap, error) {
	all, err := j.chosen(ctx, f)
	if err != nil {
		return nil, err
	}
	from, to := int64(math.MinInt64), int64(math.MaxInt64)
	if !f.From.IsZero() {
		from = ceilMillis(f.From)
	}
	if !f.To.IsZero() {
		to = ceilMillis(f.To)
	}
	const rows = 64 << 10 // at once in memory, about 4 MiB
	size := min(max(rows/max(len(all), 1), 32), 4096)
	var curves curveHeap
	for i, s := range all {
		c := &curve{series: s, rank: i, from: from, to: to, size: size}
		if err := c.turn(ctx, j.reader); err != nil {
			return nil, err
		}
		if len(c.page) > 0 {
			curves = append(curves, c)
		}
	}
	heap.Init(&curves)
	return curves, nil
}

// chosen lists the series of a filter by name.
func (j *Journal) chosen(ctx context.Context, f Filter) ([]*series, error) {
	var w where
	w.equal("tank", f.Tank)
	w.equal("probe", f.Probe)
	w.equal("quantity", string(f.Quantity))
	rows, err := j.reader.QueryContext(ctx, "SELECT id, tank, probe, quantity FROM series"+w.clause()+
		" ORDER BY tank, probe, quantity", w.args...)
	return collect(rows, err, func(r *sql.Rows) (*series, error) {
		var s series
		err := r.Scan(&s.id, &s.Tank, &s.Probe, &s.Quantity)
		return &s, err
	})
}

// step takes the foremost reading away and sees that another follows, if any.
func (c *curve) step(ctx context.Context, q queryer) error {
	c.page = c.page[1:]
	if len(c.page) > 0 || c.from >= c.to {
		return nil
	}
	return c.turn(ctx, q)
}

// turn reads the next page.
func (c *curve) turn(ctx context.Context, q queryer) error {
	rows, err := q.QueryContext(ctx, "SELECT "+readingRow+
		" FROM readings WHERE series = ? AND time >= ? AND time < ? ORDER BY time LIMIT ?", c.series.id, c.from, c.to, c.size)
	c.page, err = collect(rows, err, scanReading)
	if len(c.page) < c.size {
		c.from = c.to // that was the last
	} else {
		c.from = c.page[len(c.page)-1].time + 1
	}
	return err
}

// curveHeap has the curve with the oldest reading on top.
type curveHeap []*curve

func (h curveHeap) Len() int { return len(h) }

func (h curveHeap) Less(i, k int) bool {
	return cmp.Or(cmp.Compare(h[i].page[0].time, h[k].page[0].time), cmp.Compare(h[i].rank, h[k].rank)) < 0
}

func (h curveHeap) Swap(i, k int) { h[i], h[k] = h[k], h[i] }

// Push is of heap.Interface.
func (h *curveHeap) Push(c any) { *h = append(*h, c.(*curve)) }

// Pop is of heap.Interface.
func (h *curveHeap) Pop() any {
	last := len(*h) - 1
	c := (*h)[last]
	*h = (*h)[:last]
	return c
}
