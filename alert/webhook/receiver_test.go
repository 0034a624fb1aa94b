package webhook

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

const testSecret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// heard is one request as a receiver got it.
type heard struct {
	method string
	header http.Header
	body   string
}

// receiver is a real HTTP server that notes what it hears and answers as the test says.
type receiver struct {
	*httptest.Server
	mu     sync.Mutex
	heard  []heard
	answer func(n int, w http.ResponseWriter, r *http.Request) // n counts from 1
}

func newReceiver(t *testing.T, answer func(n int, w http.ResponseWriter, r *http.Request)) *receiver {
	r := &receiver{answer: answer}
	r.Server = httptest.NewServer(r)
	t.Cleanup(r.Close)
	return r
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, request *http.Request) {
	body, _ := io.ReadAll(request.Body)
	r.mu.Lock()
	r.heard = append(r.heard, heard{method: request.Method, header: request.Header.Clone(), body: string(body)})
	n := len(r.heard)
	r.mu.Unlock()
	r.answer(n, w, request)
}

func (r *receiver) all() []heard {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]heard(nil), r.heard...)
}

// quick is a pace for tests against real servers.
func quick(int, time.Duration, float64) time.Duration { return time.Millisecond }

// start runs a Sender to a receiver until the test ends. What it logs is checked for secrets.
func start(t *testing.T, o Options, pace func(int, time.Duration, float64) time.Duration) *Sender {
	t.Helper()
	transport := &http.Transport{}
	t.Cleanup(transport.CloseIdleConnections)
	var log bytes.Buffer
	o.Transport, o.Log = transport, slog.New(slog.NewTextHandler(&log, nil))
	s, err := New(o)
	require.NoError(t, err)
	s.pause = pace
	s.Start(t.Context())
	t.Cleanup(func() {
		require.NoError(t, s.Stop(context.Background()))
		for _, w := range o.Webhooks {
			host := strings.TrimPrefix(string(w.URL), "http://")
			assert.NotContains(t, log.String(), strings.Split(host, "/")[0])
			assert.NotContains(t, log.String(), "token")
			assert.NotContains(t, log.String(), "MfKQ9r8GKYqr")
		}
	})
	return s
}

func (r *receiver) hook() Webhook {
	return Webhook{Name: "phone", URL: Secret(r.URL + "/token"), Secret: testSecret}
}

func TestMain(m *testing.M) {
	code := m.Run()
	if err := goleak.Find(); code == 0 && err != nil {
		slog.Error("goroutines are left", "error", err)
		code = 1
	}
	os.Exit(code)
}

func TestReceiverFailsAndRecovers(t *testing.T) {
	r := newReceiver(t, func(n int, w http.ResponseWriter, _ *http.Request) {
		if n <= 3 {
			w.WriteHeader([]int{500, 404, 302}[n-1])
		}
	})
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	start(t, Options{Webhooks: []Webhook{r.hook()}, Outbox: box}, quick)
	box.waitSettled(t, 4)
	assert.Equal(t, []Result{Retry, Retry, Retry, Delivered}, box.log("msg_a"))
	assert.Equal(t, []string{
		"answered 500 Internal Server Error", "answered 404 Not Found",
		"answered 302 Found: redirects are not followed, give the final address", "",
	}, box.problems("msg_a"))

	verifier, err := standardwebhooks.NewWebhook(testSecret)
	require.NoError(t, err)
	for _, h := range r.all() {
		assert.Equal(t, "msg_a", h.header.Get("webhook-id"), "the same over all tries")
		assert.Equal(t, http.MethodPost, h.method)
		assert.Equal(t, "application/json", h.header.Get("Content-Type"))
		require.NoError(t, verifier.Verify([]byte(h.body), h.header), "by the published library")
		assert.JSONEq(t, r.all()[0].body, h.body)
		require.Error(t, verifier.Verify([]byte(h.body+" "), h.header))
	}
}

