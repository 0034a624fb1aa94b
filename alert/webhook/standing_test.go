package webhook

import (
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// watched plays a Sender and returns when its webhook turned, and how.
func watched(t *testing.T, box *memory, d time.Duration, answer func(id string, n int, r *http.Request) (*http.Response, error)) (turns []string) {
	t.Helper()
	s, transport := hire(t, box, answer)
	s.turned = func(now Standing) {
		word := "works"
		if now.Dead {
			word = "dead"
		} else if now.Failing {
			word = "fails: " + now.Problem
		}
		turns = append(turns, time.Since(transport.began).Truncate(time.Minute).String()+" "+word)
	}
	s.Start(t.Context())
	<-time.After(d)
	require.NoError(t, s.Stop(t.Context()))
	return turns
}

func TestAWebhookThatFailsForAQuarterOfAnHourIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "a", "stuck", time.Now())
		box.put(t, "b", "other", time.Now())
		turns := watched(t, box, 2*time.Hour, func(id string, _ int, _ *http.Request) (*http.Response, error) {
			if id == "a" && time.Since(box.began) < time.Hour {
				return reply(503)
			}
			return reply(200)
		})
		assert.Equal(t, []string{"15m0s fails: answered 503 Service Unavailable", "1h1m0s works"}, turns,
			"one stuck queue is enough, though another went through")
	})
}

func TestAWebhookThatRecoversInTimeIsNotTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "a", "i1", time.Now())
		turns := watched(t, box, 2*time.Hour, func(string, int, *http.Request) (*http.Response, error) {
			if time.Since(box.began) < 10*time.Minute {
				return reply(503)
			}
			return reply(200)
		})
		assert.Equal(t, []string{"10m0s works"}, turns)
	})
}

func TestADeadWebhookIsToldAtOnceAndRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		box.put(t, "a", "i1", time.Now())
		asked := 0
		turns := watched(t, box, 48*time.Hour, func(string, int, *http.Request) (*http.Response, error) {
			asked++
			return reply(410)
		})
		assert.Equal(t, []string{"0s dead"}, turns)
		assert.Equal(t, 1, asked)
	})
}

func TestAnEmptyOutboxWorksAndAStartAloneMendsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		assert.Equal(t, []string{"0s works"}, watched(t, newMemory(), time.Hour, nil))
		box := newMemory()
		box.put(t, "a", "i1", time.Now())
		turns := watched(t, box, 14*time.Minute, func(string, int, *http.Request) (*http.Response, error) { return reply(500) })
		assert.Empty(t, turns, "nobody knows yet")
	})
}

func TestStandingsShowWhatWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := newMemory()
		created := time.Now()
		box.put(t, "a", "i1", created)
		box.put(t, "b", "i1", created)
		s, _ := hire(t, box, func(id string, _ int, _ *http.Request) (*http.Response, error) {
			return reply(map[string]int{"a": 200, "b": 500}[id])
		})
		s.Start(t.Context())
		<-time.After(time.Minute)
		require.NoError(t, s.Stop(t.Context()))
		assert.Equal(t, []Standing{{
			Webhook: "phone", Waiting: 1, Oldest: created, Delivered: created, Since: created, Problem: "answered 500 Internal Server Error",
		}}, s.Standings())
	})
}
