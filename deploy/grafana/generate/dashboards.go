package main

import (
	"bytes"
	"encoding/json"
	"fmt"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// dashboards are the files to write, by name.
func dashboards() (map[string][]byte, error) {
	files := map[string][]byte{}
	for name, b := range map[string]*dashboard.DashboardBuilder{
		"cellar.json": cellar(), "tank.json": tank(), "health.json": health(),
	} {
		built, err := b.Build()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		for i, p := range built.Panels { // so that a link to one panel holds
			id := uint32(i + 1) //nolint:gosec // a dashboard has a dozen
			p.Panel.Id = &id
		}
		var body bytes.Buffer
		w := json.NewEncoder(&body)
		w.SetEscapeHTML(false)
		w.SetIndent("", " ")
		if err := w.Encode(built); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		files[name] = body.Bytes()
	}
	return files, nil
}

// begin is what all dashboards share.
func begin(uid, title, span string, panels ...cog.Builder[dashboard.Panel]) *dashboard.DashboardBuilder {
	d := dashboard.NewDashboardBuilder(title).Uid(uid).Tags([]string{"spile"}).Refresh("30s").Time("now-"+span, "now").
		Timezone("browser").Readonly().WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Prometheus").Type("prometheus"))
	for _, p := range panels {
		d.WithPanel(p)
	}
	return d
}

const (
	calling    = `spile_alarm_state{state="unacknowledged"}`
	ofThisTank = `{tank="$tank"}`
)

// cellar is every tank at a glance.
func cellar() *dashboard.DashboardBuilder {
	return begin("spile-cellar", "spile: cellar", "24h",
		number(look{title: "Alarms that want an answer", says: "Called, and nobody has answered.", unit: "none", width: 6},
			query{"sum(" + calling + ")", ""}),
		number(look{title: "Critical ones", unit: "none", width: 6}, query{`sum(spile_alarm_state{state="unacknowledged",priority="critical"})`, ""}),
		number(look{title: "Kept quiet", says: "Shelved by a person, for a time.", unit: "none", width: 6}, query{`sum(spile_alarm_state{state="shelved"})`, ""}),
		number(look{title: "Longest silence of a probe", unit: "s", width: 6}, query{"max(spile_reading_age_seconds)", ""}),
		curve(look{title: "Alarms that want an answer, by tank", says: "1: it wants one.", unit: "none", width: 24, step: true},
			query{"max by (tank, alarm) (" + calling + ") > 0 or max by (tank) (" + calling + ")", "{{tank}} {{alarm}}"}),
		curve(look{title: "Gravity", says: "SG 20/20.", unit: "none", decimals: 4, width: 12}, query{"spile_tank_gravity_ratio", "{{tank}}"}),
		curve(look{title: "Beer temperature", unit: "celsius", decimals: 1, width: 12}, query{"spile_tank_temperature_celsius", "{{tank}}"}),
		curve(look{title: "Head pressure", says: "Gauge.", unit: "pressurekpa", decimals: 1, width: 12}, query{"spile_tank_pressure_pascals / 1000", "{{tank}}"}),
		curve(look{title: "CO2 made", says: "g/L of beer a day, where it can be told.", unit: "none", decimals: 2, width: 12},
			query{"spile_tank_co2_production_grams_per_liter_day", "{{tank}}"}),
	)
}

// tank is one tank, chosen by name.
func tank() *dashboard.DashboardBuilder {
	names := "label_values(spile_reading_age_seconds, tank)"
	text := dashboard.StringOrMap{String: &names}
	return begin("spile-tank", "spile: one tank", "7d",
		curve(look{title: "Gravity", says: "SG 20/20.", unit: "none", decimals: 4, width: 24}, query{"spile_tank_gravity_ratio" + ofThisTank, "gravity"}),
		curve(look{title: "Beer temperature and its setpoint", unit: "celsius", decimals: 1, width: 24},
			query{"spile_tank_temperature_celsius" + ofThisTank, "beer"}, query{"spile_tank_crash_setpoint_celsius" + ofThisTank, "setpoint"}),
		curve(look{title: "Head pressure", says: "Gauge.", unit: "pressurekpa", decimals: 1, width: 12},
			query{"spile_tank_pressure_pascals" + ofThisTank + " / 1000", "head"}),
		curve(look{title: "CO2 made", says: "g/L of beer a day.", unit: "none", decimals: 2, width: 12},
			query{"spile_tank_co2_production_grams_per_liter_day" + ofThisTank, "CO2"}),
		curve(look{title: "Alarms of this tank", says: "1: it stands in that state.", unit: "none", width: 12, step: true},
			query{`max by (alarm, state) (spile_alarm_state{tank="$tank",state!="normal"})`, "{{alarm}} {{state}}"}),
		curve(look{title: "Silence of its probes", unit: "s", width: 12}, query{"spile_reading_age_seconds" + ofThisTank, "{{probe}}"}),
		curve(look{title: "Batteries of its probes", says: "Of those that say it.", unit: "percentunit", width: 12}, query{"spile_probe_battery_ratio" + ofThisTank, "{{probe}}"}),
		curve(look{title: "Signals of its probes", says: "Of those that say it.", unit: "dBm", width: 12}, query{"spile_probe_signal_dbm" + ofThisTank, "{{probe}}"}),
	).WithVariable(dashboard.NewQueryVariableBuilder("tank").Label("Tank").Query(text).Datasource(source()).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc))
}