func TestReceiverIsGone(t *testing.T) {
	gone := newReceiver(t, func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusGone) })
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	box.put(t, "msg_b", "i1", time.Now())
	turned := make(chan Standing, 10)
	s := start(t, Options{Webhooks: []Webhook{gone.hook()}, Outbox: box, Turned: func(s Standing) { turned <- s }}, quick)
	box.waitSettled(t, 1)
	told := <-turned
	assert.True(t, told.Dead && told.Failing)
	assert.Equal(t, 2, told.Waiting, "nothing is lost")
	assert.Equal(t, "answered 410 Gone: the webhook wants no more messages", told.Problem)
	box.put(t, "msg_c", "i2", time.Now())
	s.Wake()
	require.Eventually(t, func() bool { return s.Standings()[0].Waiting == 3 }, 10*time.Second, time.Millisecond)
	assert.Len(t, gone.all(), 1, "it is taken at its word")
	require.NoError(t, s.Stop(t.Context()))

	mended := newReceiver(t, func(int, http.ResponseWriter, *http.Request) {})
	start(t, Options{Webhooks: []Webhook{mended.hook()}, Outbox: box, Turned: func(s Standing) { turned <- s }}, quick)
	box.waitSettled(t, 3)
	assert.False(t, (<-turned).Failing, "with another address it works")
	assert.Equal(t, []Result{Dead, Delivered}, box.log("msg_a"))
	assert.Equal(t, "msg_a", gone.all()[0].header.Get("webhook-id"))
	var ids []string
	for _, h := range mended.all() {
		ids = append(ids, h.header.Get("webhook-id"))
	}
	assert.ElementsMatch(t, []string{"msg_a", "msg_b", "msg_c"}, ids)
	assert.Less(t, slices.Index(ids, "msg_a"), slices.Index(ids, "msg_b"))
}

func TestReceiverBreaksOff(t *testing.T) {
	r := newReceiver(t, func(n int, w http.ResponseWriter, _ *http.Request) {
		switch n {
		case 1: // before any answer
			panic(http.ErrAbortHandler)
		case 2: // in the middle of the body of an answer that says yes
			w.Header().Set("Content-Length", "1000")
			_, _ = w.Write([]byte("thank"))
			w.(http.Flusher).Flush()
			panic(http.ErrAbortHandler)
		}
	})
	r.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	start(t, Options{Webhooks: []Webhook{r.hook()}, Outbox: box}, quick)
	box.waitSettled(t, 2)
	assert.Equal(t, []Result{Retry, Delivered}, box.log("msg_a"))
	assert.Equal(t, "the connection was closed before an answer", box.problems("msg_a")[0])
}

func TestReceiverIsAway(t *testing.T) {
	r := newReceiver(t, func(int, http.ResponseWriter, *http.Request) {})
	hook := r.hook()
	r.Close()
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	start(t, Options{Webhooks: []Webhook{hook}, Outbox: box}, func(failures int, _ time.Duration, _ float64) time.Duration {
		return time.Duration(failures-1) * time.Hour
	})
	box.waitSettled(t, 2)
	assert.Equal(t, []string{"the connection was refused", "the connection was refused"}, box.problems("msg_a"))
}

func TestTheReceiverRestarts(t *testing.T) {
	refuse := func(_ int, w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) }
	before := newReceiver(t, refuse)
	hook, address := before.hook(), before.Listener.Addr().String()
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	start(t, Options{Webhooks: []Webhook{hook}, Outbox: box}, quick)
	box.waitSettled(t, 1)
	before.Close()
	require.Eventually(t, func() bool {
		all := box.problems("msg_a")
		return all[len(all)-1] == "the connection was refused"
	}, 10*time.Second, time.Millisecond)

	after := &receiver{answer: func(int, http.ResponseWriter, *http.Request) {}}
	listener, err := new(net.ListenConfig).Listen(t.Context(), "tcp", address)
	require.NoError(t, err)
	after.Server = &httptest.Server{Listener: listener, Config: &http.Server{Handler: after}}
	after.Start()
	t.Cleanup(after.Close)
	require.Eventually(t, box.empty, 10*time.Second, time.Millisecond)
	assert.Len(t, after.all(), 1)
	assert.Equal(t, "msg_a", after.all()[0].header.Get("webhook-id"))
}

