package journal

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"sync"

	"spile/detect"
)

// register holds every series in memory: who it is, and its newest time, so
// that a reading newer than that needs no look-up to be known as new.
type register struct {
	mu    sync.RWMutex // guards what follows; newest belongs to who holds Journal.mu
	byKey map[seriesKey]*series
	byID  map[int64]*series
	top   int64 // the highest id
}

type seriesKey struct {
	Tank     string
	Probe    string
	Quantity detect.Quantity
}

type series struct {
	seriesKey
	id     int64
	newest int64 // ms
	heard  bool  // newest is set
}

func newRegister() *register {
	return &register{byKey: map[seriesKey]*series{}, byID: map[int64]*series{}}
}

func (r *register) of(k seriesKey) *series {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.byKey[k]
}

func (r *register) add(s *series) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.put(s)
}

func (r *register) put(s *series) {
	r.byKey[s.seriesKey] = s
	r.byID[s.id] = s
	r.top = max(r.top, s.id)
}

// nextID is the number for a series that is not there yet.
func (r *register) nextID() int64 {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.top + 1
}

// probes lists who is known. Journal.mu is held.
func (r *register) probes() []Probe {
	r.mu.RLock()
	defer r.mu.RUnlock()
	newest := map[[2]string]int64{}
	for k, s := range r.byKey {
		who := [2]string{k.Tank, k.Probe}
		newest[who] = max(newest[who], s.newest)
	}
	out := make([]Probe, 0, len(newest))
	for who, at := range newest {
		out = append(out, Probe{Tank: who[0], Probe: who[1], Newest: moment(at)})
	}
	slices.SortFunc(out, func(a, b Probe) int { return cmp.Or(cmp.Compare(a.Tank, b.Tank), cmp.Compare(a.Probe, b.Probe)) })
	return out
}

// replace forgets everything for what the file says.
func (r *register) replace(all []*series) {
	r.mu.Lock()
	defer r.mu.Unlock()
	clear(r.byKey)
	clear(r.byID)
	r.top = 0
	for _, s := range all {
		r.put(s)
	}
}

// named gives the series of an id, read from the file where memory lacks it: a
// journal that only reads never hears of new series.
func (r *register) named(ctx context.Context, q queryer, id int64) (*series, error) {
	r.mu.RLock()
	s := r.byID[id]
	r.mu.RUnlock()
	if s != nil {
		return s, nil
	}
	s = &series{id: id}
	row := q.QueryRowContext(ctx, "SELECT tank, probe, quantity FROM series WHERE id = ?", id)
	if err := row.Scan(&s.Tank, &s.Probe, &s.Quantity); err != nil {
		return nil, fmt.Errorf("series %d: %w", id, err)
	}
	r.add(s)
	return s, nil
}

// loadSeries reads all series with their newest times.
func loadSeries(ctx context.Context, q queryer) ([]*series, error) {
	rows, err := q.QueryContext(ctx, `SELECT id, tank, probe, quantity,
		(SELECT max(time) FROM readings WHERE series = s.id) FROM series s ORDER BY id`)
	return collect(rows, err, func(r *sql.Rows) (*series, error) {
		var s series
		var newest sql.NullInt64
		err := r.Scan(&s.id, &s.Tank, &s.Probe, &s.Quantity, &newest)
		s.newest, s.heard = newest.Int64, newest.Valid
		return &s, err
	})
}

// queryer is a *sql.DB or a *sql.Tx.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// collect reads all rows and closes them.
func collect[T any](rows *sql.Rows, err error, scan func(*sql.Rows) (T, error)) ([]T, error) {
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }() // Err below tells what matters
	var all []T
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}
