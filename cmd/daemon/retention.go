package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/ingest/influx"
	"spile/ingest/journal"
)

// How retention goes about it.
const (
	retentionPace  = 10 * time.Minute
	retentionBatch = 5000                  // rows in one transaction
	retentionRest  = 20 * time.Millisecond // between them: the readings that come meanwhile go first
	settledKept    = 90 * 24 * time.Hour   // delivered messages, as long as the figures of the alarm system look back
	sizeShare      = 0.9                   // of the limit: the rest is for the log of what is being written
	sizeEase       = 0.97                  // of that share: down to there, so that it need not be done at every look
	rawLeast       = 24 * time.Hour        // kept as they came whatever the size: people look at last night
)

// Retention is how long readings are kept. The zero value keeps all.
type Retention struct {
	Raw  time.Duration // as they came; 0: for ever
	Size int64         // bytes of the journal; 0: no limit
}

// retention makes means of old readings, and removes what the journal has no
// room for: first readings become means, the oldest first; then the oldest means
// go. What InfluxDB has not had stays, unless there is no other way to keep
// within the size; that is told as an alarm.
type retention struct {
	Retention
	journal *journal.Journal
	readers []string // who must have read what goes
	clock   func() time.Time
	mark    func(ctx context.Context, name, detail string) error
	log     *slog.Logger
	means   prometheus.Counter
	dropped prometheus.Counter
	missed  prometheus.Counter
}

// newRetention makes one that does nothing yet.
func newRetention(d *Daemon) *retention {
	counter := func(name, help string) prometheus.Counter {
		c := prometheus.NewCounter(prometheus.CounterOpts{Name: name, Help: help})
		d.registry.MustRegister(c)
		return c
	}
	r := &retention{
		Retention: d.options.Retention, journal: d.journal, clock: d.options.Clock, mark: d.mark, log: d.options.Log,
		means:   counter("spile_retention_thinned_readings_total", "Old readings that were made part of an hour's mean."),
		dropped: counter("spile_retention_dropped_means_total", "Hours' means that the journal's size limit left no room for."),
		missed:  counter("spile_retention_missed_readings_total", "Readings thinned before InfluxDB had them: the size limit left no choice."),
	}
	if d.options.Influx != nil {
		r.readers = []string{influx.Reader}
	}
	return r
}

// look holds the journal to its bounds, and says where that fails.
func (r *retention) look(ctx context.Context) {
	if err := r.keep(ctx); err != nil && ctx.Err() == nil {
		r.log.Error("old readings could not be thinned", "error", err)
	}
}

// keep holds the journal to its bounds.
func (r *retention) keep(ctx context.Context) error {
	now := r.clock()
	for more := true; more; {
		gone, err := r.journal.PruneSettled(ctx, now.Add(-max(settledKept, r.Raw)), retentionBatch)
		if err != nil {
			return err
		}
		more = gone == retentionBatch && rest(ctx)
	}
	if r.Raw > 0 {
		n, err := r.thin(ctx, now.Add(-r.Raw), r.readers, nil)
		if err != nil {
			return err
		}
		if n > 0 {
			r.log.Info("old readings were made hourly means", "readings", n, "older_than", r.Raw)
		}
	}
	if r.Size == 0 {
		return nil
	}
	return r.fit(ctx, now)
}

// thin makes means of what arrived before a moment, as far as the readers have
// come, until done says that it is enough.
func (r *retention) thin(ctx context.Context, before time.Time, readers []string, done func() bool) (n int, err error) {
	for done == nil || !done() {
		t, err := r.journal.Thin(ctx, journal.Thinning{Before: before, Readers: readers, Limit: retentionBatch})
		if err != nil {
			return n, err
		}
		n += t.Gone
		r.means.Add(float64(t.Gone))
		if t.Looked < retentionBatch || !rest(ctx) {
			break
		}
	}
	return n, ctx.Err()
}

// fit brings the journal under its size, by the least that is lost.
func (r *retention) fit(ctx context.Context, now time.Time) error {
	bound := float64(r.Size) * sizeShare
	if r.within(ctx, bound) {
		return nil
	}
	fits := func() bool { return r.within(ctx, bound*sizeEase) }
	n, err := r.thin(ctx, now.Add(-rawLeast), r.readers, fits)
	if err != nil {
		return err
	}
	if n > 0 {
		r.log.Warn("the journal reached its size: readings were made hourly means before their time", "readings", n, "size", r.Size)
	}
	if fits() {
		return nil
	}
	if err := r.drop(ctx, fits); err != nil || fits() {
		return err
	}
	if len(r.readers) > 0 {
		n, err := r.thin(ctx, now.Add(-rawLeast), nil, fits)
		if err != nil {
			return err
		}
		if n > 0 {
			r.missed.Add(float64(n))
			detail := fmt.Sprintf("the size limit of the journal left no choice: %d readings were thinned that InfluxDB has not had", n)
			r.log.Error(detail)
			if err := r.mark(ctx, markMissed, detail); err != nil {
				return err
			}
		}
	}
	if !fits() {
		r.log.Error("the journal cannot be kept within its size: the last day alone takes more", "size", r.Size)
	}
	return nil
}

// drop removes the oldest means.
func (r *retention) drop(ctx context.Context, done func() bool) error {
	total, upTo := 0, time.Time{}
	for !done() {
		gone, newest, err := r.journal.DropMeans(ctx, retentionBatch)
		if err != nil {
			return err
		}
		if gone == 0 {
			break
		}
		total, upTo = total+gone, newest
		r.dropped.Add(float64(gone))
		if !rest(ctx) {
			break
		}
	}
	if total > 0 {
		r.log.Warn("the journal reached its size: the oldest hourly means were removed", "means", total, "up_to", upTo)
	}
	return ctx.Err()
}

// within tells whether the journal takes no more than so many bytes. One that
// cannot be measured is not pruned for its size.
func (r *retention) within(ctx context.Context, bytes float64) bool {
	size, err := r.journal.Size(ctx)
	return err != nil || float64(size) <= bytes
}

// rest lets others have the journal; false when ctx has ended.
func rest(ctx context.Context) bool {
	timer := time.NewTimer(retentionRest)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
