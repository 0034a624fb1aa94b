package main

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// TestSitesShareABrokerAndAStore divides one broker by topic between two sites,
// whose tanks bear the same name, and copies both to one InfluxDB.
func TestSitesShareABrokerAndAStore(t *testing.T) {
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	store := servertest.Influx(t)
	phone := newPhone(t)
	spiles := map[string]*process{}
	for _, site := range []string{"north-quay", "hill-street"} {
		token := configFile(t, "%s", store.Token)
		spiles[site] = spawn(t, "run", "--config", configFile(t, `
site: %[1]s
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {broker: %[2]q, client_id: spile-%[1]s}
influx: {url: %[3]q, org: none, bucket: %[4]s, token_file: %[5]s}
sources:
  - topic: %[1]s/{tank}/{probe}
    fields:
      gravity: {at: /gravity}
      pressure: {at: /pressure}
tanks:
  FV3: {beer: 20 hL, headspace: 2 hL, relief: 100 kPa, sealed: true}
alarms: {over-pressure: {on_delay: 0s}}
webhooks: [{name: phone, url: %[6]q, priority: critical}]
`, site, broker.URL, store.URL, store.Bucket, token, phone.URL))
		spiles[site].ready()
	}
	probe := connect(t, broker.URL, "probes")
	for topic, payload := range map[string]string{
		"north-quay/FV3/hyd-1": `{"gravity":1.0118}`, "hill-street/FV3/hyd-1": `{"gravity":1.0520}`, "hill-street/FV3/head-1": `{"pressure":104}`,
	} {
		token := probe.Publish(topic, 1, false, payload)
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	for site, want := range map[string]float64{"north-quay": 1.0118, "hill-street": 1.0520} {
		require.Eventually(t, func() bool { return len(spiles[site].readings("?quantity=gravity")) > 0 }, time.Minute, 20*time.Millisecond)
		got := spiles[site].readings("?quantity=gravity")
		require.Len(t, got, 1, "a site hears its own")
		assert.Equal(t, want, got[0].Value)
		requireOfSite(t, store, site, want)
	}
	// A Prometheus of the site, and one over all sites that takes from it.
	local := servertest.Prometheus(t, spiles["north-quay"].url+"/metrics")
	over := servertest.Prometheus(t, local.URL+"/federate?match[]="+url.QueryEscape(`{__name__=~"spile_.*"}`))
	got := over.Await(`spile_tank_gravity_ratio{tank="FV3"} > 1`)
	require.Len(t, got, 1)
	assert.Equal(t, 1.0118, got[0].Value)

	require.Eventually(t, func() bool { return len(phone.calls("FV3")) == 1 }, time.Minute, 20*time.Millisecond)
	_, body := spiles["north-quay"].fetch("/api/v1/alarms")
	assert.NotContains(t, string(body), "over-pressure", "its FV3 is another tank")
	for _, p := range spiles {
		status, _ := p.fetch("/readyz")
		assert.Equal(t, http.StatusOK, status, "neither has pushed the other off the broker")
		p.Stop()
	}
}

// requireOfSite finds a site's gravity in the store that it shares.
func requireOfSite(t *testing.T, store *servertest.InfluxServer, site string, want float64) {
	t.Helper()
	client := influxdb2.NewClient(store.URL, store.Token)
	defer client.Close()
	query := `from(bucket: "` + store.Bucket + `") |> range(start: -1h) |> filter(fn: (r) => r._measurement == "cellar" and r.site == "` +
		site + `" and r._field == "gravity")`
	var got []any
	require.Eventually(t, func() bool {
		got = nil
		rows, err := client.QueryAPI("none").Query(t.Context(), query)
		if err != nil {
			return false
		}
		for rows.Next() {
			got = append(got, rows.Record().Value())
		}
		return len(got) > 0
	}, time.Minute, 100*time.Millisecond)
	assert.Equal(t, []any{want}, got)
}
