package servertest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// prometheusConfig scrapes one path of one address every second, with the
// parameters that it is given.
const prometheusConfig = `global: {scrape_interval: 1s, scrape_timeout: 1s}
scrape_configs:
  - job_name: target
    scheme: %q
    metrics_path: %q
    honor_labels: true
    params: %s
    static_configs: [{targets: [%q]}]
`

// PrometheusServer is a running Prometheus that scrapes one target.
type PrometheusServer struct {
	*process
	URL string
}

// Sample is one series of an instant query's answer.
type Sample struct {
	Labels map[string]string
	Value  float64
}

// Prometheus starts a server that scrapes the target, such as
// http://127.0.0.1:8420/metrics, for the time of the test.
func Prometheus(t testing.TB, target string) *PrometheusServer {
	t.Helper()
	p := newProcess(t, "prometheus")
	u, err := url.Parse(target)
	p.must(err)
	params, err := json.Marshal(u.Query()) // which is YAML too
	p.must(err)
	address := loopback(freePort(t))
	path := filepath.Join(p.dir, "prometheus.yml")
	p.must(os.WriteFile(path, fmt.Appendf(nil, prometheusConfig, u.Scheme, u.Path, params, u.Host), 0o600))
	p.args = []string{
		"--config.file=" + path, "--storage.tsdb.path=" + filepath.Join(p.dir, "data"),
		"--web.listen-address=" + address,
	}
	s := &PrometheusServer{process: p, URL: "http://" + address}
	p.ready = func(ctx context.Context) error { return answers(ctx, s.URL+"/-/ready") }
	p.Start()
	return s
}

// Query evaluates an expression now. The answer is empty until a scrape has
// brought what it asks for.
func (s *PrometheusServer) Query(expr string) []Sample {
	s.t.Helper()
	resp, err := http.Get(s.URL + "/api/v1/query?query=" + url.QueryEscape(expr))
	s.must(err)
	defer func() { _ = resp.Body.Close() }()
	var answer struct {
		Error string
		Data  struct {
			Result []struct {
				Metric map[string]string
				Value  [2]any // time, value as a string
			}
		}
	}
	s.must(json.NewDecoder(resp.Body).Decode(&answer))
	if answer.Error != "" {
		s.t.Fatalf("servertest: %s: %s", expr, answer.Error)
	}
	samples := make([]Sample, 0, len(answer.Data.Result))
	for _, r := range answer.Data.Result {
		v, err := strconv.ParseFloat(fmt.Sprint(r.Value[1]), 64)
		s.must(err)
		samples = append(samples, Sample{Labels: r.Metric, Value: v})
	}
	return samples
}

// Await evaluates an expression until its answer is not empty: one or two
// scrapes for what a target shows already.
func (s *PrometheusServer) Await(expr string) []Sample {
	s.t.Helper()
	poll := time.NewTicker(10 * pollEach)
	defer poll.Stop()
	for end := time.Now().Add(patience); time.Now().Before(end); <-poll.C {
		if samples := s.Query(expr); len(samples) > 0 {
			return samples
		}
	}
	s.t.Fatalf("servertest: no answer to %s within %s", expr, patience)
	return nil
}

// Promtool holds a page of metrics, in the text format, against the
// conventions of Prometheus, and gives what it complains of.
func Promtool(t testing.TB, metrics string) error {
	t.Helper()
	cmd := exec.Command(binary(t, "promtool"), "check", "metrics")
	cmd.Stdin = strings.NewReader(metrics)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("promtool check metrics: %w\n%s", err, out)
	}
	return nil
}

// PromtoolRules holds a file of rules to what its tests, in another file, expect of it, and a configuration to what
// Prometheus takes.
func PromtoolRules(t testing.TB, rules, tests, config string) error {
	t.Helper()
	path := binary(t, "promtool")
	for _, args := range [][]string{{"check", "rules", rules}, {"test", "rules", tests}, {"check", "config", config}} {
		if out, err := exec.Command(path, args...).CombinedOutput(); err != nil {
			return fmt.Errorf("promtool %s: %w\n%s", strings.Join(args, " "), err, out)
		}
	}
	return nil
}
