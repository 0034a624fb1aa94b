package webhook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"
)

var errCrash = errors.New("the machine is gone")

// mortal stands between a Sender and the world and counts the steps it takes: a look into the outbox, a request before
// and after it reached the receiver, an attempt before and after it was noted. At the step it is given the machine goes:
// that step and all that follow fail and leave no trace.
type mortal struct {
	*memory
	transport http.RoundTripper
	mu        sync.Mutex
	left      int // steps to live
}

func (m *mortal) step() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.left--; m.left < 0 {
		return errCrash
	}
	return nil
}

func (m *mortal) dead() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.left < 0
}

func (m *mortal) Queues(ctx context.Context, webhook string) ([]Queue, error) {
	if err := m.step(); err != nil {
		return nil, err
	}
	return m.memory.Queues(ctx, webhook)
}

func (m *mortal) Settle(ctx context.Context, id string, a Attempt) error {
	if err := m.step(); err != nil {
		return err
	}
	if err := m.memory.Settle(ctx, id, a); err != nil {
		return err
	}
	return m.step()
}

func (m *mortal) RoundTrip(r *http.Request) (*http.Response, error) {
	if err := m.step(); err != nil {
		return nil, err
	}
	response, err := m.transport.RoundTrip(r)
	if gone := m.step(); gone != nil {
		return nil, gone
	}
	return response, err
}

// moody is a receiver that fails as receivers do, and notes what it took.
type moody struct {
	mu     sync.Mutex
	random *rand.Rand
	heard  []heard
}

func (r *moody) RoundTrip(request *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(request.Body)
	if err != nil {
		return nil, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.heard = append(r.heard, heard{header: request.Header, body: string(body)})
	switch r.random.IntN(5) {
	case 0:
		return reply(503)
	case 1:
		return reply(429, "Retry-After", "30")
	case 2: // it took the message, and the answer was lost
		return nil, io.ErrUnexpectedEOF
	}
	return reply(204)
}

// TestKilledBetweenAnyTwoSteps lets the machine go at every step there is, once each, and asks every time that all
// messages arrive, those of an incident in order, each under its one id with its one body, signed.
func TestKilledBetweenAnyTwoSteps(t *testing.T) {
	steps := 0
	for survived := false; !survived; steps++ {
		synctest.Test(t, func(t *testing.T) {
			box := newMemory()
			receiver := &moody{random: rand.New(rand.NewPCG(uint64(steps), 1))}
			for i := range 6 {
				box.put(t, fmt.Sprintf("%c%d", 'a'+i%2, i/2), string(rune('a'+i%2)), time.Now())
			}
			survived = !live(t, box, receiver, steps)
			live(t, box, receiver, 1_000_000)
			require.Empty(t, box.rows, "killed at step %d: everything is delivered", steps)
			requireInOrder(t, receiver.heard)
		})
	}
	require.Greater(t, steps, 6*4, "each message takes a request and a note, each with a before and an after")
	t.Logf("killed at each of %d steps", steps-1)
}

// live runs a Sender until all is delivered or the machine goes, and tells whether it went.
func live(t *testing.T, box *memory, receiver http.RoundTripper, steps int) bool {
	m := &mortal{memory: box, transport: receiver, left: steps}
	s, err := New(Options{
		Webhooks: []Webhook{{Name: "phone", URL: "https://push.example/token", Secret: testSecret}},
		Outbox:   m, Transport: m, Random: func() float64 { return 0.5 },
	})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	s.Start(ctx)
	for i := 0; i < 24*60 && !m.dead() && !box.empty(); i++ {
		<-time.After(time.Minute)
	}
	cancel()
	expired, stop := context.WithCancel(t.Context())
	stop()
	_ = s.Stop(expired) // a machine that is gone does not stop in peace
	return m.dead()
}

// requireInOrder checks what a receiver that drops repeats made of what it heard.
func requireInOrder(t *testing.T, all []heard) {
	t.Helper()
	verifier, err := standardwebhooks.NewWebhook(testSecret)
	require.NoError(t, err)
	bodies, order := map[string]string{}, map[byte]string{}
	for _, h := range all {
		id := h.header.Get("webhook-id")
		// The library holds the time against the machine's own clock, which is not the test's.
		require.NoError(t, verifier.VerifyIgnoringTimestamp([]byte(h.body), h.header))
		if body, again := bodies[id]; again {
			require.Equal(t, body, h.body, "one id, one body")
			continue
		}
		bodies[id] = h.body
		order[id[0]] += id + " "
	}
	require.Equal(t, map[byte]string{'a': "a0 a1 a2 ", 'b': "b0 b1 b2 "}, order)
}
