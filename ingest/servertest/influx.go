package servertest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"
)

// influxConfig is influxd's configuration: its directory, its port for backups
// (it listens on one always, and would collide on the default) and its port.
const influxConfig = `reporting-disabled = true
bind-address = %[2]q
[meta]
dir = "%[1]s/meta"
[data]
dir = "%[1]s/data"
wal-dir = "%[1]s/wal"
[monitor]
store-enabled = false
[http]
bind-address = %[3]q
auth-enabled = true
flux-enabled = true
`

// InfluxServer is a running InfluxDB 1.8, which answers the write and query
// paths of version 2: its bucket is a database and a retention policy, its
// token a name and a password. Data stay over Stop, Kill and Start.
type InfluxServer struct {
	*process
	URL    string
	Org    string // any: 1.8 knows none
	Bucket string
	Token  string
}

// Influx starts a store with an empty bucket for the time of the test.
func Influx(t testing.TB) *InfluxServer {
	t.Helper()
	p := newProcess(t, "influxd")
	address := loopback(freePort(t))
	s := &InfluxServer{
		process: p, URL: "http://" + address,
		Org: "cellar", Bucket: "cellar/raw", Token: "brewer:dry-and-cold",
	}
	path := filepath.Join(p.dir, "influxdb.conf")
	p.must(os.WriteFile(path, fmt.Appendf(nil, influxConfig, p.dir, loopback(freePort(t)), address), 0o600))
	p.args = []string{"run", "-config", path}
	p.ready = func(ctx context.Context) error { return answers(ctx, s.URL+"/ping") }
	p.Start()
	// The first user may be made by anyone, and must be before anything else.
	s.Run(`CREATE USER brewer WITH PASSWORD 'dry-and-cold' WITH ALL PRIVILEGES`)
	s.Run(`CREATE DATABASE cellar WITH DURATION INF NAME raw`)
	return s
}

// Run executes one statement of InfluxQL, as the user that owns the server.
func (s *InfluxServer) Run(statement string) {
	s.t.Helper()
	req, err := http.NewRequest(http.MethodPost, s.URL+"/query?q="+url.QueryEscape(statement), http.NoBody)
	s.must(err)
	req.SetBasicAuth("brewer", "dry-and-cold")
	resp, err := http.DefaultClient.Do(req)
	s.must(err)
	defer func() { _ = resp.Body.Close() }()
	var answer struct {
		Error   string
		Results []struct{ Error string }
	}
	s.must(json.NewDecoder(resp.Body).Decode(&answer))
	for _, r := range answer.Results {
		answer.Error += r.Error
	}
	if answer.Error != "" {
		s.must(errors.New(statement + ": " + answer.Error))
	}
}

// answers is a readiness check: a GET that ends in 2xx.
func answers(ctx context.Context, url string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, http.NoBody)
	if err != nil {
		return err
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	if err := resp.Body.Close(); err != nil {
		return err
	}
	if resp.StatusCode/100 != 2 {
		return errors.New(resp.Status)
	}
	return nil
}