// health is how spile itself does.
func health() *dashboard.DashboardBuilder {
	return begin("spile-health", "spile: its own health", "6h",
		number(look{title: "Running", says: "1: Prometheus reaches it.", unit: "none", width: 6}, query{"spile_build_info", "{{version}}"}),
		number(look{title: "Oldest message that waits", says: "For a webhook to take it.", unit: "s", width: 6}, query{"max(spile_webhook_oldest_pending_seconds)", ""}),
		number(look{title: "Readings that InfluxDB lacks", unit: "none", width: 6}, query{"spile_influx_lag_readings", ""}),
		number(look{title: "Disk left for the journal", unit: "bytes", width: 6}, query{"spile_journal_disk_free_bytes", ""}),
		curve(look{title: "Readings", says: "By what became of them.", unit: "cps", decimals: 1, width: 12},
			query{"sum by (outcome) (rate(spile_readings_total[$__rate_interval]))", "{{outcome}}"}),
		curve(look{title: "Refused messages", says: "The newest stand at /api/v1/refusals, with the mend.", unit: "cps", decimals: 2, width: 12},
			query{"sum by (reason) (rate(spile_refusals_total[$__rate_interval]))", "{{reason}}"}),
		curve(look{title: "Time of a commit", says: "Before a probe is answered, its reading is on disk.", unit: "s", decimals: 3, width: 12},
			query{"histogram_quantile(0.5, sum by (le) (rate(spile_journal_commit_seconds_bucket[$__rate_interval])))", "half are faster"},
			query{"histogram_quantile(0.99, sum by (le) (rate(spile_journal_commit_seconds_bucket[$__rate_interval])))", "99 of 100 are faster"}),
		curve(look{title: "Messages that wait to be written", unit: "none", width: 12}, query{"spile_intake_queue_messages", "messages"}),
		curve(look{title: "Webhooks", says: "Deliveries, by what came of them.", unit: "cps", decimals: 2, width: 12},
			query{"sum by (webhook, outcome) (rate(spile_webhook_deliveries_total[$__rate_interval]))", "{{webhook}} {{outcome}}"}),
		curve(look{title: "Silence of probes", says: "The ten longest.", unit: "s", width: 12}, query{"topk(10, spile_reading_age_seconds)", "{{tank}} {{probe}}"}),
		curve(look{title: "Calls a day", says: "Over the last thirty days, or since spile began: what a person bears.", unit: "none", decimals: 2, width: 12},
			query{"spile_alarm_system_calls_per_day", "calls a day"}),
		curve(look{title: "Memory", unit: "bytes", width: 12}, query{"process_resident_memory_bytes and on (job, instance) spile_build_info", "{{instance}}"}),
	)
}