func TestARestartGoesOnWithTheSameID(t *testing.T) {
	r := newReceiver(t, func(n int, w http.ResponseWriter, _ *http.Request) {
		if n == 1 {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
	})
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	o := Options{Webhooks: []Webhook{r.hook()}, Outbox: box, Transport: &http.Transport{DisableKeepAlives: true}}
	first, err := New(o)
	require.NoError(t, err)
	first.pause = func(int, time.Duration, float64) time.Duration { return time.Minute }
	first.Start(t.Context())
	box.waitSettled(t, 1)
	require.NoError(t, first.Stop(t.Context()))
	require.Len(t, r.all(), 1)

	o.Clock = func() time.Time { return time.Now().Add(2 * time.Minute) }
	start(t, o, quick)
	box.waitSettled(t, 1)
	assert.Equal(t, []Result{Retry, Delivered}, box.log("msg_a"))
	assert.Equal(t, r.all()[0].header.Get("webhook-id"), r.all()[1].header.Get("webhook-id"))
}

func TestStopGivesUpWhatHangs(t *testing.T) {
	reached, release := make(chan struct{}), make(chan struct{})
	r := newReceiver(t, func(int, http.ResponseWriter, *http.Request) {
		close(reached)
		<-release
	})
	t.Cleanup(func() { close(release) })
	box := newMemory()
	box.put(t, "msg_a", "i1", time.Now())
	s, err := New(Options{Webhooks: []Webhook{r.hook()}, Outbox: box, Transport: &http.Transport{DisableKeepAlives: true}})
	require.NoError(t, err)
	s.Start(t.Context())
	<-reached
	expired, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, s.Stop(expired), context.Canceled)
	assert.Empty(t, box.log("msg_a"), "it stays in the outbox as it was")
}

func TestTryOnce(t *testing.T) {
	r := newReceiver(t, func(_ int, w http.ResponseWriter, _ *http.Request) {
		w.WriteHeader(http.StatusTeapot)
		_, _ = w.Write([]byte("no\x1b[2J such topic\n" + strings.Repeat("x", longestRead)))
	})
	hook := r.hook()
	hook.Body = "{{.Headline}}"
	s, err := New(Options{Webhooks: []Webhook{hook}, Transport: &http.Transport{DisableKeepAlives: true}})
	require.NoError(t, err)
	answer, err := s.TryOnce(t.Context(), "phone")
	require.NoError(t, err)
	assert.Equal(t, http.StatusTeapot, answer.Code)
	assert.True(t, strings.HasPrefix(answer.Body, "no.[2J such topic\n"), "no escape reaches a terminal")
	assert.Len(t, answer.Body, longestRead)
	assert.Contains(t, r.all()[0].body, "TEST")
	assert.Equal(t, answer.ID, r.all()[0].header.Get("webhook-id"))

	_, err = s.TryOnce(t.Context(), "pager")
	require.ErrorContains(t, err, `"pager"`)
	r.Close()
	_, err = s.TryOnce(t.Context(), "phone")
	require.EqualError(t, err, "webhook phone: the connection was refused")
	require.NoError(t, s.Stop(t.Context()), "never started")
}

func TestHostsThatCannotBeTrusted(t *testing.T) {
	secure := httptest.NewTLSServer(http.NotFoundHandler())
	secure.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	t.Cleanup(secure.Close)
	plain := newReceiver(t, func(int, http.ResponseWriter, *http.Request) {})
	for address, want := range map[string]string{
		secure.URL: "webhook phone: the host's certificate is not trusted",
		strings.Replace(plain.URL, "http:", "https:", 1): "webhook phone: the host does not speak TLS there: http instead of https?",
		"http://127.0.0.1:99999":                         "webhook phone: the host cannot be reached",
	} {
		s, err := New(Options{
			Webhooks:  []Webhook{{Name: "phone", URL: Secret(address)}},
			Transport: &http.Transport{DisableKeepAlives: true},
		})
		require.NoError(t, err)
		_, err = s.TryOnce(t.Context(), "phone")
		require.EqualError(t, err, want)
	}
}
