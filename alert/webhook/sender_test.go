package webhook

import (
	"bytes"
	"context"
	"errors"
	"fmt"
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

// hire makes a Sender over an outbox, to a receiver that answers by script.
func hire(t *testing.T, box Outbox, answer func(id string, n int, r *http.Request) (*http.Response, error)) (*Sender, *scripted) {
	t.Helper()
	transport := &scripted{began: time.Now(), answer: answer}
	s, err := New(Options{
		Webhooks:  []Webhook{{Name: "phone", URL: "https://push.example/token", Secret: testSecret}},
		Outbox:    box,
		Transport: transport,
		Random:    func() float64 { return 0.5 },
	})
	require.NoError(t, err)
	return s, transport
}

// play runs a Sender over an outbox for a while of test time and returns when it asked for what.
func play(t *testing.T, box Outbox, d time.Duration, answer func(id string, n int, r *http.Request) (*http.Response, error)) []string {
	t.Helper()
	s, transport := hire(t, box, answer)
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
		asked := play(t, box, 25*time.Second, func(id string, _ int, _ *http.Request) (*http.Response, error) {
			if id == "a1" && time.Since(box.began) < 6*time.Second {
				return reply(500)
			}
			return reply(200)
		})
		assert.ElementsMatch(t, []string{"0s a1", "0s b1", "0s b2"}, asked[:3], "the one that fails holds up no other")
		assert.Equal(t, []string{"1s a1", "6s a1", "6s a2"}, asked[3:], "a2 not before a1 is delivered")
	})
}

func TestANewAlarmDoesNotWaitBehindManyThatHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		for i := range 3000 {
			box.put(t, fmt.Sprint("stuck", i), fmt.Sprint(i%20), time.Now())
			box.rows[i].Attempts = 9
		}
		time.AfterFunc(7*time.Second, func() { box.put(t, "new", "new", time.Now()) })
		s, transport := hire(t, box, func(id string, _ int, r *http.Request) (*http.Response, error) {
			if id == "new" {
				return reply(200)
			}
			<-r.Context().Done()
			return nil, r.Context().Err()
		})
		s.Start(t.Context())
		<-time.After(7*time.Second + time.Millisecond)
		s.Wake()
		synctest.Wait()
		assert.Len(t, transport.asked, retryAbreast+1, "so many of those that hang are under way")
		assert.Equal(t, "7.001s new", transport.asked[retryAbreast])
		require.NoError(t, s.Stop(t.Context()))
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
			return reply(map[int]int{1: 500, 2: 410}[n])
		}}
		s, err := New(Options{
			Webhooks:  []Webhook{{Name: "phone", URL: "https://push.example/token"}, {Name: "board", URL: "https://board.example"}},
			Outbox:    only{box, "phone"},
			Transport: transport, Registerer: registry, Random: func() float64 { return 0.5 },
			Log: slog.New(slog.NewTextHandler(&log, nil)),
		})
		require.NoError(t, err)
		requireFigures(t, registry, map[string]float64{})
		problems, err := testutil.GatherAndLint(registry)
		require.NoError(t, err)
		require.Empty(t, problems)

		s.Start(t.Context())
		synctest.Wait()
		box.put(t, "msg_a", "i1", time.Now().Add(-7*time.Second))
		box.put(t, "msg_b", "i1", time.Now())
		s.Wake()
		s.Wake()
		synctest.Wait()
		requireFigures(t, registry, map[string]float64{"deliveries_total retry": 1, "oldest_pending_seconds": 7, "pending_messages": 2})
		<-time.After(3 * time.Second) // the second try is after one
		requireFigures(t, registry, map[string]float64{
			"deliveries_total retry": 1, "deliveries_total dead": 1, "oldest_pending_seconds": 10, "pending_messages": 2,
			"stuck_seconds": 2, "dead": 1,
		})
		assert.Equal(t, []Result{Retry, Dead}, box.log("msg_a"))
		assert.Contains(t, log.String(), "webhook is dead")
		require.NoError(t, s.Stop(t.Context()))
	})
}

// requireFigures checks every series of the webhooks phone and board. What is not named is zero, board is always.
func requireFigures(t *testing.T, registry *prometheus.Registry, phone map[string]float64) {
	t.Helper()
	families, err := registry.Gather()
	require.NoError(t, err)
	series := 0
	for _, f := range families {
		for _, m := range f.GetMetric() {
			series++
			key := strings.TrimPrefix(f.GetName(), "spile_webhook_")
			of := ""
			for _, l := range m.GetLabel() {
				if l.GetName() == "webhook" {
					of = l.GetValue()
				} else {
					key += " " + l.GetValue()
				}
			}
			want := phone[key]
			if of == "board" {
				want = 0
			}
			require.InDelta(t, want, m.GetCounter().GetValue()+m.GetGauge().GetValue(), 1e-9, "%s of %s", key, of)
		}
	}
	require.Equal(t, 14, series, "every series exists from the start")
}

// only is an outbox of which one webhook has all messages.
type only struct {
	*memory
	webhook string
}

func (o only) Queues(ctx context.Context, webhook string) ([]Queue, error) {
	if webhook != o.webhook {
		return nil, nil
	}
	return o.memory.Queues(ctx, webhook)
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
		assert.Regexp(t, `^webhook [a-i]: (url|secret|body|headers|the name)|^a webhook needs a name$`, line)
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
