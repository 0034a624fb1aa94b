package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// rows are what a store answers a question in Flux.
func rows(ctx context.Context, store *servertest.InfluxServer, question string) ([]map[string]any, error) {
	client := influxdb2.NewClient(store.URL, store.Token)
	defer client.Close()
	result, err := client.QueryAPI(store.Org).Query(ctx, question)
	if err != nil {
		return nil, err
	}
	defer func() { _ = result.Close() }()
	var all []map[string]any
	for result.Next() {
		all = append(all, result.Record().Values())
	}
	return all, result.Err()
}

func TestTheFluxOfDeployFindsWhatWasRead(t *testing.T) {
	broker, store := servertest.Mosquitto(t, servertest.MosquittoOptions{}), servertest.Influx(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "token"), []byte(store.Token), 0o600))
	config := filepath.Join(dir, "spile.yaml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, `
site: north-quay
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {broker: %q}
influx: {url: %q, org: none, bucket: %q, token_file: token}
`, broker.URL, store.URL, store.Bucket), 0o600))
	p := spawn(t, "run", "--config", config)
	p.ready()
	probe := connect(t, broker.URL, "cellar")
	const hours = 25
	for h := hours; h >= 0; h-- {
		at := time.Now().Add(-time.Duration(h)*time.Hour - time.Minute).UTC()
		body := fmt.Sprintf(`{"time":%q,"gravity":%.4f,"temperature":%.1f,"pressure":80}`, at.Format(time.RFC3339), 1.0100+float64(h)*1e-4, 14+float64(h)/10)
		token := probe.Publish("cellar/FV3/hyd-3", 1, false, body)
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
	}
	ask := func(file string) []map[string]any {
		question, err := os.ReadFile(filepath.Join("../../deploy/influx", file))
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		found, err := rows(ctx, store, strings.ReplaceAll(string(question), `bucket: "cellar"`, `bucket: "`+store.Bucket+`"`))
		require.NoError(t, err, file)
		return found
	}
	require.Eventually(t, func() bool { return len(ask("gravity-by-hour.flux")) >= hours }, time.Minute, 200*time.Millisecond)

	newest := map[any]any{}
	for _, r := range ask("newest.flux") {
		assert.Equal(t, "FV3", r["tank"])
		newest[r["_field"]] = r["_value"]
	}
	assert.Equal(t, map[any]any{"gravity": 1.01, "temperature": 14.0, "pressure": 80.0}, newest)

	fall := ask("fall-of-gravity.flux")
	require.Len(t, fall, 1)
	assert.InDelta(t, -2.25, fall[0]["points"], 0.3, "a tenth of a point an hour")

	extremes := map[any]any{}
	for _, r := range ask("warmest-and-coldest.flux") {
		extremes[r["which"]] = r["_value"]
	}
	assert.Equal(t, map[any]any{"coldest": 14.0, "warmest": 16.3}, extremes)

	files, err := filepath.Glob("../../deploy/influx/*.flux")
	require.NoError(t, err)
	assert.Len(t, files, 4, "a question that this test does not ask")
}
