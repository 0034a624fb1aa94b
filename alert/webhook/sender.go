package webhook

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/alert"
)

// The pace of looking into the outbox.
const (
	idle       = time.Minute     // without a Wake
	outboxWait = 5 * time.Second // after the outbox failed
	pageSize   = 1000            // messages looked at, more than any cellar leaves waiting
)

// Options are what a Sender needs. Only Webhooks and, to Start, Outbox must be given.
type Options struct {
	Webhooks   []Webhook
	Outbox     Outbox
	Words      alert.Words
	Transport  http.RoundTripper // nil: the standard library's, which heeds the proxy variables of the environment
	Clock      func() time.Time  // nil: time.Now
	Random     func() float64    // in [0, 1); nil: math/rand
	Log        *slog.Logger      // nil: silent
	Registerer prometheus.Registerer
}

// Sender delivers what lies in an outbox.
type Sender struct {
	outbox  Outbox
	client  *http.Client
	clock   func() time.Time
	random  func() float64
	pause   func(failures int, age time.Duration, random float64) time.Duration
	log     *slog.Logger
	metrics *metrics
	lanes   []*lane

	stop  context.CancelFunc // takes up no further message
	abort context.CancelFunc // gives up the one under way
	done  sync.WaitGroup
}

// lane is one webhook's way out.
type lane struct {
	target *target
	wake   chan struct{}
	oldest moment // creation of the oldest message that waits
}

// New checks every webhook whole and reports all that is wrong with them.
func New(o Options) (*Sender, error) {
	s := &Sender{outbox: o.Outbox, clock: o.Clock, random: o.Random, pause: pause, log: o.Log}
	s.fill(o)
	var problems []error
	names := map[string]bool{}
	for _, w := range o.Webhooks {
		t, err := newTarget(w, o.Words)
		if err == nil && names[w.Name] {
			err = fmt.Errorf("webhook %s: the name is given twice", w.Name)
		}
		if err != nil {
			problems = append(problems, err)
			continue
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
func (s *Sender) fill(o Options) {
	transport := o.Transport
	if transport == nil {
		transport = http.DefaultTransport
	}
	s.client = &http.Client{
		Transport:     transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	if s.clock == nil {
		s.clock = time.Now
	}
	if s.random == nil {
		s.random = rand.Float64
	}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
}

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
	finished := make(chan struct{})
	go func() {
		s.done.Wait()
		close(finished)
	}()
	defer s.abort()
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

// TryOnce sends one message, marked as a test, to a webhook and returns what came back. The outbox is not used.
func (s *Sender) TryOnce(ctx context.Context, name string) (Answer, error) {
	for _, l := range s.lanes {
		if l.target.name != name {
			continue
		}
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

// run delivers one webhook's messages, one after another, until run ends.
func (s *Sender) run(run, work context.Context, l *lane) {
	for run.Err() == nil {
		m, wait := s.next(run, l)
		if m == nil {
			rest(run, l.wake, wait)
			continue
		}
		if !s.deliver(work, l, *m) {
			return
		}
	}
}

// next looks into the outbox for the message to try now, or tells how long to wait for one.
func (s *Sender) next(ctx context.Context, l *lane) (*Message, time.Duration) {
	pending, err := s.outbox.Pending(ctx, l.target.name, pageSize)
	if err != nil {
		if ctx.Err() == nil {
			s.log.Error("outbox cannot be read", "webhook", l.target.name, "error", err)
		}
		return nil, outboxWait
	}
	if len(pending) == 0 {
		l.oldest.clear()
		return nil, idle
	}
	l.oldest.set(pending[0].Created)
	m, wait := pick(pending, s.clock())
	return m, min(wait, idle)
}

// deliver tries one message and settles it. False means that it was given up and is still in the outbox.
func (s *Sender) deliver(work context.Context, l *lane, m Message) bool {
	answer, err := s.send(work, l.target, m.ID, m.Body)
	if work.Err() != nil && err != nil {
		return false
	}
	attempt := s.outcome(m, answer, err, s.clock())
	s.metrics.count(l.target.name, attempt.Result)
	s.report(l, m, attempt)
	return s.settle(work, l, m.ID, attempt)
}

// settle notes an attempt in the outbox, again and again until it takes it: a message must not go out twice because
// the disk was busy.
func (s *Sender) settle(work context.Context, l *lane, id string, a Attempt) bool {
	for {
		err := s.outbox.Settle(work, id, a)
		if err == nil {
			return true
		}
		s.log.Error("outbox cannot be written", "webhook", l.target.name, "message", id, "error", err)
		if !rest(work, nil, outboxWait) {
			return false
		}
	}
}

// report logs an attempt.
func (s *Sender) report(l *lane, m Message, a Attempt) {
	log := s.log.With("webhook", l.target.name, "message", m.ID, "incident", m.Incident, "attempt", m.Attempts+1)
	switch a.Result {
	case Delivered:
		log.Info("notification delivered", "after", a.At.Sub(m.Created).Round(time.Millisecond))
	case Retry:
		log.Warn("notification not delivered yet", "problem", a.Problem, "next", a.Next)
	case Dead:
		log.Error("notification given up", "problem", a.Problem)
	}
}

// rest waits for a time or for a wake. False means that ctx ended.
func rest(ctx context.Context, wake <-chan struct{}, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-wake:
	case <-ctx.Done():
		return false
	}
	return true
}
