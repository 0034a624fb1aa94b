package journal

import (
	"cmp"
	"context"
	"database/sql"
	"slices"

	"spile/detect"
)

// After gives up to limit entries behind a seq, of all kinds in one order.
// Fewer than limit means that there are no more for now.
func (j *Journal) After(ctx context.Context, seq int64, limit int) ([]Entry, error) {
	if limit <= 0 {
		return nil, nil
	}
	if all, ok := j.recent.after(seq, limit); ok {
		return all, nil
	}
	var all []Entry
	err := j.read(ctx, "read entries", func(tx *sql.Tx) (err error) {
		all, err = j.after(ctx, tx, seq, limit)
		return err
	})
	return all, err
}

// after takes up to limit of each kind and keeps the foremost of all.
func (j *Journal) after(ctx context.Context, tx *sql.Tx, seq int64, limit int) ([]Entry, error) {
	all, err := j.readingsAfter(ctx, tx, seq, limit)
	if err != nil {
		return nil, err
	}
	readings := len(all)
	for _, kind := range []func(context.Context, *sql.Tx, int64, int) ([]Entry, error){eventsAfter, actsAfter, marksAfter} {
		more, err := kind(ctx, tx, seq, limit)
		if err != nil {
			return nil, err
		}
		all = append(all, more...)
	}
	if len(all) > readings {
		slices.SortFunc(all, func(a, b Entry) int { return cmp.Compare(a.Seq, b.Seq) })
	}
	return all[:min(limit, len(all))], nil
}

func (j *Journal) readingsAfter(ctx context.Context, tx *sql.Tx, seq int64, limit int) ([]Entry, error) {
	rows, err := tx.QueryContext(ctx, "SELECT "+readingRow+" FROM readings WHERE seq > ? ORDER BY seq LIMIT ?", seq, limit)
	if err != nil {
		return nil, err
	}
	found, err := collect(rows, err, scanReading)
	if err != nil {
		return nil, err
	}
	all := make([]Entry, len(found))
	readings := make([]detect.Reading, len(found)) // one allocation for all
	for i, f := range found {
		s, err := j.series.named(ctx, tx, f.series)
		if err != nil {
			return nil, err
		}
		readings[i] = f.reading(s)
		all[i] = Entry{Seq: f.seq, Arrived: readings[i].Arrived, Reading: &readings[i]}
	}
	return all, nil
}

const readingRow = "seq, series, time, arrived, value, coalesce(raw, value), late"

// storedReading is a row of readings as it stands.
type storedReading struct {
	seq, series, time, arrived int64
	value, raw                 float64
	late                       bool
}

func scanReading(r *sql.Rows) (s storedReading, err error) {
	err = r.Scan(&s.seq, &s.series, &s.time, &s.arrived, &s.value, &s.raw, &s.late)
	return s, err
}

func (s storedReading) reading(of *series) detect.Reading {
	return detect.Reading{
		Tank: of.Tank, Probe: of.Probe, Quantity: of.Quantity,
		Time: moment(s.time), Value: s.value, Raw: s.raw, Arrived: moment(s.arrived), Late: s.late,
	}
}

func eventsAfter(ctx context.Context, tx *sql.Tx, seq int64, limit int) ([]Entry, error) {
	rows, err := tx.QueryContext(ctx, "SELECT "+eventColumns+" FROM events WHERE seq > ? ORDER BY seq LIMIT ?", seq, limit)
	return collect(rows, err, func(r *sql.Rows) (Entry, error) {
		seq, e, err := scanEvent(r)
		return Entry{Seq: seq, Arrived: e.Arrived, Event: &e}, err
	})
}

func actsAfter(ctx context.Context, tx *sql.Tx, seq int64, limit int) ([]Entry, error) {
	rows, err := tx.QueryContext(ctx, "SELECT seq, arrived, verb, incident, by, why, until FROM acts WHERE seq > ? ORDER BY seq LIMIT ?", seq, limit)
	return collect(rows, err, func(r *sql.Rows) (Entry, error) {
		var (
			seq, arrived int64
			until        sql.NullInt64
			a            Act
		)
		err := r.Scan(&seq, &arrived, &a.Verb, &a.Incident, &a.By, &a.Why, &until)
		a.Until = maybeMoment(until)
		return Entry{Seq: seq, Arrived: moment(arrived), Act: &a}, err
	})
}

func marksAfter(ctx context.Context, tx *sql.Tx, seq int64, limit int) ([]Entry, error) {
	rows, err := tx.QueryContext(ctx, "SELECT seq, arrived, name, detail FROM marks WHERE seq > ? ORDER BY seq LIMIT ?", seq, limit)
	return collect(rows, err, func(r *sql.Rows) (Entry, error) {
		var (
			seq, arrived int64
			m            Mark
		)
		err := r.Scan(&seq, &arrived, &m.Name, &m.Detail)
		return Entry{Seq: seq, Arrived: moment(arrived), Mark: &m}, err
	})
}
