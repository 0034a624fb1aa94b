package alert

import (
	"runtime"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/detect"
)

// Collector shows a View as Prometheus metrics, in base units. It holds no state: each scrape reads the view.
//
// spile_alarm_state is bounded and never absent: every tank has, for each alarm of the catalogue, the series
// unacknowledged at the alarm's default priority, 1 while it calls and else 0, so that a rule can be written before
// the first alarm. Every alarm that is not normal has one more series, at 1, for the priority and state it is in.
// Alarms of the cellar, which belong to no tank, have an empty tank.
type Collector struct {
	view    func() View
	clock   func() time.Time
	version string
	shows   descriptions
}

// NewCollector makes a Collector. The view must be safe to ask for from any goroutine; the clock gives the time of the
// scrape.
func NewCollector(view func() View, clock func() time.Time, version string) *Collector {
	return &Collector{view: view, clock: clock, version: version, shows: describe()}
}

// descriptions are the metrics that the Collector shows.
type descriptions struct {
	gravity, temperature, pressure, setpoint, co2 *prometheus.Desc // of a tank
	alarm, age, build                             *prometheus.Desc
}

func describe() descriptions {
	tank := func(name, help string) *prometheus.Desc {
		return prometheus.NewDesc("spile_tank_"+name, help, []string{"tank"}, nil)
	}
	return descriptions{
		gravity:     tank("gravity_ratio", "Newest gravity of the beer, SG 20/20; absent while its probe is silent or out."),
		temperature: tank("temperature_celsius", "Newest temperature; absent while its probe is silent or out."),
		pressure:    tank("pressure_pascals", "Newest head pressure above the atmosphere; absent while its probe is silent or out."),
		setpoint:    tank("crash_setpoint_celsius", "Crash setpoint of the beer in force."),
		co2:         tank("co2_production_grams_per_liter_day", "CO2 that the beer makes, g/L per day, where it can be told."),
		alarm: prometheus.NewDesc("spile_alarm_state",
			"1 for the state an alarm is in; unacknowledged at its default priority is always there.",
			[]string{"tank", "alarm", "priority", "state"}, nil),
		age: prometheus.NewDesc("spile_reading_age_seconds",
			"Time since anything arrived from a probe that is in its tank.", []string{"tank", "probe"}, nil),
		build: prometheus.NewDesc("spile_build_info",
			"1, with the version of spile and of Go it was built with.", []string{"version", "goversion"}, nil),
	}
}

// Describe lists the metrics.
func (c *Collector) Describe(out chan<- *prometheus.Desc) {
	s := c.shows
	for _, d := range []*prometheus.Desc{s.gravity, s.temperature, s.pressure, s.setpoint, s.co2, s.alarm, s.age, s.build} {
		out <- d
	}
}

// Collect reads the view.
func (c *Collector) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, value float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
	}
	gauge(c.shows.build, 1, c.version, runtime.Version())
	view, now := c.view(), c.clock()
	for _, t := range view.Tanks {
		c.collectTank(gauge, t, now)
		for _, p := range t.Probes {
			if !p.Out && !p.LastHeard.IsZero() {
				gauge(c.shows.age, max(now.Sub(p.LastHeard), 0).Seconds(), t.Tank, p.Probe)
			}
		}
	}
	for series, value := range alarmStates(view) {
		gauge(c.shows.alarm, value, series.tank, string(series.alarm), string(series.priority), string(series.state))
	}
}

// speaks tells whether a tank's newest reading may stand for the present: one of a silent probe would be drawn as a flat
// line for as long as spile runs.
func speaks(t TankView, l detect.Latest, now time.Time) bool {
	for _, p := range t.Probes {
		if p.Probe == l.Probe && (p.Out || now.Sub(p.LastHeard) > SilentAtAll) {
			return false
		}
	}
	return !slices.ContainsFunc(t.Incidents, func(i Incident) bool { return i.Silence() && i.Probe == l.Probe })
}

// collectTank shows a tank's newest figures; what it lacks, or nobody hears any more, is absent.
func (c *Collector) collectTank(gauge func(*prometheus.Desc, float64, ...string), t TankView, now time.Time) {
	const pascalsPerKPa = 1000
	for q, show := range map[detect.Quantity]struct {
		desc  *prometheus.Desc
		scale float64
	}{
		detect.Gravity: {c.shows.gravity, 1}, detect.Temperature: {c.shows.temperature, 1}, detect.Pressure: {c.shows.pressure, pascalsPerKPa},
	} {
		if latest, ok := t.Last[q]; ok && speaks(t, latest, now) {
			gauge(show.desc, latest.Value*show.scale, t.Tank)
		}
	}
	if t.SetpointCelsius != nil {
		gauge(c.shows.setpoint, *t.SetpointCelsius, t.Tank)
	}
	if t.CO2Rate != nil {
		gauge(c.shows.co2, t.CO2Rate.Value, t.Tank)
	}
}

// alarmSeries names one series of spile_alarm_state.
type alarmSeries struct {
	tank     string
	alarm    detect.Alarm
	priority detect.Priority
	state    State
}

// alarmStates are the series of spile_alarm_state. Two probes' alarms in one state are one series.
func alarmStates(view View) map[alarmSeries]float64 {
	out := map[alarmSeries]float64{}
	for _, d := range catalogue {
		if d.Scope == Cellar {
			out[alarmSeries{"", d.Alarm, d.Priority, Unacknowledged}] = 0
			continue
		}
		for _, t := range view.Tanks {
			out[alarmSeries{t.Tank, d.Alarm, d.Priority, Unacknowledged}] = 0
		}
	}
	for _, i := range view.Incidents {
		out[alarmSeries{i.Tank, i.Alarm, i.Priority, i.State}] = 1
	}
	return out
}
