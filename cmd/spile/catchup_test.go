package main

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// catchUp measures how fast readings go to InfluxDB after it was away, beside what the client library alone writes of
// lines that lie ready.
func (s *speed) catchUp(t *testing.T) {
	s.t = t
	const messages, batch = 100_000, 5000
	store := servertest.Influx(t)
	alone := 3 * messages / s.libraryAlone(t, store, 3*messages, batch).Seconds()
	store.Stop()
	token := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(token, []byte(store.Token), 0o600))
	p, _ := watching(t, "", fmt.Sprintf("influx: {url: %q, org: %q, bucket: %q, token_file: %q}\n", store.URL, store.Org, store.Bucket, token))
	load{messages: messages, tanks: 100, from: yesterday()}.publish(t, brokerAddress.FindStringSubmatch(p.Said())[1])
	p.until(3 * messages)
	store.Start()
	lag := func() float64 { return p.metric("spile_influx_lag_readings") }
	whole := lag()
	require.Eventually(t, func() bool { return lag() < whole }, 2*time.Minute, time.Millisecond, "%s", p.Said())
	began, from := time.Now(), lag()
	require.Eventually(t, func() bool { return lag() == 0 }, 5*time.Minute, 10*time.Millisecond, "%s", p.Said())
	pace := from / time.Since(began).Seconds()
	s.row("readings a second to InfluxDB after an outage, beside the client library alone", "%.0f of %.0f (%.2f)", pace, alone, pace/alone)
	p.Stop()
}

// libraryAlone writes lines that lie ready, in batches, and tells how long it took.
func (s *speed) libraryAlone(t *testing.T, store *servertest.InfluxServer, lines, batch int) time.Duration {
	client := influxdb2.NewClientWithOptions(store.URL, store.Token, influxdb2.DefaultOptions().SetPrecision(time.Millisecond))
	defer client.Close()
	api := client.WriteAPIBlocking(store.Org, store.Bucket)
	from := yesterday().Add(-24 * time.Hour)
	var batches [][]string
	for n := 0; n < lines; n += batch {
		var one []string
		for i := n; i < n+batch; i++ {
			one = append(one, fmt.Sprintf("cellar,tank=FV%d,probe=all,site=cellar gravity=%.5f %d",
				i%100, 1.0118, from.Add(time.Duration(i/100)*time.Second).UnixMilli()))
		}
		batches = append(batches, one)
	}
	began := time.Now()
	for _, one := range batches {
		require.NoError(t, api.WriteRecord(t.Context(), one...))
	}
	return time.Since(began)
}
