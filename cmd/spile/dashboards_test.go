package main

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// panel is one of a dashboard, as far as its queries go.
type panel struct {
	Title   string
	Targets []struct{ Expr string }
}

// panels are those of every dashboard.
func panels(t *testing.T) []panel {
	t.Helper()
	files, err := filepath.Glob("../../deploy/grafana/dashboards/*.json")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var all []panel
	for _, file := range files {
		body, err := os.ReadFile(file)
		require.NoError(t, err)
		var dashboard struct{ Panels []panel }
		require.NoError(t, json.Unmarshal(body, &dashboard), file)
		require.NotEmpty(t, dashboard.Panels, file)
		all = append(all, dashboard.Panels...)
	}
	return all
}

// everything is a spile with all that it can be asked to do, one tank of which ferments anew.
func everything(t *testing.T) *process {
	t.Helper()
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	phone := newReceiver(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "token"), []byte("made-up"), 0o600))
	path := filepath.Join(dir, "spile.yaml")
	require.NoError(t, os.WriteFile(path, []byte(strings.NewReplacer("BROKER", broker.URL, "PHONE", phone.URL).Replace(`
site: north-quay
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {broker: "BROKER"}
influx: {url: "http://127.0.0.1:1", org: none, bucket: cellar, token_file: token}
heartbeat: {url: "PHONE", every: 5m}
tanks:
  FV3: {beer: 20 hL, headspace: 2 hL, relief: 200 kPa, sealed: true}
webhooks:
  - {name: phone, url: "PHONE", priority: medium}
`)), 0o600))
	p := spawn(t, "run", "--config", path)
	p.ready()
	probe := connect(t, broker.URL, "cellar")
	for _, m := range night(t) {
		token := probe.Publish(m.Topic, 1, false, m.Payload)
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	for _, payload := range []string{`{"gravity":1.0118,"battery":87,"signal":-71}`, "wet"} { // what is refused is answered too
		token := probe.Publish("cellar/FV3/hyd-1", 1, false, payload)
		require.True(t, token.WaitTimeout(10*time.Second), payload)
	}
	return p
}

// shelve keeps the alarm that is called quiet.
func (p *process) shelve() {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return len(p.alarms()) > 0 }, time.Minute, 100*time.Millisecond)
	answer, err := http.Post(p.url+"/api/v1/alarms/"+p.alarms()[0].ID+"/shelve", "application/json", //nolint:noctx // a test's own server
		strings.NewReader(`{"for":"1h","why":"a test"}`))
	require.NoError(p.t, err)
	require.NoError(p.t, answer.Body.Close())
	require.Equal(p.t, http.StatusOK, answer.StatusCode)
}

// Each query of each panel, and each metric of the rules, asked of a Prometheus that scrapes a spile.
func TestEveryPanelAndRuleHasData(t *testing.T) {
	p := everything(t)
	scrape := servertest.Prometheus(t, p.url+"/metrics")
	p.shelve()
	scrape.Await(`spile_alarm_state{tank="FV3",state="shelved"} == 1`)
	scrape.Await(`rate(spile_refusals_total[30s])`) // two scrapes
	words := strings.NewReplacer("$tank", "FV3", "$__rate_interval", "30s")
	for _, p := range panels(t) {
		require.NotEmpty(t, p.Targets, p.Title)
		for _, target := range p.Targets {
			assert.NotEmpty(t, scrape.Query(words.Replace(target.Expr)), "%s: %s", p.Title, target.Expr)
		}
	}
	boards, err := os.ReadFile("../../deploy/grafana/dashboards/tank.json")
	require.NoError(t, err)
	names := regexp.MustCompile(`label_values\((\w+), tank\)`).FindSubmatch(boards)
	require.NotNil(t, names, "the tanks to choose from")
	assert.NotEmpty(t, scrape.Query(string(names[1])+`{tank="FV3"}`), "%s", names[1])
	rules, err := os.ReadFile("../../deploy/prometheus/spile.rules.yml")
	require.NoError(t, err)
	for _, metric := range regexp.MustCompile(`\bspile_\w+`).FindAllString(string(rules), -1) {
		assert.NotEmpty(t, scrape.Query(metric), metric)
	}
}

// A Prometheus scrapes other programs too, which have metrics of the same names.
func TestEveryPanelIsOfSpileAlone(t *testing.T) {
	for _, p := range panels(t) {
		for _, target := range p.Targets {
			assert.Contains(t, target.Expr, "spile_", "%s: %s", p.Title, target.Expr)
		}
	}
}

// What a Prometheus over several sites does not take from them, its rules never see: then a dead spile is nobody's alarm.
func TestWhatTheRulesAskForIsFederated(t *testing.T) {
	body, err := os.ReadFile("../../deploy/prometheus/federation.yml")
	require.NoError(t, err)
	assert.Contains(t, string(body), `match[]: ['{__name__=~"spile_.*"}', 'up{job="spile"}']`)
	rules, err := os.ReadFile("../../deploy/prometheus/spile.rules.yml")
	require.NoError(t, err)
	for _, asked := range regexp.MustCompile(`(?m)^ +expr: .*`).FindAllString(string(rules), -1) {
		assert.Regexp(t, `\bspile[_:]|\bup\{job="spile"\}`, asked)
	}
}

func TestTheRulesHoldTheirTests(t *testing.T) {
	const folder = "../../deploy/prometheus/"
	require.NoError(t, servertest.PromtoolRules(t, folder+"spile.rules.yml", folder+"spile.rules.test.yml", folder+"prometheus.yml"))
}
