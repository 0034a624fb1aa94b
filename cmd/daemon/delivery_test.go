package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/webhook"
	"spile/cmd/daemon"
	"spile/detect"
	"spile/ingest/journal"
)

// signing is made up for these tests.
const signing = "whsec_c3BpbGUtdGVzdC1zZWNyZXQtMDEyMzQ1Njc4OQ=="

// call is one message as a phone got it.
type call struct {
	alert.Message
	header http.Header
	body   []byte
}

// phone is a webhook's receiver that answers with a status.
type phone struct {
	*httptest.Server
	status int
	calls  chan call
}

func newPhone(t *testing.T, status int) *phone {
	t.Helper()
	p := &phone{status: status, calls: make(chan call, 100)}
	p.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := call{header: r.Header}
		c.body, _ = io.ReadAll(r.Body)
		_ = json.Unmarshal(c.body, &c.Message)
		p.calls <- c
		w.WriteHeader(p.status)
	}))
	t.Cleanup(p.Close)
	return p
}

func (p *phone) hook(name string) webhook.Webhook {
	return webhook.Webhook{Name: name, URL: webhook.Secret(p.URL + "/t0ken"), Secret: signing}
}

// next is the next message that the phone gets.
func (p *phone) next(t *testing.T) call {
	t.Helper()
	select {
	case c := <-p.calls:
		return c
	case <-time.After(20 * time.Second):
		require.Fail(t, "nobody was called")
		return call{}
	}
}

// watched are the options of a daemon that watches a tank's pressure and calls these webhooks.
func watched(dir string, hooks ...webhook.Webhook) daemon.Options {
	o := daemon.Options{
		Data: dir, Webhooks: hooks,
		Watch: alert.Options{Tanks: map[string]detect.Settings{"FV1": {BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}}},
	}
	for _, h := range hooks {
		o.Watch.Policy.Webhooks = append(o.Watch.Policy.Webhooks, alert.Webhook{Name: h.Name})
	}
	return o
}

// press raises over-pressure.
func press(t *testing.T, d *daemon.Daemon) {
	t.Helper()
	publish(t, publisher(t, d, "head-1"), "cellar/FV1/head-1", `{"pressure":99}`)
}

// failing waits for the alarm of a webhook.
func failing(t *testing.T, d *daemon.Daemon, name string) alert.Incident {
	t.Helper()
	var found alert.Incident
	require.Eventually(t, func() bool {
		for _, i := range d.View().Incidents {
			if i.Alarm == alert.WebhookFailing && i.Probe == name {
				found = i
				return true
			}
		}
		return false
	}, 20*time.Second, 10*time.Millisecond)
	return found
}

// marks are the names and details of the marks that a journal holds.
func marks(t *testing.T, dir string) (out []string) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: dir, ReadOnly: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, j.Close()) }()
	entries, err := j.After(t.Context(), 0, 1000)
	require.NoError(t, err)
	for _, e := range entries {
		if e.Mark != nil && e.Mark.Name != "started" {
			out = append(out, e.Mark.Name+" "+e.Mark.Detail)
		}
	}
	faults, err := j.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Empty(t, faults)
	return out
}

