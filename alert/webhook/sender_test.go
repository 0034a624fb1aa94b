package webhook

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scripted is a transport inside a test's own time: it answers by script and notes when it was asked.
type scripted struct {
	mu     sync.Mutex
	began  time.Time
	asked  []string // "3s msg_a"
	answer func(id string, n int, r *http.Request) (*http.Response, error)
}

func (s *scripted) RoundTrip(r *http.Request) (*http.Response, error) {
	s.mu.Lock()
	id := r.Header.Get("webhook-id")
	s.asked = append(s.asked, time.Since(s.began).String()+" "+id)
	n := len(s.asked)
	s.mu.Unlock()
	return s.answer(id, n, r)
}

// reply is an answer with a status and headers in pairs.
func reply(code int, headers ...string) (*http.Response, error) {
	h := http.Header{}
	for i := 0; i+1 < len(headers); i += 2 {
		h.Set(headers[i], headers[i+1])
	}
	return &http.Response{StatusCode: code, Header: h, Body: io.NopCloser(strings.NewReader(""))}, nil
}

// play runs a Sender over an outbox for a while of test time and returns when it asked for what.
func play(t *testing.T, box *memory, d time.Duration, answer func(id string, n int, r *http.Request) (*http.Response, error)) []string {
	t.Helper()
	transport := &scripted{began: time.Now(), answer: answer}
	s, err := New(Options{
		Webhooks:  []Webhook{{Name: "phone", URL: "https://push.example/token", Secret: testSecret}},
		Outbox:    box,
		Transport: transport,
		Random:    func() float64 { return 0.5 },
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), d)
	defer cancel()
	s.Start(ctx)
	<-ctx.Done()
	require.NoError(t, s.Stop(t.Context()))
	return transport.asked
}

func TestThePaceOfTries(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "msg_a", "i1", time.Now())
		asked := play(t, box, 10*time.Minute, func(string, int, *http.Request) (*http.Response, error) { return reply(500) })
		assert.Equal(t, []string{
			"0s msg_a", "1s msg_a", "6s msg_a", "21s msg_a", "1m21s msg_a", "4m21s msg_a", "7m21s msg_a",
		}, asked)
	})
}

func TestANightOfFailuresIsNeverGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "msg_a", "i1", time.Now())
		asked := play(t, box, 72*time.Hour, func(string, int, *http.Request) (*http.Response, error) {
			return nil, &net.OpError{Op: "dial", Err: errors.New("no route to push.example")}
		})
		assert.Greater(t, len(asked), 24+2*60, "24 in the first hour, then at least two an hour")
		require.Len(t, box.rows, 1)
		assert.Equal(t, "the host cannot be reached", box.problems("msg_a")[9])
		var last time.Time
		for _, a := range box.settled["msg_a"] {
			require.Equal(t, Retry, a.Result)
			require.LessOrEqual(t, a.Next.Sub(a.At), slowest)
			require.True(t, last.Before(a.At))
			last = a.At
		}
	})
}

func TestAHangingReceiverIsLeftAfterFifteenSeconds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "msg_a", "i1", time.Now())
		asked := play(t, box, 20*time.Second, func(_ string, n int, r *http.Request) (*http.Response, error) {
			if n == 1 {
				<-r.Context().Done()
				return nil, r.Context().Err()
			}
			return reply(200)
		})
		assert.Equal(t, []string{"0s msg_a", "16s msg_a"}, asked)
		assert.Equal(t, []string{"no answer within 15s", ""}, box.problems("msg_a"))
	})
}

func TestRetryAfterIsObeyed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "msg_a", "i1", time.Now())
		asked := play(t, box, 3*time.Hour, func(_ string, n int, _ *http.Request) (*http.Response, error) {
			switch n {
			case 1:
				return reply(429, "Retry-After", "90")
			case 2:
				return reply(503, "Retry-After", time.Now().Add(10*time.Minute).UTC().Format(http.TimeFormat))
			case 3:
				return reply(503, "Retry-After", "86400") // a day: an hour is obeyed
			case 4:
				return reply(429, "Retry-After", "soon")
			}
			return reply(204)
		})
		assert.Equal(t, []string{"0s msg_a", "1m30s msg_a", "11m30s msg_a", "1h11m30s msg_a", "1h12m30s msg_a"}, asked)
	})
}

func TestOrderWithinAnIncidentOnly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		for _, m := range [][2]string{{"a1", "a"}, {"a2", "a"}, {"b1", "b"}, {"b2", "b"}} {
			box.put(t, m[0], m[1], time.Now())
		}
		asked := play(t, box, 5*time.Second, func(id string, n int, _ *http.Request) (*http.Response, error) {
			if id == "a1" && n < 5 {
				return reply(500)
			}
			return reply(200)
		})
		assert.Equal(t, []string{"0s a1", "0s b1", "0s b2", "1s a1"}, asked[:4])
		assert.NotContains(t, strings.Join(asked, " "), "a2", "not before a1 is delivered")
	})
}

func TestANewAlarmDoesNotWaitBehindManyThatHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		for _, id := range []string{"a", "b", "c", "d"} {
			box.put(t, id, id, time.Now())
			box.rows[len(box.rows)-1].Attempts = 9
		}
		box.put(t, "new", "new", time.Now())
		asked := play(t, box, 20*time.Second, func(id string, _ int, r *http.Request) (*http.Response, error) {
			if id == "new" {
				return reply(200)
			}
			<-r.Context().Done()
			return nil, r.Context().Err()
		})
		assert.Equal(t, "0s new", asked[0])
	})
}

