// Package subscriber hears the probes through a broker that stands already.
//
// It owns one session at that broker, under a fixed client id and kept by the
// broker while spile is away (CleanSession false), and subscribes at QoS 1 on
// every connection. Messages go to the intake in the order they come, and
// each is acknowledged only after its commit, in the same order. What was not
// acknowledged the broker delivers again on the next connection: nothing that
// the broker kept is lost, repeats are certain, and the journal counts a
// repeat once.
//
// The intake holds a batch that the journal does not take and tries it again,
// so a failing journal needs nothing from here: unacknowledged messages fill
// the window and the intake's queue, then the connection is no longer read,
// the broker keeps what follows, and if it hangs up meanwhile, it delivers
// again what it saw no acknowledgement for. The link counts as lost then, and
// is taken up again once the intake takes messages.
//
// What a broker keeps for an absent session has bounds of its own: Mosquitto
// drops what exceeds max_queued_messages, 1000 unless configured otherwise
// (mosquitto.conf(5)). It also grants a subscription that its access list then
// keeps silent, which looks like probes that say nothing. Messages published at QoS 0, and a reading without a
// time of its own that is delivered twice, are beyond repair here.
//
// A will that the broker sends for a vanished client looks like any message.
// Retained messages come marked as such on each new connection.
package subscriber

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"spile/ingest"
)

const (
	firstBackoff = time.Second
	lastBackoff  = 30 * time.Second
	window       = 2048 // messages taken from the broker and not yet acknowledged
)

// Intake takes messages in order and calls done after their commit;
// ingest.Intake is one.
type Intake interface {
	Offer(ctx context.Context, m ingest.Message, done func(error)) error
}

// Options is what a Subscriber is made of.
type Options struct {
	Broker   string // mqtt://host:1883, mqtts://host:8883, ws:// or wss://
	ClientID string // the session's name at the broker: always the same, and nobody else's
	Username string
	Password string
	TLS      *tls.Config // for mqtts and wss; nil: the system's certificates
	Topics   []string    // filters, + and # allowed
	Intake   Intake
	Up       func(up bool, detail string) // told when the link is found or lost; must not block; nil: nobody
	Log      *slog.Logger                 // nil: silent
}

// Subscriber listens to an outside broker.
type Subscriber struct {
	options Options
	broker  *url.URL
	backoff func(failures int) time.Duration
	grant   time.Duration
	heard   atomic.Int64 // messages that the intake took

	turn   chan struct{} // held while a message is on its way into the intake
	window chan struct{} // holds one for each message not yet acknowledged
	acks   chan func()   // acknowledgements in the order of the commits; room for the whole window
	cancel context.CancelFunc
	hush   context.CancelFunc // ends hearing; acknowledging goes on
	ended  chan struct{}      // closed when there will be no more connections
	acked  chan struct{}      // closed when there will be no more acknowledgements

	mu     sync.Mutex // guards what follows
	ready  bool
	told   bool // Up was called at least once
	reason string
}

// New makes a subscriber that is not connected yet.
func New(o Options) (*Subscriber, error) {
	broker, err := parseBroker(o.Broker)
	switch {
	case err != nil:
		return nil, err
	case o.Intake == nil:
		return nil, errors.New("subscriber: needs an intake")
	case o.ClientID == "":
		return nil, errors.New("subscriber: needs a client id: the broker keeps messages for a session under a fixed name only")
	case len(o.Topics) == 0:
		return nil, errors.New("subscriber: needs a topic to listen to")
	}
	o.Topics = slices.Compact(slices.Sorted(slices.Values(o.Topics)))
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Up == nil {
		o.Up = func(bool, string) {}
	}
	return &Subscriber{
		options: o,
		broker:  broker,
		backoff: backoff,
		grant:   grantTime,
		turn:    make(chan struct{}, 1),
		window:  make(chan struct{}, window),
		acks:    make(chan func(), window),
		ended:   make(chan struct{}),
		acked:   make(chan struct{}),
		reason:  "not connected yet",
	}, nil
}

// parseBroker reads a broker's URL. A port may be left out.
func parseBroker(text string) (*url.URL, error) {
	u, err := url.Parse(text)
	if err != nil {
		return nil, errors.New("subscriber: the broker's address is not a URL: write mqtt://host:1883") // err would show a password
	}
	ports := map[string]string{"mqtt": "1883", "tcp": "1883", "mqtts": "8883", "ssl": "8883", "tls": "8883", "ws": "80", "wss": "443"}
	port, known := ports[u.Scheme]
	if !known || u.Hostname() == "" {
		return nil, fmt.Errorf("subscriber: broker %q: write mqtt://host:1883, or mqtts://host:8883 under TLS", u.Redacted())
	}
	if u.Port() == "" {
		u.Host = u.Host + ":" + port
	}
	return u, nil
}

// backoff is the pause before the next attempt: 1, 2, 4 … 30 s.
func backoff(failures int) time.Duration {
	return min(firstBackoff<<min(failures, 10), lastBackoff)
}

// Start connects, and reconnects for ever. A broker that cannot be reached is
// reported by Up and Ready; it does not keep spile from starting.
func (s *Subscriber) Start(ctx context.Context) {
	ctx, s.cancel = context.WithCancel(context.WithoutCancel(ctx))
	hearing, hush := context.WithCancel(ctx)
	s.hush = hush
	go s.acknowledgeAll(ctx)
	go s.stayConnected(ctx, hearing)
}

// Stop hears nothing more, acknowledges what the intake still commits while
// ctx lasts, and disconnects; the session stays at the broker. Call it once,
// after Start.
func (s *Subscriber) Stop(ctx context.Context) error {
	s.hush()
	var late error
	for range cap(s.window) {
		select {
		case s.window <- struct{}{}:
			continue
		case <-ctx.Done():
			late = fmt.Errorf("subscriber: stopped with messages not acknowledged; the broker will deliver them again: %w", ctx.Err())
		}
		break
	}
	s.cancel()
	<-s.ended
	<-s.acked
	return late
}

// Ready tells whether the broker has granted the subscription on the present
// connection, or else why not.
func (s *Subscriber) Ready() (ok bool, reason string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ready, s.reason
}

// report notes the state of the link and tells Up of a change.
func (s *Subscriber) report(ready bool, reason string) {
	s.mu.Lock()
	news := !s.told || s.ready != ready
	s.ready, s.reason, s.told = ready, reason, true
	s.mu.Unlock()
	if !news {
		return
	}
	if ready {
		s.options.Log.Info("listening to the broker", "broker", s.broker.Redacted(), "detail", reason)
	} else {
		s.options.Log.Warn("the broker is out of reach", "broker", s.broker.Redacted(), "reason", reason)
	}
	s.options.Up(ready, reason)
}

// stayConnected keeps a connection while ctx lasts. A new one waits until the
// last message of the one before is with the intake: its redelivery must not
// overtake it, nor may handlers pile up while the journal takes nothing.
func (s *Subscriber) stayConnected(ctx, hearing context.Context) {
	defer close(s.ended)
	failures := 0
	for {
		began := time.Now()
		err := s.serve(ctx, hearing)
		if ctx.Err() != nil {
			return
		}
		s.report(false, err.Error())
		if time.Since(began) > lastBackoff {
			failures = 0 // it had worked for a while
		}
		if !pause(ctx, s.backoff(failures)) {
			return
		}
		failures++
		select {
		case s.turn <- struct{}{}:
			<-s.turn
		case <-ctx.Done():
			return
		}
	}
}

// pause waits; false when ctx has ended.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
