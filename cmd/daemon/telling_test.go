package daemon_test

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/webhook"
	"spile/cmd/daemon"
)

// wallClock is moved by hand.
type wallClock struct{ at atomic.Pointer[time.Time] }

func (c *wallClock) set(at time.Time) { c.at.Store(&at) }
func (c *wallClock) now() time.Time   { return *c.at.Load() }

// told is what a webhook was sent.
type told struct {
	id     string // the header
	object map[string]any
}

// receiver is somebody's webhook.
func receiver(t *testing.T) (url string, messages chan told) {
	messages = make(chan told, 100)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		m := told{id: r.Header.Get("Webhook-Id")}
		if assert.NoError(t, json.Unmarshal(body, &m.object), "%s", body) {
			messages <- m
		}
	}))
	t.Cleanup(server.Close)
	return server.URL, messages
}

func next(t *testing.T, messages chan told) told {
	t.Helper()
	select {
	case m := <-messages:
		return m
	case <-time.After(20 * time.Second):
		require.Fail(t, "nothing was told")
		return told{}
	}
}

func logged(t *testing.T, d *daemon.Daemon, tank, line string) {
	t.Helper()
	answer, err := http.Post("http://"+d.Addr()+"/api/v1/tanks/"+tank+"/log", "application/json", strings.NewReader(line))
	require.NoError(t, err)
	defer func() { assert.NoError(t, answer.Body.Close()) }()
	require.Equal(t, http.StatusCreated, answer.StatusCode)
}

// What is asked for in the log, and the question after hands on a tank, go out by a webhook with nothing else
// happening; a restart in between neither loses nor doubles them.
func TestWhatNoTransitionCausesIsToldOnce(t *testing.T) {
	url, messages := receiver(t)
	var clock wallClock
	clock.set(time.Now().Truncate(time.Minute).UTC())
	dir := t.TempDir()
	run := func() *daemon.Daemon {
		d := daemon.New(daemon.Options{
			Data: dir, Clock: clock.now,
			Webhooks: []webhook.Webhook{{Name: "board", URL: webhook.Secret(url)}},
			Watch:    alert.Options{Policy: alert.Policy{Webhooks: []alert.Webhook{{Name: "board"}}}},
		})
		require.NoError(t, d.Start(t.Context()))
		return d
	}
	forward := func(d time.Duration) { clock.set(clock.now().Add(d)) }

	d := run()
	logged(t, d, "FV3", `{"event":"dry-hop","mass":"9 kg"}`)
	logged(t, d, "FV3", `{"event":"tell","contact":"2 h"}`)
	logged(t, d, "FV4", `{"event":"work","for":"1 h"}`)
	forward(time.Hour)
	asked := next(t, messages)
	assert.Equal(t, "question", asked.object["kind"])
	assert.Equal(t, "FV4", asked.object["tank"])
	require.NoError(t, d.Stop(context.Background()))

	forward(30 * time.Minute)
	d = run()
	forward(30 * time.Minute)
	come := next(t, messages)
	assert.Equal(t, "notice", come.object["kind"])
	assert.Equal(t, "FV3: hops have been in for 2 h", come.object["summary"])
	assert.NotEqual(t, asked.id, come.id)
	assert.NotContains(t, come.object, "alarm")
	require.NoError(t, d.Stop(context.Background()))

	d = run() // from the snapshot of the end
	forward(time.Hour)
	logged(t, d, "FV5", `{"event":"work","for":"1 min"}`)
	forward(time.Minute)
	assert.Equal(t, "FV5", next(t, messages).object["tank"], "and nothing was told twice before it")
	require.NoError(t, d.Stop(context.Background()))
	http.DefaultClient.CloseIdleConnections()
	assert.Empty(t, messages)
}
