package journal

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"spile/detect"
)

// Mean is what is left of an hour of readings.
type Mean struct {
	Tank     string
	Probe    string
	Quantity detect.Quantity
	Hour     time.Time // its beginning, by the probe's own time
	Count    int       // readings in it
	Mean     float64
	Low      float64
	High     float64
}

// hour of readings of one series.
type hour struct {
	series, time     int64
	count            int64
	sum, least, most float64
}

// hourMillis is the stretch of a mean: a batch lasts weeks, and what is to be
// seen of it months later moves in hours.
const hourMillis = int64(time.Hour / time.Millisecond)

// hourly gathers readings by series and hour, and lists those that are kept.
func hourly(old []oldReading) (hours []*hour, kept []int64) {
	type key struct{ series, time int64 }
	by := map[key]*hour{}
	kept = []int64{}
	for _, o := range old {
		if o.newest {
			kept = append(kept, o.seq)
			continue
		}
		k := key{o.series, o.time - o.time%hourMillis}
		h := by[k]
		if h == nil {
			h = &hour{series: k.series, time: k.time, least: o.value, most: o.value}
			by[k] = h
			hours = append(hours, h)
		}
		h.count++
		h.sum += o.value
		h.least, h.most = min(h.least, o.value), max(h.most, o.value)
	}
	slices.SortFunc(hours, func(a, b *hour) int {
		return cmp.Or(cmp.Compare(a.series, b.series), cmp.Compare(a.time, b.time))
	})
	return hours, kept
}

// putMeans joins hours to what is there of them already.
func putMeans(ctx context.Context, tx *sql.Tx, hours []*hour) error {
	put, err := tx.PrepareContext(ctx, `INSERT INTO means (series, time, count, mean, low, high) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (series, time) DO UPDATE SET count = count + excluded.count,
		mean = (mean * count + excluded.mean * excluded.count) / (count + excluded.count),
		low = min(low, excluded.low), high = max(high, excluded.high)`)
	if err != nil {
		return err
	}
	defer func() { _ = put.Close() }() // it ends with the transaction anyway
	for _, h := range hours {
		if _, err := put.ExecContext(ctx, h.series, h.time, h.count, h.sum/float64(h.count), h.least, h.most); err != nil {
			return err
		}
	}
	return nil
}

// Means hands the means of a filter to each, series by series, the oldest
// first; From and To are held against the beginning of the hour.
func (j *Journal) Means(ctx context.Context, f Filter, each func(Mean) error) error {
	var w where
	w.equal("tank", f.Tank)
	w.equal("probe", f.Probe)
	w.equal("quantity", string(f.Quantity))
	w.between("time", f.From, f.To)
	rows, err := j.reader.QueryContext(ctx, `SELECT tank, probe, quantity, time, count, mean, low, high
		FROM means JOIN series ON id = series`+w.clause()+" ORDER BY tank, probe, quantity, time", w.args...)
	if err != nil {
		return explain("read means", err)
	}
	defer func() { _ = rows.Close() }() // Err below tells what matters
	for rows.Next() {
		var m Mean
		var at int64
		if err := rows.Scan(&m.Tank, &m.Probe, &m.Quantity, &at, &m.Count, &m.Mean, &m.Low, &m.High); err != nil {
			return explain("read means", err)
		}
		m.Hour = moment(at)
		if err := each(m); err != nil {
			return err
		}
	}
	return explain("read means", rows.Err())
}
