package webhook

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/alert"
)

// The pace of looking into the outbox.
const (
	idle       = time.Minute     // without a Wake
	outboxWait = 5 * time.Second // after the outbox failed
	gateWait   = time.Second     // after the gate was found closed
)

// Options are what a Sender needs. Only Webhooks and, to Start, Outbox must be given.
type Options struct {
	Webhooks   []Webhook
	Outbox     Outbox
	Words      alert.Words
	Transport  http.RoundTripper // of every webhook; nil: each has its own
	Clock      func() time.Time  // nil: time.Now
	Random     func() float64    // in [0, 1); nil: math/rand
	Turned     func(Standing)    // a webhook has begun or ceased to fail; it must not block; nil: nobody asks
	Gate       Gate              // whether messages may go; nil: always
	Log        *slog.Logger      // nil: silent
	Registerer prometheus.Registerer
}

// Sender delivers what lies in an outbox.
type Sender struct {
	outbox  Outbox
	clock   func() time.Time
	random  func() float64
	pause   func(failures int, age time.Duration, random float64) time.Duration
	turned  func(Standing)
	gate    Gate
	sending atomic.Int64 // messages under way
	log     *slog.Logger
	metrics *metrics
	lanes   []*lane

	stop  context.CancelFunc // takes up no further message
	abort context.CancelFunc // gives up those under way
	done  sync.WaitGroup
}

// New checks every webhook whole and reports all that is wrong with them.
func New(o Options) (*Sender, error) {
	s := &Sender{outbox: o.Outbox, clock: o.Clock, random: o.Random, pause: pause, turned: o.Turned, gate: o.Gate, log: o.Log}
	s.fill()
	var problems []error
	names := map[string]bool{}
	for _, w := range o.Webhooks {
		t, faults := newTarget(w, o.Words, o.Transport)
		for _, f := range faults {
			problems = append(problems, fmt.Errorf("webhook %s: %w", w.Name, f))
		}
		switch {
		case w.Name == "":
			problems = append(problems, errors.New("a webhook needs a name"))
		case names[w.Name]:
			problems = append(problems, fmt.Errorf("webhook %s: the name is given twice", w.Name))
		}
		names[w.Name] = true
		s.lanes = append(s.lanes, &lane{target: t, wake: make(chan struct{}, 1)})
	}
	if err := errors.Join(problems...); err != nil {
		return nil, err
	}
	registerer := o.Registerer
	if registerer == nil {
		registerer = prometheus.NewRegistry()
	}
	var err error
	s.metrics, err = newMetrics(registerer, s.lanes, s.clock)
	return s, err
}

// fill puts in what the options leave out.
func (s *Sender) fill() {
	if s.clock == nil {
		s.clock = time.Now
	}
	if s.random == nil {
		s.random = rand.Float64
	}
	if s.turned == nil {
		s.turned = func(Standing) {}
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
}

// Gate decides whether messages may go. While they may not they wait in the outbox, and count as nobody's failure.
type Gate interface {
	Speaks() bool                 // at once, as far as is known
	May(ctx context.Context) bool // for one message that is about to go; it may ask others
}

// Busy tells whether a message is under way.
func (s *Sender) Busy() bool { return s.sending.Load() > 0 }

// Start begins to deliver, until Stop is called or ctx ends. It is called once.
func (s *Sender) Start(ctx context.Context) {
	run, stop := context.WithCancel(ctx)
	work, abort := context.WithCancel(context.WithoutCancel(ctx))
	s.stop, s.abort = stop, abort
	for _, l := range s.lanes {
		s.done.Go(func() { s.run(run, work, l) })
	}
}

// Stop takes up no further message and waits for those under way. When ctx ends first they are given up; they stay in
// the outbox. It may be called without Start.
func (s *Sender) Stop(ctx context.Context) error {
	if s.stop == nil {
		return nil
	}
	s.stop()
	defer s.abort()
	finished := make(chan struct{})
	go func() {
		s.done.Wait()
		for _, l := range s.lanes {
			l.target.client.CloseIdleConnections()
		}
		close(finished)
	}()
	select {
	case <-finished:
		return nil
	case <-ctx.Done():
		s.abort()
		<-finished
		return fmt.Errorf("webhooks: gave up the messages under way: %w", ctx.Err())
	}
}

// Wake says that there is something new in the outbox. It never blocks.
func (s *Sender) Wake() {
	for _, l := range s.lanes {
		select {
		case l.wake <- struct{}{}:
		default:
		}
	}
}

// Standings tell how each webhook does, in the order of the options.
func (s *Sender) Standings() []Standing {
	now := s.clock()
	out := make([]Standing, len(s.lanes))
	for i, l := range s.lanes {
		out[i] = l.record.standing(l.target.name, now)
	}
	return out
}

// TryOnce sends one message, marked as a test, to a webhook and returns what came back. The outbox is not used.
func (s *Sender) TryOnce(ctx context.Context, name string) (Answer, error) {
	for _, l := range s.lanes {
		if l.target.name != name {
			continue
		}
		defer l.target.client.CloseIdleConnections()
		m := alert.TestMessage(s.clock())
		object, err := m.JSON()
		if err != nil {
			return Answer{}, err
		}
		answer, err := s.send(ctx, l.target, "msg_test_"+m.ID, object)
		if err != nil {
			return answer, fmt.Errorf("webhook %s: %w", name, err)
		}
		return answer, nil
	}
	return Answer{}, fmt.Errorf("there is no webhook called %q in the config", name)
}
