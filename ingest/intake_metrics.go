package ingest

import (
	"errors"

	"github.com/prometheus/client_golang/prometheus"

	"spile/ingest/journal"
)

// intakeMetrics counts what became of what was heard, after the commit.
type intakeMetrics struct {
	readings *prometheus.CounterVec // source, outcome
	events   *prometheus.CounterVec // outcome
	refusals *prometheus.CounterVec // source, reason
	commit   prometheus.Histogram
	stamina  *staminaMetrics
}

// newIntakeMetrics makes the metrics and registers them where reg is given.
func newIntakeMetrics(reg prometheus.Registerer, queued func() float64) (*intakeMetrics, error) {
	m := &intakeMetrics{
		stamina: newStaminaMetrics(),
		readings: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "spile_readings_total",
			Help: "Readings heard, by the source's pattern and what became of them; counted after the commit.",
		}, []string{"source", "outcome"}),
		events: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "spile_log_events_total",
			Help: "Cellar-log events heard, by what became of them; counted after the commit.",
		}, []string{"outcome"}),
		refusals: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "spile_refusals_total",
			Help: "Messages, or values in them, that were refused, by the source's pattern and the reason.",
		}, []string{"source", "reason"}),
		commit: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    "spile_journal_commit_seconds",
			Help:    "Time that one commit of the journal took.",
			Buckets: []float64{1e-4, 2.5e-4, 5e-4, 1e-3, 2.5e-3, 5e-3, 1e-2, 2.5e-2, 5e-2, 0.1, 0.25, 0.5, 1, 2.5, 5, 10},
		}),
	}
	queue := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "spile_intake_queue_messages",
		Help: "Messages that wait for the journal's writer.",
	}, queued)
	for _, o := range []journal.Outcome{journal.Accepted, journal.Repeat, journal.Conflict} {
		m.events.WithLabelValues(string(o))
	}
	if reg == nil {
		return m, nil
	}
	var err error
	for _, c := range []prometheus.Collector{m.readings, m.events, m.refusals, m.commit, queue, m.stamina.battery, m.stamina.signal} {
		err = errors.Join(err, reg.Register(c))
	}
	return m, err
}

// foretell makes the series of known sources stand at zero before the first
// message, so that a first increase can be seen.
func (m *intakeMetrics) foretell(sources []string) {
	outcomes := []journal.Outcome{journal.Accepted, journal.Repeat, journal.Conflict, journal.Late, journal.Refused}
	for _, s := range sources {
		for _, o := range outcomes {
			m.readings.WithLabelValues(s, string(o))
		}
	}
}

// count adds what the journal took of one job; refuse adds the rest. Acts and
// marks are not heard from outside and not counted.
func (m *intakeMetrics) count(source string, s settled) {
	for i, e := range s.entries {
		switch {
		case s.outcomes[i] == journal.Refused:
		case e.Reading != nil:
			m.readings.WithLabelValues(source, string(s.outcomes[i])).Inc()
		case e.Event != nil:
			m.events.WithLabelValues(string(s.outcomes[i])).Inc()
		}
	}
}

// refuse counts one refusal, as a reading refused too: what a message would
// have brought cannot be told when it cannot be read.
func (m *intakeMetrics) refuse(r Refusal) {
	m.readings.WithLabelValues(r.Source, string(journal.Refused)).Inc()
	m.refusals.WithLabelValues(r.Source, r.Reason).Inc()
}
