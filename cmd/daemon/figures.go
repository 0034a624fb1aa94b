package daemon

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/alert"
)

// The figures of the alarm system as metrics: over the thirty days that
// ANSI/ISA-18.2 asks for, or since spile began, and worked out once a minute
// however often they are scraped.
const (
	figuresFresh  = time.Minute
	figuresWithin = 10 * time.Second
)

// figures shows how the alarm system did.
type figures struct {
	steps func(ctx context.Context, from, to time.Time) ([]alert.Transition, error)
	began func(ctx context.Context) (time.Time, error)
	clock func() time.Time
	zone  *time.Location
	log   *slog.Logger

	mu     sync.Mutex // guards what follows
	report alert.FiguresReport
	at     time.Time
}

// figure is one of them.
type figure struct {
	name, help string
	value      func(alert.FiguresReport) float64
}

func figureList() []figure {
	return []figure{
		{"calls_per_day", "Calls a day over thirty days.",
			func(r alert.FiguresReport) float64 { return r.CallsPerDay }},
		{"night_calls", "Calls between 22:00 and 07:00 over thirty days.",
			func(r alert.FiguresReport) float64 { return float64(r.NightCalls) }},
		{"top_share_ratio", "Share of the ten alarms that call most in all calls of thirty days.",
			func(r alert.FiguresReport) float64 { return r.TopShare }},
		{"chattering", "Alarms that called three times within an hour, in thirty days.",
			func(r alert.FiguresReport) float64 { return float64(len(r.Chattering)) }},
		{"stale", "Alarms that stood for more than a day, in thirty days.",
			func(r alert.FiguresReport) float64 { return float64(len(r.Stale)) }},
		{"flood_ratio", "Share of the time in which alarms came in a flood, of thirty days.",
			func(r alert.FiguresReport) float64 { return r.FloodShare }},
	}
}

// register adds the metrics.
func (f *figures) register(r prometheus.Registerer) {
	for _, one := range figureList() {
		r.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
			Name: "spile_alarm_system_" + one.name, Help: one.help,
		}, func() float64 { return one.value(f.newest()) }))
	}
}

// newest is the report, not older than a minute unless the journal fails.
func (f *figures) newest() alert.FiguresReport {
	f.mu.Lock()
	defer f.mu.Unlock()
	now := f.clock().In(f.zone)
	if !f.at.IsZero() && now.Sub(f.at) < figuresFresh {
		return f.report
	}
	ctx, cancel := context.WithTimeout(context.Background(), figuresWithin)
	defer cancel()
	began, err := f.began(ctx)
	from := alert.FiguresFrom(began, now).In(f.zone)
	var steps []alert.Transition
	if err == nil {
		steps, err = f.steps(ctx, from.Add(-alert.FiguresLookBack), now)
	}
	if err != nil {
		f.log.Error("the figures of the alarm system cannot be worked out", "error", err)
		return f.report
	}
	f.report, f.at = alert.Figures(steps, from, now), now
	return f.report
}