func TestADeadWebhookIsToldByTheOtherAndLosesNothing(t *testing.T) {
	dir := t.TempDir()
	gone, board := newPhone(t, http.StatusGone), newPhone(t, http.StatusOK)
	d := daemon.New(watched(dir, gone.hook("phone"), board.hook("board")))
	require.NoError(t, d.Start(t.Context()))
	press(t, d)
	first := gone.next(t)
	assert.Equal(t, detect.OverPressure, first.Alarm)
	told := map[detect.Alarm]call{}
	for range 2 {
		c := board.next(t)
		told[c.Alarm] = c
	}
	require.Contains(t, told, detect.OverPressure)
	require.Contains(t, told, alert.WebhookFailing)
	assert.Contains(t, told[alert.WebhookFailing].Summary, "webhook phone takes no messages: answered 410 Gone: the webhook wants no more messages, since ")
	failing(t, d, "phone")

	var standing struct {
		Webhooks []struct {
			Name, State, Problem string
			Waiting              int
		}
	}
	get(t, d, "/api/v1/webhooks", &standing)
	require.Len(t, standing.Webhooks, 2)
	assert.Equal(t, "dead", standing.Webhooks[0].State)
	assert.Equal(t, 1, standing.Webhooks[0].Waiting)
	assert.Equal(t, "works", standing.Webhooks[1].State)
	get(t, d, "/readyz", nil)
	http.DefaultClient.CloseIdleConnections()
	require.NoError(t, d.Stop(context.Background()))
	assert.Empty(t, gone.calls, "it is taken at its word")

	mended := newPhone(t, http.StatusOK)
	again := start(t, watched(dir, mended.hook("phone"), board.hook("board")))
	late := mended.next(t)
	assert.Equal(t, first.header.Get("webhook-id"), late.header.Get("webhook-id"), "under its one id")
	assert.Equal(t, first.body, late.body)
	verifier, err := standardwebhooks.NewWebhook(signing)
	require.NoError(t, err)
	require.NoError(t, verifier.Verify(late.body, late.header))
	require.Eventually(t, func() bool { return len(marks(t, dir)) == 2 }, 20*time.Second, 20*time.Millisecond)
	assert.Equal(t, "webhook-works phone", marks(t, dir)[1])
	failing(t, again, "phone") // until the off-delay is over
}

func TestAWebhookThatIsThereNoMoreFailsNoMore(t *testing.T) {
	dir := t.TempDir()
	gone := newPhone(t, http.StatusGone)
	d := daemon.New(watched(dir, gone.hook("phone")))
	require.NoError(t, d.Start(t.Context()))
	press(t, d)
	failing(t, d, "phone")
	require.NoError(t, d.Stop(context.Background()))
	for range 3 { // later starts find nothing new, though the alarm stands until its off-delay is over
		d = daemon.New(watched(dir))
		require.NoError(t, d.Start(t.Context()))
		require.Eventually(t, func() bool { return len(marks(t, dir)) == 2 }, 20*time.Second, 20*time.Millisecond)
		failing(t, d, "phone")
		require.NoError(t, d.Stop(context.Background()))
	}
	require.Len(t, marks(t, dir), 2)
	all := marks(t, dir)
	assert.Contains(t, all[0], "webhook-failing phone: answered 410 Gone")
	assert.Equal(t, "webhook-works phone", all[1])
}

func TestAMessagesLinkAcknowledges(t *testing.T) {
	ring := newPhone(t, http.StatusOK)
	o := watched("", ring.hook("phone"))
	o.HTTP.Token = "t0ken"
	var err error
	o.HTTP.Public, err = url.Parse("https://cellar.example/")
	require.NoError(t, err)
	d := start(t, o)
	press(t, d)
	link, err := url.Parse(ring.next(t).Acknowledge)
	require.NoError(t, err)
	assert.Equal(t, "cellar.example", link.Host)
	page, err := http.Get("http://" + d.Addr() + link.RequestURI())
	require.NoError(t, err)
	require.NoError(t, page.Body.Close())
	assert.Equal(t, http.StatusOK, page.StatusCode)
	assert.Equal(t, alert.Unacknowledged, d.View().Incidents[0].State, "opening it is no answer")

	answer, err := http.PostForm("http://"+d.Addr()+link.Path+"/acknowledge", url.Values{"pass": {link.Query().Get("pass")}})
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	assert.Equal(t, alert.Acknowledged, d.View().Incidents[0].State)
	said := ring.next(t)
	assert.Equal(t, alert.Acknowledged, said.To)
	assert.Equal(t, "link", said.By)
}

