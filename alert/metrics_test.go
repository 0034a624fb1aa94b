package alert

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// shown is a registry over a view of one tank.
func shown(t *testing.T, v View) *prometheus.Registry {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(NewCollector(func() View { return v }, func() time.Time { return at("02:00") }, "1.2.3")))
	return registry
}

// busy is a view with something of everything.
func busy() View {
	setpoint := 14.4
	tank := TankView{Status: detect.Status{
		Tank: "FV3",
		Last: map[detect.Quantity]detect.Latest{
			detect.Gravity: {Value: 1.0118}, detect.Temperature: {Value: 14.6}, detect.Pressure: {Value: 82},
		},
		SetpointCelsius: &setpoint, CO2Rate: &detect.Interval{Value: 0.62},
		Probes: []detect.ProbeStatus{
			{Probe: "head-3", LastHeard: at("01:59:30")},
			{Probe: "hyd-1", LastHeard: at("01:00")},
			{Probe: "hyd-2", LastHeard: at("01:00"), Out: true},
			{Probe: "new"},
			{Probe: "ahead", LastHeard: at("02:01")},
		},
	}}
	return View{
		At: at("02:00"), Tanks: []TankView{tank},
		Incidents: []Incident{
			{Tank: "FV3", Alarm: detect.Refermentation, Priority: detect.High, State: Unacknowledged},
			{Tank: "FV3", Alarm: detect.ProbeSilent, Probe: "a", Priority: detect.Medium, State: Acknowledged},
			{Tank: "FV3", Alarm: detect.ProbeSilent, Probe: "b", Priority: detect.Medium, State: Acknowledged},
			{Tank: "FV3", Alarm: detect.Leak, Priority: detect.Low, State: Unacknowledged},
			{Alarm: detect.LinkLost, Priority: detect.High, State: Unacknowledged},
		},
	}
}

func TestTankMetricsAreInBaseUnits(t *testing.T) {
	require.NoError(t, testutil.GatherAndCompare(shown(t, busy()), strings.NewReader(`
# HELP spile_reading_age_seconds Time since anything arrived from a probe that is in its tank.
# TYPE spile_reading_age_seconds gauge
spile_reading_age_seconds{probe="ahead",tank="FV3"} 0
spile_reading_age_seconds{probe="head-3",tank="FV3"} 30
spile_reading_age_seconds{probe="hyd-1",tank="FV3"} 3600
# HELP spile_tank_co2_production_grams_per_liter_day CO2 that the beer makes, g/L per day, where it can be told.
# TYPE spile_tank_co2_production_grams_per_liter_day gauge
spile_tank_co2_production_grams_per_liter_day{tank="FV3"} 0.62
# HELP spile_tank_crash_setpoint_celsius Crash setpoint of the beer in force.
# TYPE spile_tank_crash_setpoint_celsius gauge
spile_tank_crash_setpoint_celsius{tank="FV3"} 14.4
# HELP spile_tank_gravity_ratio Newest gravity of the beer, SG 20/20; absent while its probe is silent or out.
# TYPE spile_tank_gravity_ratio gauge
spile_tank_gravity_ratio{tank="FV3"} 1.0118
# HELP spile_tank_pressure_pascals Newest head pressure above the atmosphere; absent while its probe is silent or out.
# TYPE spile_tank_pressure_pascals gauge
spile_tank_pressure_pascals{tank="FV3"} 82000
# HELP spile_tank_temperature_celsius Newest temperature; absent while its probe is silent or out.
# TYPE spile_tank_temperature_celsius gauge
spile_tank_temperature_celsius{tank="FV3"} 14.6
`), "spile_reading_age_seconds", "spile_tank_co2_production_grams_per_liter_day", "spile_tank_crash_setpoint_celsius",
		"spile_tank_gravity_ratio", "spile_tank_pressure_pascals", "spile_tank_temperature_celsius"))
}

func TestNoFigureOutlivesItsProbe(t *testing.T) {
	const gauge = "spile_tank_temperature_celsius"
	for name, tt := range map[string]struct {
		heard string
		out   bool
		state State
		want  int
	}{
		"it speaks":                        {heard: "01:50", want: 1},
		"it spoke hours ago":               {heard: "22:30", want: 0},
		"it is out of the tank":            {heard: "01:50", out: true, want: 0},
		"it is silent beyond its habit":    {heard: "01:10", state: Unacknowledged, want: 0},
		"that is known":                    {heard: "01:10", state: Acknowledged, want: 0},
		"the broker's silence explains it": {heard: "01:10", state: Suppressed, want: 0},
		"it speaks again, nobody saw it":   {heard: "01:50", state: Returned, want: 1},
	} {
		t.Run(name, func(t *testing.T) {
			heard := at(tt.heard)
			if heard.After(at("02:00")) {
				heard = heard.AddDate(0, 0, -1)
			}
			tank := TankView{Status: detect.Status{
				Tank: "FV3", Last: map[detect.Quantity]detect.Latest{detect.Temperature: {Value: 14.6, Probe: "well-3"}},
				Probes: []detect.ProbeStatus{{Probe: "well-3", LastHeard: heard, Out: tt.out}},
			}, Incidents: []Incident{{Alarm: detect.ProbeSilent, Probe: "another", State: Unacknowledged}}}
			if tt.state != "" {
				tank.Incidents = append(tank.Incidents, Incident{Alarm: detect.ProbeSilent, Probe: "well-3", State: tt.state})
			}
			count, err := testutil.GatherAndCount(shown(t, View{Tanks: []TankView{tank}}), gauge)
			require.NoError(t, err)
			assert.Equal(t, tt.want, count)
		})
	}
}

func TestAlarmStates(t *testing.T) {
	got := alarmStates(busy())
	assert.Len(t, got, len(catalogue)+2, "each alarm's own, and two more")
	assert.InDelta(t, 1, got[alarmSeries{"FV3", detect.Refermentation, detect.High, Unacknowledged}], 0)
	assert.InDelta(t, 0, got[alarmSeries{"FV3", detect.Vacuum, detect.Critical, Unacknowledged}], 0)
	assert.InDelta(t, 0, got[alarmSeries{"FV3", detect.ProbeSilent, detect.Medium, Unacknowledged}], 0)
	assert.InDelta(t, 1, got[alarmSeries{"FV3", detect.ProbeSilent, detect.Medium, Acknowledged}], 0)
	assert.InDelta(t, 1, got[alarmSeries{"FV3", detect.Leak, detect.Low, Unacknowledged}], 0)
	assert.InDelta(t, 1, got[alarmSeries{"", detect.LinkLost, detect.High, Unacknowledged}], 0)
}

func TestAnEmptyCellarHasMetricsToo(t *testing.T) {
	count, err := testutil.GatherAndCount(shown(t, View{}))
	require.NoError(t, err)
	assert.Equal(t, 10, count, "the build, the link, the webhooks, the cooling plant and six troubles")
}

func TestMetricsPassTheirLinters(t *testing.T) {
	registry := shown(t, busy())
	problems, err := testutil.GatherAndLint(registry)
	require.NoError(t, err)
	assert.Empty(t, problems)

	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	answer := httptest.NewRecorder()
	promhttp.HandlerFor(registry, promhttp.HandlerOpts{}).ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	check := exec.CommandContext(t.Context(), promtool, "check", "metrics")
	check.Stdin = bytes.NewReader(answer.Body.Bytes())
	said, err := check.CombinedOutput()
	require.NoError(t, err, string(said))
	assert.Empty(t, string(said))
}
