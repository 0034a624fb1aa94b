package webhook

import (
	"fmt"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics are those of one Sender. Every series exists from the start.
type metrics struct {
	deliveries *prometheus.CounterVec
}

// newMetrics registers the metrics. The age of the oldest message is read off the lanes when it is asked for.
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
		collectors = append(collectors, prometheus.NewGaugeFunc(prometheus.GaugeOpts{
			Name:        "spile_webhook_oldest_pending_seconds",
			Help:        "Age of the oldest message that waits for its webhook, 0 when none does.",
			ConstLabels: prometheus.Labels{"webhook": l.target.name},
		}, func() float64 { return l.oldest.age(clock()).Seconds() }))
	}
	for _, c := range collectors {
		if err := r.Register(c); err != nil {
			return nil, fmt.Errorf("webhook metrics: %w", err)
		}
	}
	return m, nil
}

// count notes the outcome of one attempt.
func (m *metrics) count(webhook string, r Result) {
	m.deliveries.WithLabelValues(webhook, string(r)).Inc()
}

// moment is a time, or none, that one goroutine sets and others read.
type moment struct{ at atomic.Pointer[time.Time] }

func (m *moment) set(at time.Time) { m.at.Store(&at) }

func (m *moment) clear() { m.at.Store(nil) }

// age is how long the moment lies back, zero where there is none.
func (m *moment) age(now time.Time) time.Duration {
	if at := m.at.Load(); at != nil {
		return max(now.Sub(*at), 0)
	}
	return 0
}
