package main

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// receiver is a webhook that keeps what it was sent.
type receiver struct {
	*httptest.Server
	mu   sync.Mutex
	got  []delivery
	news chan struct{}
}

// delivery is one request as it came.
type delivery struct {
	header http.Header
	body   []byte
	at     time.Time
}

func newReceiver(t *testing.T) *receiver {
	t.Helper()
	r := &receiver{news: make(chan struct{}, 64)}
	r.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		body, _ := io.ReadAll(q.Body)
		r.mu.Lock()
		r.got = append(r.got, delivery{q.Header, body, time.Now()})
		r.mu.Unlock()
		r.news <- struct{}{}
		w.WriteHeader(http.StatusNoContent)
	}))
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) all() []delivery {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]delivery(nil), r.got...)
}

// connect gives a publisher to a broker.
func connect(t *testing.T, broker, name string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(broker).SetClientID(name).SetAutoReconnect(false))
	token := c.Connect()
	require.True(t, token.WaitTimeout(10*time.Second))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// webhookSecret is made up for these tests.
const webhookSecret = "whsec_c3BpbGUtdGVzdC1zZWNyZXQtMDEyMzQ1Njc4OQ=="

func TestOneReadingToOnePhoneCall(t *testing.T) {
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	store := servertest.Influx(t)
	phone := newReceiver(t)
	dir := t.TempDir()
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	write("influx-token", store.Token)
	write("phone-secret", webhookSecret)
	write("spile.yaml", strings.NewReplacer("BROKER", broker.URL, "INFLUX", store.URL, "BUCKET", store.Bucket, "PHONE", phone.URL).Replace(`
site: north-quay
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {broker: "BROKER"}
influx: {url: "INFLUX", org: none, bucket: BUCKET, token_file: influx-token}
tanks:
  FV3: {beer: 20 hL, headspace: 2 hL, relief: 200 kPa, sealed: true}
  FV4: {beer: 20 hL, headspace: 2 hL, relief: 200 kPa, sealed: true}
webhooks:
  - {name: phone, url: "PHONE", secret_file: phone-secret, priority: medium}
`))
	spile := spawn(t, "run", "--config", filepath.Join(dir, "spile.yaml"))
	spile.ready()
	scrape := servertest.Prometheus(t, spile.url+"/metrics")

	messages := night(t)
	probe := connect(t, broker.URL, "cellar")
	for _, m := range messages {
		token := probe.Publish(m.Topic, 1, false, m.Payload)
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	select {
	case <-phone.news:
	case <-time.After(time.Minute):
		t.Fatalf("nobody was called:\n%s", spile.Said())
	}
	requireTheCall(t, phone.all()[0])

	want := countReadings(t, spile, len(messages))
	requireInInflux(t, store, want)
	alarm := scrape.Await(`spile_alarm_state{tank="FV3",alarm="refermentation",state="unacknowledged"} == 1`)
	require.Len(t, alarm, 1)
	accepted := scrape.Await(`sum(spile_readings_total{outcome="accepted"}) == ` + jsonNumber(want))
	require.Len(t, accepted, 1)

	spile.Stop()
	assert.Len(t, phone.all(), 1, "one alarm out, no other:\n%s", spile.Said())
}

// requireTheCall holds a delivery against the published object and signature.
func requireTheCall(t *testing.T, d delivery) {
	t.Helper()
	verifier, err := standardwebhooks.NewWebhook(webhookSecret)
	require.NoError(t, err)
	require.NoError(t, verifier.Verify(d.body, d.header))
	var said struct {
		ID, Tank, Alarm, Priority, From, To, Summary string
		Time, Onset                                  time.Time
		Evidence                                     struct {
			RatePlatoPerDay struct{ Value, Low, High float64 } `json:"rate_plato_per_day"`
			Witnesses       []string
		}
	}
	require.NoError(t, json.Unmarshal(d.body, &said))
	assert.Equal(t, "FV3", said.Tank)
	assert.Equal(t, "refermentation", said.Alarm)
	assert.Equal(t, "high", said.Priority)
	assert.Equal(t, "normal", said.From)
	assert.Equal(t, "unacknowledged", said.To)
	assert.NotEmpty(t, said.ID)
	assert.NotEmpty(t, said.Evidence.Witnesses)
	assert.Positive(t, said.Evidence.RatePlatoPerDay.Value)
	began := time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC)
	assert.WithinDuration(t, began, said.Onset, 10*time.Hour, "yeast woke at %s", began)
}

// countReadings waits until everything published is in the journal.
func countReadings(t *testing.T, p *process, messages int) int {
	t.Helper()
	count := 0
	require.Eventually(t, func() bool {
		before := count
		count = len(p.readings(""))
		return count == before && count > messages
	}, time.Minute, 300*time.Millisecond, "the journal keeps growing")
	return count
}

// requireInInflux reads the store back by Flux until it holds every reading.
func requireInInflux(t *testing.T, store *servertest.InfluxServer, want int) {
	t.Helper()
	client := influxdb2.NewClient(store.URL, store.Token)
	defer client.Close()
	query := `from(bucket: "` + store.Bucket + `") |> range(start: 2026-03-01T00:00:00Z) |> filter(fn: (r) => r._measurement == "cellar") |> group() |> count()`
	require.Eventually(t, func() bool {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		result, err := client.QueryAPI(store.Org).Query(ctx, query)
		if err != nil {
			return false
		}
		defer func() { _ = result.Close() }()
		return result.Next() && result.Record().Value() == int64(want)
	}, time.Minute, 200*time.Millisecond, "InfluxDB does not come to hold %d readings", want)
}

func jsonNumber(n int) string {
	text, _ := json.Marshal(n)
	return string(text)
}
