package servertest

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const goodMetrics = `# HELP spile_tank_temperature_celsius Temperature of the beer.
# TYPE spile_tank_temperature_celsius gauge
spile_tank_temperature_celsius{tank="FV1"} 14.5
`

func TestPrometheusScrapesTheTarget(t *testing.T) {
	target := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		_, _ = fmt.Fprint(w, goodMetrics)
	}))
	t.Cleanup(target.Close)
	s := Prometheus(t, target.URL+"/metrics")

	got := s.Await(`spile_tank_temperature_celsius{tank="FV1"}`)
	require.Len(t, got, 1)
	assert.InDelta(t, 14.5, got[0].Value, 0)
	assert.Equal(t, "FV1", got[0].Labels["tank"])
	assert.Empty(t, s.Query("no_such_series"))
}

func TestPromtoolJudgesMetrics(t *testing.T) {
	require.NoError(t, Promtool(t, goodMetrics))
	require.ErrorContains(t, Promtool(t, "temp_fahrenheit_total{tank=\"FV1\"} 58\n"), "help")
}
