package journal

import (
	"context"
	"errors"
	"time"

	"spile/detect"
)

// readings looks at every reading and its series.
func (c *checker) readings(ctx context.Context) error {
	newest := map[int64]int64{}
	return c.each(ctx, "SELECT "+readingRow+" FROM readings WHERE seq > ? ORDER BY seq", func(row scanner) error {
		var r storedReading
		if err := row.Scan(&r.seq, &r.series, &r.time, &r.arrived, &r.value, &r.raw, &r.late); err != nil {
			return err
		}
		was, heard := newest[r.series]
		if !heard || r.time > was {
			newest[r.series] = r.time
		}
		if err := c.reading(r); err != nil {
			return err
		}
		return c.late(r, heard && r.time < was)
	}, c.since)
}

func (c *checker) reading(r storedReading) error {
	k, known := c.series[r.series]
	if !known {
		return c.fault("readings", r.seq, "its series %d is missing", r.series)
	}
	for _, v := range []float64{r.value, r.raw} {
		if why := valueFlaw(k.Quantity, v); why != "" {
			return c.fault("readings", r.seq, "%s", why)
		}
	}
	return c.time("readings", r.seq, "time", r.time)
}

// late compares the mark on a reading with what its series had said before.
func (c *checker) late(r storedReading, is bool) error {
	whole := c.since == 0 && c.pruned == 0 && c.saved == 0
	switch {
	case is && !r.late:
		return c.fault("readings", r.seq, "its series had said something newer, and it is not marked late")
	case !is && r.late && whole:
		return c.fault("readings", r.seq, "it is marked late, and its series had said nothing newer")
	}
	return nil
}

// means looks at what retention has left; it is not walked where only what is new is.
func (c *checker) means(ctx context.Context) error {
	return c.stretches(ctx, "means", hourMillis, "hour")
}

// stretches looks at the rows of a table in which readings are put together, each of a length.
func (c *checker) stretches(ctx context.Context, table string, length int64, name string) error {
	if c.since > 0 {
		return nil
	}
	return c.each(ctx, "SELECT series, time, count, mean, low, high FROM "+table, func(row scanner) error {
		var series, at, count int64
		var mean, low, high float64
		if err := row.Scan(&series, &at, &count, &mean, &low, &high); err != nil {
			return err
		}
		const rounding = 1e-9 // of a mean of equal values
		_, known := c.series[series]
		switch begin := moment(at).Format(time.RFC3339); {
		case !known:
			return c.fault(table, 0, "the series %d of %s is missing", series, begin)
		case at%length != 0 || count < 1 || !(low <= mean+rounding && mean <= high+rounding):
			return c.fault(table, 0, "series %d, %s: %v to %v, mean %v of %d readings, is no %s of readings", series, begin, low, high, mean, count, name)
		}
		return nil
	})
}

// folds looks at the folds, and sees that they hold as many readings as there are before the newest of each series.
func (c *checker) folds(ctx context.Context) error {
	if err := c.stretches(ctx, "folds", foldMillis, "ten minutes"); err != nil || c.since > 0 {
		return err
	}
	return c.each(ctx, `SELECT id, (SELECT coalesce(sum(count), 0) FROM folds WHERE series = id AND time >= folded),
			(SELECT count(*) FROM readings WHERE series = id AND time >= folded AND time < newest / ?1 * ?1)
		FROM (SELECT id, folded, (SELECT max(time) FROM readings WHERE series = s.id) AS newest FROM series s)`, func(row scanner) error {
		var series, folded, there int64
		if err := row.Scan(&series, &folded, &there); err != nil || folded == there {
			return err
		}
		return c.fault("folds", 0, "series %d: %d readings are folded, and %d are there", series, folded, there)
	}, foldMillis)
}

// events sees that the log can be read, and each event told from every other.
func (c *checker) events(ctx context.Context) error {
	return c.each(ctx, "SELECT identity, "+eventColumns+" FROM events WHERE seq > ? ORDER BY seq", func(row scanner) error {
		var stored string
		seq, e, err := scanEvent(behind{row, &stored})
		if errors.Is(err, ErrDamaged) {
			return c.fault("events", seq, "its body does not parse")
		}
		if err != nil {
			return err
		}
		return c.event(seq, e, stored)
	}, c.since)
}

func (c *checker) event(seq int64, e detect.Event, stored string) error {
	if why := eventFlaw(e); why != "" {
		return c.fault("events", seq, "%s", why)
	}
	if id, err := identity(e); err != nil || id != stored {
		return c.fault("events", seq, "its identity is %.80q, its content says %.80q", stored, id)
	}
	return c.time("events", seq, "time", millis(e.Time))
}

// behind scans a row whose first column is for someone else.
type behind struct {
	scanner
	first any
}

// Scan fills first and then what was asked.
func (b behind) Scan(into ...any) error { return b.scanner.Scan(append([]any{b.first}, into...)...) }
