package main

import (
	"bufio"
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
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
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
	t      *testing.T
	cmd    *exec.Cmd
	url    string
	mu     sync.Mutex
	output strings.Builder
	ended  chan struct{}
}

// address finds where the page is in what spile prints when it is up.
var address = regexp.MustCompile(`https?://127\.0\.0\.1:\d+`)

// spawn starts spile and waits until it says where its page is.
func spawn(t *testing.T, args ...string) *process {
	t.Helper()
	p := &process{t: t, cmd: exec.Command(os.Args[0], args...), ended: make(chan struct{})}
	p.cmd.Env = append(os.Environ(), asSpile+"=1")
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	stdout, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	p.cmd.Stderr = writerFunc(p.note)
	require.NoError(t, p.cmd.Start())
	up := make(chan string, 1)
	go p.read(stdout, up)
	t.Cleanup(p.kill)
	select {
	case p.url = <-up:
	case <-p.ended:
		t.Fatalf("spile %v ended before it was up:\n%s", args, p.said())
	case <-time.After(time.Minute):
		t.Fatalf("spile %v did not come up:\n%s", args, p.said())
	}
	return p
}

func (p *process) read(from io.Reader, up chan<- string) {
	lines := bufio.NewScanner(from)
	told := false
	for lines.Scan() {
		_, _ = p.note(append(lines.Bytes(), '\n'))
		if url := address.FindString(lines.Text()); url != "" && !told {
			told = true
			up <- url
		}
	}
	_ = p.cmd.Wait()
	close(p.ended)
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(b []byte) (int, error) { return f(b) }

func (p *process) note(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.output.Write(b)
}

// said is everything it has printed.
func (p *process) said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.output.String()
}

// kill ends it as a power cut does.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.ended
}

// stop ends it as an operator does, and requires that it goes in peace.
func (p *process) stop() {
	p.t.Helper()
	require.NoError(p.t, p.cmd.Process.Signal(syscall.SIGTERM))
	select {
	case <-p.ended:
	case <-time.After(30 * time.Second):
		p.t.Fatalf("spile did not stop:\n%s", p.said())
	}
	require.Equal(p.t, 0, p.cmd.ProcessState.ExitCode(), p.said())
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
	}, 30*time.Second, 20*time.Millisecond, "%s", p.said())
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
