package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// unsteady is a webhook that meets every message with a mood of its own the
// first time it comes, and takes it the next.
type unsteady struct {
	t      *testing.T
	mu     sync.Mutex
	heard  []delivery
	taken  map[string]bool
	tried  map[string]int
	hang   chan struct{}
	moods  int
	change chan struct{}
}

func newUnsteady(t *testing.T) (*unsteady, *httptest.Server) {
	u := &unsteady{t: t, taken: map[string]bool{}, tried: map[string]int{}, hang: make(chan struct{}), change: make(chan struct{}, 1000)}
	server := httptest.NewServer(u)
	t.Cleanup(func() {
		close(u.hang)
		server.Close()
	})
	return u, server
}

func (u *unsteady) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // it was killed in the middle of it
	}
	defer func() { u.change <- struct{}{} }()
	id := r.Header.Get("webhook-id")
	u.mu.Lock()
	u.heard = append(u.heard, delivery{header: r.Header, body: body, at: time.Now()})
	u.tried[id]++
	mood := -1
	if u.tried[id] == 1 {
		mood = u.moods
		u.moods++
	}
	u.mu.Unlock()
	switch mood {
	case 0, 7:
		w.WriteHeader(http.StatusServiceUnavailable)
	case 1, 8:
		w.Header().Set("Retry-After", "1")
		w.WriteHeader(http.StatusTooManyRequests)
	case 2, 9:
		select {
		case <-u.hang:
		case <-r.Context().Done():
		}
	case 3:
		w.WriteHeader(http.StatusGone)
	case 4, 10: // it breaks off before an answer
		panic(http.ErrAbortHandler)
	case 5: // and in the middle of one that says yes
		u.take(id)
		w.Header().Set("Content-Length", "1000")
		_, _ = w.Write([]byte("thank"))
		w.(http.Flusher).Flush()
		panic(http.ErrAbortHandler)
	default:
		u.take(id)
		w.WriteHeader(http.StatusNoContent)
	}
}

func (u *unsteady) take(id string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.taken[id] = true
}

// count is how many messages were taken.
func (u *unsteady) count() int {
	u.mu.Lock()
	defer u.mu.Unlock()
	return len(u.taken)
}

// outage is a spile whose webhook is unsteady and which is killed now and then.
type outage struct {
	t     *testing.T
	path  string
	spile *process
}

// post tells whether the API took something.
func (o *outage) post(path, body string) bool {
	o.t.Helper()
	answer, err := http.Post(o.spile.url+path, "application/json", strings.NewReader(body))
	if err != nil {
		return false
	}
	defer func() { _ = answer.Body.Close() }()
	_, err = io.Copy(io.Discard, answer.Body)
	return err == nil && answer.StatusCode == http.StatusOK
}

func (o *outage) kill() {
	o.spile.Kill()
	o.spile = spawn(o.t, "run", "--config", o.path)
}

// brokerAddress finds where the embedded broker listens in what spile prints.
var brokerAddress = regexp.MustCompile(`embedded broker, (127\.0\.0\.1:\d+)`)

// raise brings two tanks over their limit and returns the alarms' ids.
func (o *outage) raise() []string {
	o.t.Helper()
	found := brokerAddress.FindStringSubmatch(o.spile.Said())
	require.NotNil(o.t, found)
	probe := connect(o.t, "tcp://"+found[1], "head")
	for _, tank := range []string{"FV1", "FV2"} {
		token := probe.Publish("cellar/"+tank+"/head", 1, false, `{"pressure":99}`)
		require.True(o.t, token.WaitTimeout(10*time.Second))
	}
	var answer struct{ Alarms []struct{ ID, Alarm string } }
	require.Eventually(o.t, func() bool {
		status, body := o.spile.fetch("/api/v1/alarms")
		return status == http.StatusOK && json.Unmarshal(body, &answer) == nil && len(answer.Alarms) == 2
	}, 20*time.Second, 20*time.Millisecond, "%s", o.spile.Said())
	return []string{answer.Alarms[0].ID, answer.Alarms[1].ID}
}

// steps are the states that an alarm went through.
func (o *outage) steps(id string) (out []string) {
	o.t.Helper()
	status, body := o.spile.fetch("/api/v1/alarms/" + id)
	require.Equal(o.t, http.StatusOK, status, "%s", body)
	var answer struct{ History []struct{ From, To string } }
	require.NoError(o.t, json.Unmarshal(body, &answer))
	for _, s := range answer.History {
		out = append(out, s.From+" to "+s.To)
	}
	return out
}

// Every step of an alarm is a message here. While the webhook fails in every
// way there is, spile is killed again and again; what a receiver makes of it
// that drops repeats is the alarm's own history.
func TestKilledWhileItsWebhookFailsEveryMessageArrivesInOrder(t *testing.T) {
	phone, server := newUnsteady(t)
	secret := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(secret, []byte(webhookSecret), 0o600))
	o := &outage{t: t, path: configFile(t, `
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {listen: 127.0.0.1:0}
tanks:
  FV1: {relief: 100 kPa}
  FV2: {relief: 100 kPa}
webhooks:
  - {name: phone, url: %q, secret_file: %q, priority: critical, timeout: 1s}
`, server.URL, secret)}
	o.spile = spawn(t, "run", "--config", o.path)
	ids := o.raise()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for round := range 4 { // with as many calls as are no flood yet
		for _, id := range ids {
			if o.post("/api/v1/alarms/"+id+"/shelve", `{"for":"30m","why":"a test"}`) {
				o.post("/api/v1/alarms/"+id+"/unshelve", "")
			}
		}
		for range 1 + rng.IntN(5) { // somewhere between its requests
			select {
			case <-phone.change:
			case <-time.After(time.Duration(rng.IntN(2000)) * time.Millisecond):
			}
		}
		t.Logf("killed in round %d after %d messages", round, phone.count())
		o.kill()
	}

	want := map[string][]string{}
	total := 0
	for _, id := range ids {
		want[id] = o.steps(id)
		total += len(want[id])
	}
	require.Greater(t, total, 8, "%v", want)
	deadline := time.Now().Add(2 * time.Minute)
	for phone.count() < total && time.Now().Before(deadline) {
		select {
		case <-phone.change:
		case <-time.After(10 * time.Second): // it answered 410 and rests: only a start moves it
			o.kill()
		}
	}
	o.spile.Stop()
	assert.Equal(t, want, whatArrived(t, phone.heard), "%s", o.spile.Said())
	check := spawnOnce(t, "check", "--config", o.path, "--journal")
	assert.Contains(t, check, "nothing broken")
}

// whatArrived is the history by alarm that a receiver has that verifies each
// request and drops repeats.
func whatArrived(t *testing.T, all []delivery) map[string][]string {
	t.Helper()
	verifier, err := standardwebhooks.NewWebhook(webhookSecret)
	require.NoError(t, err)
	bodies, out := map[string][]byte{}, map[string][]string{}
	for _, d := range all {
		require.NoError(t, verifier.Verify(d.body, d.header))
		id := d.header.Get("webhook-id")
		if body, again := bodies[id]; again {
			require.True(t, bytes.Equal(body, d.body), "one id, one content")
			continue
		}
		bodies[id] = d.body
		var said struct{ ID, From, To string }
		require.NoError(t, json.Unmarshal(d.body, &said))
		out[said.ID] = append(out[said.ID], fmt.Sprintf("%s to %s", said.From, said.To))
	}
	return out
}