func TestWithoutAWakeItLooksEveryMinute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "later", "i1", time.Now())
		box.rows[0].Next = time.Now().Add(time.Hour)
		time.AfterFunc(10*time.Second, func() { box.put(t, "new", "i2", time.Now()) })
		asked := play(t, box, 2*time.Hour, func(string, int, *http.Request) (*http.Response, error) { return reply(200) })
		assert.Equal(t, []string{"1m0s new", "1h0m0s later"}, asked)
	})
}

func TestTheOutboxFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "msg_a", "i1", time.Now())
		box.fail(2) // twice unreadable
		asked := play(t, box, time.Minute, func(string, int, *http.Request) (*http.Response, error) {
			box.fail(3) // then three times unwritable
			return reply(200)
		})
		assert.Equal(t, []string{"10s msg_a"}, asked, "sent once, though it took long to note that it was")
		assert.Equal(t, []Result{Delivered}, box.log("msg_a"))
		assert.Equal(t, 0, box.failing)
	})
}

func TestWakeAndMetrics(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		registry := prometheus.NewRegistry()
		var log bytes.Buffer
		transport := &scripted{began: time.Now(), answer: func(_ string, n int, _ *http.Request) (*http.Response, error) {
			return reply(map[int]int{1: 500, 2: 410}[n] + 200*(n/3))
		}}
		s, err := New(Options{
			Webhooks:  []Webhook{{Name: "phone", URL: "https://push.example/token"}, {Name: "board", URL: "https://board.example"}},
			Outbox:    only{box, "phone"},
			Transport: transport, Registerer: registry, Random: func() float64 { return 0.5 },
			Log: slog.New(slog.NewTextHandler(&log, nil)),
		})
		require.NoError(t, err)
		zero := `
# HELP spile_webhook_deliveries_total Attempts to deliver a message, by outcome: delivered, retry, dead.
# TYPE spile_webhook_deliveries_total counter
spile_webhook_deliveries_total{outcome="dead",webhook="board"} 0
spile_webhook_deliveries_total{outcome="dead",webhook="phone"} 0
spile_webhook_deliveries_total{outcome="delivered",webhook="board"} 0
spile_webhook_deliveries_total{outcome="delivered",webhook="phone"} 0
spile_webhook_deliveries_total{outcome="retry",webhook="board"} 0
spile_webhook_deliveries_total{outcome="retry",webhook="phone"} 0
# HELP spile_webhook_oldest_pending_seconds Age of the oldest message that waits for its webhook, 0 when none does.
# TYPE spile_webhook_oldest_pending_seconds gauge
spile_webhook_oldest_pending_seconds{webhook="board"} 0
spile_webhook_oldest_pending_seconds{webhook="phone"} 0
`
		require.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(zero)))
		problems, err := testutil.GatherAndLint(registry)
		require.NoError(t, err)
		require.Empty(t, problems)

		s.Start(t.Context())
		synctest.Wait()
		box.put(t, "msg_a", "i1", time.Now().Add(-7*time.Second))
		s.Wake()
		s.Wake()
		synctest.Wait()
		half := strings.NewReplacer(
			`{outcome="retry",webhook="phone"} 0`, `{outcome="retry",webhook="phone"} 1`,
			`seconds{webhook="phone"} 0`, `seconds{webhook="phone"} 7`,
		).Replace(zero)
		require.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(half)))
		box.waitSettled(t, 2) // the second is a second later
		synctest.Wait()
		assert.Equal(t, []Result{Retry, Dead}, box.log("msg_a"))
		assert.Contains(t, log.String(), "notification given up")
		require.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(zero), "spile_webhook_oldest_pending_seconds"))
		assert.InDelta(t, 1, testutil.ToFloat64(s.metrics.deliveries.WithLabelValues("phone", "dead")), 0)
		require.NoError(t, s.Stop(t.Context()))
	})
}

// only is an outbox of which one webhook has all messages.
type only struct {
	*memory
	webhook string
}

func (o only) Pending(ctx context.Context, webhook string, limit int) ([]Message, error) {
	if webhook != o.webhook {
		return nil, nil
	}
	return o.memory.Pending(ctx, webhook, limit)
}

func TestNewRefuses(t *testing.T) {
	_, err := New(Options{Webhooks: []Webhook{
		{Name: "a", URL: "push.example/token"},
		{Name: "b", URL: "https://push.example/token", Secret: "c2hvcnQ="},
		{Name: "c", URL: "https://push.example/token", Secret: "%%%"},
		{Name: "d", URL: "https://push.example/token", Body: "{{.Nonsense}}"},
		{Name: "e", URL: "https://push.example/token", Body: "{{"},
		{Name: "f", URL: "https://push.example/token", Headers: map[string]string{"X Y": "1"}},
		{Name: "g", URL: "https://push.example/token", Headers: map[string]string{"Title": "{{.Evidence.Onset.Low}}"}},
		{Name: "h", URL: "https://push.example/token"},
		{Name: "h", URL: "https://push.example/token"},
		{Name: "i", URL: "https://push.example:to%ken"},
		{URL: "https://push.example/token"},
	}})
	require.Error(t, err)
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, 10, "all at once, each with its name")
	for _, line := range lines {
		assert.Regexp(t, `^webhook [a-i]: |^a webhook needs a name$`, line)
		assert.NotContains(t, line, "token")
		assert.NotContains(t, line, "push.example")
		assert.NotContains(t, line, "c2hvcnQ")
	}
	registry := prometheus.NewRegistry()
	_, err = New(Options{Webhooks: []Webhook{{Name: "h", URL: "https://push.example"}}, Registerer: registry})
	require.NoError(t, err)
	_, err = New(Options{Registerer: registry})
	require.ErrorContains(t, err, "webhook metrics", "two senders need two registries")
}
