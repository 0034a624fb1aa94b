package subscriber

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"spile/ingest"
)

const (
	patient = 20 * time.Second       // for what must come
	silence = 200 * time.Millisecond // for what must not
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// ear is an intake that answers when the test says so.
type ear struct {
	shut chan struct{} // while not nil and open, Offer finds no room

	mu      sync.Mutex
	heard   []ingest.Message
	waiting []func(error) // done of what is not yet on disk
	prompt  bool          // all is on disk at once
}

func (e *ear) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	if e.shut != nil {
		select {
		case <-e.shut:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.heard = append(e.heard, m)
	if e.prompt {
		done(nil)
		return nil
	}
	e.waiting = append(e.waiting, done)
	return nil
}

// settle answers all that waits.
func (e *ear) settle(err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, done := range e.waiting {
		done(err)
	}
	e.waiting = nil
}

func (e *ear) payloads() (all []string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, m := range e.heard {
		all = append(all, string(m.Payload))
	}
	return all
}

// waitFor waits until the payloads have been heard, and no others.
func (e *ear) waitFor(t *testing.T, want ...string) {
	t.Helper()
	require.EventuallyWithT(t, func(c *assert.CollectT) { assert.Equal(c, want, e.payloads()) }, patient, 5*time.Millisecond)
}

// hearsNoMore waits a while in which nothing may come.
func (e *ear) hearsNoMore(t *testing.T, than ...string) {
	t.Helper()
	require.Never(t, func() bool { return len(e.payloads()) != len(than) }, silence, 20*time.Millisecond)
	require.Equal(t, than, e.payloads())
}

// start runs a subscriber that reconnects quickly, for the time of the test.
func start(t *testing.T, o Options) *Subscriber {
	t.Helper()
	s, err := New(withDefaults(o))
	require.NoError(t, err)
	s.backoff = func(int) time.Duration { return 20 * time.Millisecond }
	s.Start(t.Context())
	return s
}

func withDefaults(o Options) Options {
	if o.ClientID == "" {
		o.ClientID = "spile-test"
	}
	if o.Topics == nil {
		o.Topics = []string{"cellar/+/+"}
	}
	return o
}

// stop ends a subscriber that has nothing left to acknowledge.
func stop(t *testing.T, s *Subscriber) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patient)
	defer cancel()
	require.NoError(t, s.Stop(ctx))
}

// stopNow ends a subscriber whatever it still has to acknowledge.
func stopNow(t *testing.T, s *Subscriber) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	require.ErrorIs(t, s.Stop(ctx), context.Canceled)
}

func ready(t *testing.T, s *Subscriber) {
	t.Helper()
	require.EventuallyWithT(t, func(c *assert.CollectT) {
		ok, reason := s.Ready()
		assert.True(c, ok, reason)
	}, patient, 5*time.Millisecond)
}

// notReady waits until the link is down for a reason that holds the words.
func notReady(t *testing.T, s *Subscriber, words string) {
	t.Helper()
	require.EventuallyWithT(t, func(c *assert.CollectT) {
		ok, reason := s.Ready()
		assert.False(c, ok)
		assert.Contains(c, reason, words)
	}, patient, 5*time.Millisecond)
}

func TestOptionsThatCannotWorkAreRefusedWithTheMend(t *testing.T) {
	good := Options{Broker: "mqtt://broker.lan", ClientID: "spile", Topics: []string{"cellar/+/+"}, Intake: &ear{}}
	tests := map[string]struct {
		change func(*Options)
		want   string
	}{
		"no intake":   {func(o *Options) { o.Intake = nil }, "needs an intake"},
		"no id":       {func(o *Options) { o.ClientID = "" }, "needs a client id"},
		"no topics":   {func(o *Options) { o.Topics = nil }, "needs a topic"},
		"no broker":   {func(o *Options) { o.Broker = "" }, "write mqtt://host:1883"},
		"only a host": {func(o *Options) { o.Broker = "broker.lan:1883" }, "write mqtt://host:1883"},
		"http":        {func(o *Options) { o.Broker = "http://broker.lan" }, "write mqtt://host:1883"},
		"no URL":      {func(o *Options) { o.Broker = "mqtt://u:hop-1@h:x" }, "write mqtt://host:1883"},
		"no host":     {func(o *Options) { o.Broker = "mqtt://u:hop-1@:1883" }, "write mqtt://host:1883"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			o := good
			tt.change(&o)
			_, err := New(o)
			require.ErrorContains(t, err, tt.want)
			assert.NotContains(t, err.Error(), "hop-1", "a password")
		})
	}
	_, err := New(good)
	require.NoError(t, err)
}

func TestAPortMayBeLeftOut(t *testing.T) {
	for text, want := range map[string]string{
		"mqtt://broker.lan": "broker.lan:1883", "mqtts://broker.lan": "broker.lan:8883", "mqtt://broker.lan:1999": "broker.lan:1999",
		"wss://broker.lan/mqtt": "broker.lan:443", "mqtt://[2001:db8::1]": "[2001:db8::1]:1883",
	} {
		u, err := parseBroker(text)
		require.NoError(t, err)
		assert.Equal(t, want, u.Host, text)
	}
}

func TestBackoffGrowsToHalfAMinute(t *testing.T) {
	var got []time.Duration
	for n := range 7 {
		got = append(got, backoff(n))
	}
	assert.Equal(t, []time.Duration{1e9, 2e9, 4e9, 8e9, 16e9, 30e9, 30e9}, got)
	assert.Equal(t, 30*time.Second, backoff(1e9))
}

func TestWhatTheBrokerGrants(t *testing.T) {
	tests := map[string]struct {
		granted     map[string]byte
		detail, err string
	}{
		"all":     {map[string]byte{"a": 1, "b": 2}, "subscribed", ""},
		"weakly":  {map[string]byte{"a": 1, "c": 0, "b": 0}, "QoS 0 only for b, c", ""},
		"not all": {map[string]byte{"a": 1, "c": 0x80, "b": 0x80}, "", "listen to b, c"},
		"nothing": {nil, "", "no subscription"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			detail, err := judgeGrant(tt.granted)
			assert.Contains(t, detail, tt.detail)
			if tt.err == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.err)
		})
	}
}

func TestABrokerThatCannotBeReachedIsReportedOnce(t *testing.T) {
	var mu sync.Mutex
	var told []string
	s := start(t, Options{Broker: "mqtt://127.0.0.1:1", Intake: &ear{}, Up: func(up bool, detail string) {
		mu.Lock()
		defer mu.Unlock()
		assert.False(t, up)
		told = append(told, detail)
	}})
	notReady(t, s, "connection refused")
	require.Never(t, func() bool { mu.Lock(); defer mu.Unlock(); return len(told) != 1 }, silence, 20*time.Millisecond)
	stop(t, s)
	assert.Contains(t, told[0], "connection refused")
}

func TestASubscriptionThatIsDeniedIsNotReady(t *testing.T) {
	s := start(t, Options{Broker: stingy(t), Intake: &ear{}})
	notReady(t, s, "does not let this user listen to cellar/+/+")
	stop(t, s)
}

// The answer of an intake that stops leaves the message to the broker and the
// window free.
func TestWhatIsNotOnDiskIsNotAcknowledged(t *testing.T) {
	s, err := New(Options{Broker: "mqtt://broker.lan", ClientID: "spile", Topics: []string{"cellar/+/+"}, Intake: &ear{}})
	require.NoError(t, err)
	s.window <- struct{}{}
	s.settle(nil)(errors.New("stopped"))
	assert.Empty(t, s.window)
	assert.Empty(t, s.acks)
}
