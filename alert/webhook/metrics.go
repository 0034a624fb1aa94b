package webhook

import (
	"fmt"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics are those of one Sender. Every series exists from the start.
type metrics struct {
	deliveries *prometheus.CounterVec
}

// newMetrics registers the metrics. How a webhook stands is read off its lane when it is asked for.
func newMetrics(r prometheus.Registerer, lanes []*lane, clock func() time.Time) (*metrics, error) {
	m := &metrics{deliveries: prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "spile_webhook_deliveries_total",
		Help: "Attempts to deliver a message, by outcome: delivered, retry, dead.",
	}, []string{"webhook", "outcome"})}
	collectors := []prometheus.Collector{m.deliveries}
	for _, l := range lanes {
		for _, result := range results() {
			m.deliveries.WithLabelValues(l.target.name, string(result))
		}
		for _, g := range gauges() {
			collectors = append(collectors, prometheus.NewGaugeFunc(prometheus.GaugeOpts{
				Name: g.name, Help: g.help, ConstLabels: prometheus.Labels{"webhook": l.target.name},
			}, func() float64 {
				now := clock()
				return g.value(l.record.standing(l.target.name, now), now)
			}))
		}
	}
	for _, c := range collectors {
		if err := r.Register(c); err != nil {
			return nil, fmt.Errorf("webhook metrics: %w", err)
		}
	}
	return m, nil
}

// gauge is one figure of a webhook's standing.
type gauge struct {
	name, help string
	value      func(s Standing, now time.Time) float64
}

func gauges() []gauge {
	return []gauge{
		{"spile_webhook_oldest_pending_seconds", "Age of the oldest message that waits for its webhook, 0 when none does.",
			func(s Standing, now time.Time) float64 { return age(s.Oldest, now) }},
		{"spile_webhook_pending_messages", "Messages that wait for their webhook.",
			func(s Standing, _ time.Time) float64 { return float64(s.Waiting) }},
		{"spile_webhook_stuck_seconds", "Time since a queue of the webhook sticks, or it is dead, 0 when it takes messages.",
			func(s Standing, now time.Time) float64 { return age(s.Since, now) }},
		{"spile_webhook_dead", "1 when the webhook has answered that it wants no more messages.",
			func(s Standing, _ time.Time) float64 {
				if s.Dead {
					return 1
				}
				return 0
			}},
	}
}

// age is how long a moment lies back, zero where there is none.
func age(at, now time.Time) float64 {
	if at.IsZero() {
		return 0
	}
	return max(now.Sub(at), 0).Seconds()
}

// count notes the outcome of one attempt.
func (m *metrics) count(webhook string, r Result) {
	m.deliveries.WithLabelValues(webhook, string(r)).Inc()
}