// lines is a log that several goroutines may write.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// Whatever goes wrong with a webhook or the watchdog, nothing that anybody reads holds an address or a secret.
func TestNoSecretIsSeenAnywhere(t *testing.T) {
	broken, gone := newPhone(t, http.StatusInternalServerError), newPhone(t, http.StatusGone)
	away := newPhone(t, http.StatusOK)
	away.Close()
	log := &lines{}
	var hooks []webhook.Webhook
	for name, p := range map[string]*phone{"broken": broken, "gone": gone, "away": away} {
		h := p.hook(name)
		h.Secrets = map[string]webhook.Secret{"key": "k3y"}
		h.Headers = map[string]string{"X-Key": `{{secret "key"}}`}
		hooks = append(hooks, h)
	}
	o := watched(t.TempDir(), hooks...)
	o.Log = slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	o.HTTP.Token = "h0use"
	o.Heartbeat = &daemon.Heartbeat{Webhook: webhook.Webhook{URL: webhook.Secret(away.URL + "/b3at")}, Every: 50 * time.Millisecond}
	d := start(t, o)
	press(t, d)
	failing(t, d, "gone")
	broken.next(t)
	require.Eventually(t, func() bool {
		return strings.Count(log.String(), "notification not delivered yet") >= 2
	}, 20*time.Second, 10*time.Millisecond)

	shown := log.String()
	for _, path := range []string{"/", "/alarms", "/tanks/FV1", "/metrics", "/api/v1/webhooks", "/api/v1/alarms", "/readyz", "/sign-in"} {
		answer, err := http.Get("http://" + d.Addr() + path)
		require.NoError(t, err)
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		shown += string(body)
	}
	assert.Contains(t, shown, "the connection was refused")
	secrets := []string{"t0ken", "k3y", "h0use", "b3at", "c3BpbGUt"}
	for _, p := range []*phone{broken, gone, away} {
		secrets = append(secrets, strings.TrimPrefix(p.URL, "http://"))
	}
	for _, secret := range secrets {
		assert.NotContains(t, shown, secret)
	}
}

// A watchdog is called once readings flow, and no more once somebody cannot be told.
func TestTheWatchdogHearsWhileAllIsWell(t *testing.T) {
	watchdog, gone := newPhone(t, http.StatusOK), newPhone(t, http.StatusGone)
	o := watched("", gone.hook("phone"))
	o.Heartbeat = &daemon.Heartbeat{Webhook: webhook.Webhook{URL: webhook.Secret(watchdog.URL)}, Every: 20 * time.Millisecond}
	d := start(t, o)
	require.Eventually(t, func() bool { return figure(t, d, "spile_heartbeat_well") == "0" }, 20*time.Second, 10*time.Millisecond)
	assert.Empty(t, watchdog.calls, "no probe was heard yet")
	publish(t, publisher(t, d, "hyd-1"), "cellar/FV1/hyd-1", `{"gravity":1.0118}`)
	watchdog.next(t)
	press(t, d)
	failing(t, d, "phone")
	require.Eventually(t, func() bool { return figure(t, d, "spile_heartbeat_well") == "0" }, 20*time.Second, 10*time.Millisecond)
}

// figure reads one metric without labels.
func figure(t *testing.T, d *daemon.Daemon, name string) string {
	t.Helper()
	answer, err := http.Get("http://" + d.Addr() + "/metrics")
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	for line := range strings.Lines(string(body)) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			return strings.TrimSpace(value)
		}
	}
	return ""
}

func TestTheHistoryKeepsUntilWhenAnAlarmIsQuiet(t *testing.T) {
	d := start(t, watched(""))
	press(t, d)
	require.Eventually(t, func() bool { return len(d.View().Incidents) == 1 }, 20*time.Second, 10*time.Millisecond)
	path := "/api/v1/alarms/" + d.View().Incidents[0].ID
	answer, err := http.Post("http://"+d.Addr()+path+"/shelve", "application/json", strings.NewReader(`{"for":"30m","why":"I stand here"}`))
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusOK, answer.StatusCode)
	var kept struct {
		Until   time.Time
		History []alert.Transition
	}
	get(t, d, path, &kept)
	require.Len(t, kept.History, 2)
	assert.Equal(t, alert.Shelved, kept.History[1].To)
	assert.WithinDuration(t, time.Now().Add(30*time.Minute), kept.History[1].Until, time.Minute)
	assert.Equal(t, kept.Until, kept.History[1].Until)
}
