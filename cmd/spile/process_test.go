package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// asSpile makes the test binary run as the spile command itself, so that a
// test can start, kill and restart real processes without building anything.
const asSpile = "SPILE_TEST_RUN_AS_SPILE"

func TestMain(m *testing.M) {
	if os.Getenv(asSpile) != "" {
		main()
		return
	}
	if os.Getenv(asBare) != "" {
		bareSubscriber()
		return
	}
	os.Exit(m.Run())
}

// process is a running `spile`.
type process struct {
	*servertest.Program
	t   *testing.T
	url string
}

// address finds where the page is in what spile prints when it is up.
var address = regexp.MustCompile(`https?://127\.0\.0\.1:\d+`)

// spawn starts spile and waits until it says where its page is.
func spawn(t *testing.T, args ...string) *process {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), asSpile+"=1")
	p := servertest.Run(t, cmd, address)
	return &process{p, t, p.Up}
}

// fetch gets a path of its API, whatever the answer.
func (p *process) fetch(path string) (int, []byte) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.t.Context(), 30*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, p.url+path, nil)
	require.NoError(p.t, err)
	answer, err := http.DefaultClient.Do(request)
	require.NoError(p.t, err)
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	require.NoError(p.t, err)
	return answer.StatusCode, body
}

// readings are all that its journal holds, one JSON object each.
func (p *process) readings(query string) []reading {
	p.t.Helper()
	status, body := p.fetch("/api/v1/readings" + query)
	require.Equal(p.t, http.StatusOK, status, "%s", body)
	var out []reading
	lines := json.NewDecoder(strings.NewReader(string(body)))
	for lines.More() {
		var r reading
		require.NoError(p.t, lines.Decode(&r))
		out = append(out, r)
	}
	return out
}

type reading struct {
	Time     time.Time `json:"time"`
	Tank     string    `json:"tank"`
	Probe    string    `json:"probe"`
	Quantity string    `json:"quantity"`
	Value    float64   `json:"value"`
	Unit     string    `json:"unit"`
}

// ready waits until it says that it can be relied on.
func (p *process) ready() {
	p.t.Helper()
	require.Eventually(p.t, func() bool {
		status, _ := p.fetch("/readyz")
		return status == http.StatusOK
	}, 30*time.Second, 20*time.Millisecond, "%s", p.Said())
}

// configFile writes a config, with %s for a folder of its own.
func configFile(t *testing.T, format string, args ...any) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "spile.yaml")
	require.NoError(t, os.WriteFile(path, fmt.Appendf(nil, format, args...), 0o600))
	return path
}

// spawnOnce runs a command to its end and gives what it printed.
func spawnOnce(t *testing.T, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], args...)
	cmd.Env = append(os.Environ(), asSpile+"=1")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "spile %v:\n%s", args, out)
	return string(out)
}
