package influx

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// metrics are the forwarder's figures, in one registry.
type metrics struct {
	refused prometheus.Counter
}

// newMetrics registers the figures. The lag is asked for at each scrape: it
// grows while nothing is sent, and is no number where the journal cannot tell.
func newMetrics(r prometheus.Registerer, lag func(context.Context) (float64, error)) (*metrics, error) {
	m := &metrics{refused: prometheus.NewCounter(prometheus.CounterOpts{
		Name: "spile_influx_refused_readings_total",
		Help: "Readings that InfluxDB did not take and that were set aside in the journal.",
	})}
	gauge := prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "spile_influx_lag_readings",
		Help: "Entries of the journal not yet copied to InfluxDB: readings, and the few log events among them.",
	}, func() float64 {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		n, err := lag(ctx)
		if err != nil {
			return math.NaN()
		}
		return n
	})
	return m, errors.Join(r.Register(m.refused), r.Register(gauge))
}
