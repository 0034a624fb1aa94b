package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/semaphore"

	"spile/ingest/journal"
)

const defaultQueue = 2048 // messages; more wait at the broker or in their publisher

// ErrStopped is what is answered once the intake stops: the message is not on
// disk, and whoever sent it must send it again.
var ErrStopped = errors.New("ingest: the intake has stopped")

// IntakeOptions is what an Intake is made of. Journal and Decoder are needed,
// the rest has a working zero value.
type IntakeOptions struct {
	Journal    *journal.Journal
	Decoder    *Decoder
	Clock      func() time.Time     // nil: time.Now. In a replay: one that stands still, so that the capture's times rule
	Passed     func() time.Duration // time that passes whatever the clock is set to; nil: with a Clock, not known
	Log        *slog.Logger         // nil: silent
	Registerer prometheus.Registerer
	Capture    io.Writer            // gets each message as a line, see CaptureReader; nil: none
	Queue      int                  // messages that may wait for the writer; 0: 2048
	Failing    Failing              // nil: nobody asks
	Names      Names                // who is heard however many others there are
	Flooded    func(problem string) // a publisher goes too far, said once a day; must not block; nil: nobody asks
}

// Failing is told of each commit that failed: since when they fail, and the
// moment at which it is told. The mark that it gives, once for each trouble, goes
// to disk with the batch that waits, and so bears this very moment, to the judge
// too. It is called by the writer: nothing is heard before it returns.
type Failing func(since, at time.Time, err error) *journal.Mark

// Intake brings what is heard onto disk, in one order, by one goroutine.
//
// That goroutine takes up what the queue holds, up to some thousand messages
// and without lingering for more, stamps each with its arrival, decodes it,
// commits all in one transaction, counts, captures, and only then calls done
// of each message in the order they were offered. So done(nil) means on disk,
// or refused and counted; there is nothing in between.
//
// A commit that fails is tried again, the same entries under the same stamps,
// until it succeeds or Stop is called: nothing is acknowledged meanwhile, the
// queue fills, in messages or in bytes, Offer blocks, and the messages wait where they came from. Who
// waits under a context (Hear, Write) gets an error when that ends; the entry
// stays in the queue and may yet reach the disk, so sending it again is right:
// a reading with a time of its own is then a repeat and counts once. A reading
// without one takes its arrival for its time, has no identity over sendings,
// and is kept twice; only its probe can mend that.
type Intake struct {
	commit  func(context.Context, []journal.Entry) ([]journal.Outcome, error)
	decode  func(Message, time.Time) Decoded
	clock   func() time.Time
	log     *slog.Logger
	metrics *intakeMetrics
	refused *refusalLog
	capture *captureWriter
	failing Failing
	admits  *admission

	queue     chan job
	room      *semaphore.Weighted // bytes of what is in the queue or being committed
	committed chan struct{}
	closing   chan struct{} // closed when Stop is called
	stopped   chan struct{} // closed when the writer has ended
	abort     context.CancelFunc
	door      door

	mu       sync.Mutex // guards what follows
	arrivals arrivals
	busy     bool      // a batch is being written
	since    time.Time // first arrival of that batch
	trouble  error     // why the journal takes nothing; nil while it works
}

// NewIntake makes an intake whose arrivals go on from the journal's newest.
func NewIntake(o IntakeOptions) (*Intake, error) {
	if o.Journal == nil || o.Decoder == nil {
		return nil, errors.New("ingest: an intake needs a journal and a decoder")
	}
	in, err := newIntake(o)
	if err != nil {
		return nil, err
	}
	in.commit, in.decode = o.Journal.Commit, o.Decoder.Decode
	in.metrics.foretell(o.Decoder.Patterns())
	if err := in.resume(context.Background(), o.Journal); err != nil {
		return nil, fmt.Errorf("ingest: find the newest arrival: %w", err)
	}
	return in, nil
}

// newIntake makes all of an intake but its journal and decoder.
func newIntake(o IntakeOptions) (*Intake, error) {
	in := &Intake{
		clock:     o.Clock,
		log:       o.Log,
		failing:   o.Failing,
		admits:    newAdmission(o.Names, o.Flooded),
		committed: make(chan struct{}, 1),
		closing:   make(chan struct{}),
		stopped:   make(chan struct{}),
	}
	if in.clock == nil {
		in.clock = time.Now
		began := time.Now()
		o.Passed = func() time.Duration { return time.Since(began) }
	}
	in.arrivals = arrivals{clock: in.clock, passed: o.Passed}
	if in.failing == nil {
		in.failing = func(time.Time, time.Time, error) *journal.Mark { return nil }
	}
	if in.log == nil {
		in.log = slog.New(slog.DiscardHandler)
	}
	if o.Queue <= 0 {
		o.Queue = defaultQueue
	}
	in.queue, in.room = make(chan job, o.Queue), semaphore.NewWeighted(roomBytes)
	in.refused = newRefusalLog(in.log)
	if o.Capture != nil {
		in.capture = &captureWriter{to: o.Capture}
	}
	var err error
	in.metrics, err = newIntakeMetrics(o.Registerer, func() float64 { return float64(len(in.queue)) })
	return in, err
}

// resume takes the journal's newest arrival for the last one given, so that
// arrivals do not go back over a restart either, and knows its probes again.
func (in *Intake) resume(ctx context.Context, j *journal.Journal) error {
	known, err := j.Probes(ctx)
	if err != nil {
		return err
	}
	for _, p := range known {
		in.admits.remember(p.Tank, p.Probe, p.Newest)
	}
	seq, err := j.Last(ctx)
	if err != nil || seq == 0 {
		return err
	}
	newest, err := j.After(ctx, seq-1, 1)
	if err != nil || len(newest) == 0 {
		return err
	}
	in.arrivals.last = newest[0].Arrived
	if ahead := in.arrivals.last.Sub(in.clock()); ahead > time.Minute {
		in.log.Warn("the clock is behind the journal: arrivals go on from the journal's newest time, slowly, until it has caught up",
			"newest", in.arrivals.last, "behind", ahead.Round(time.Second))
	}
	return nil
}

// Start begins to take up what is offered. ctx only carries values: the intake
// ends by Stop, so that a shutdown does not cut a commit short.
func (in *Intake) Start(ctx context.Context) {
	ctx, in.abort = context.WithCancel(context.WithoutCancel(ctx))
	go in.run(ctx)
}

// Stop takes nothing more, brings what is queued onto disk and ends the
// writer. What is not on disk when ctx ends, or while the journal fails, is
// answered with an error and never acknowledged. Call it once, after Start.
func (in *Intake) Stop(ctx context.Context) error {
	in.door.shut()
	close(in.closing)
	defer in.abort()
	select {
	case <-in.stopped:
		return nil
	case <-ctx.Done():
		in.abort()
		<-in.stopped
		return fmt.Errorf("ingest: stopped before everything heard was on disk: %w", ctx.Err())
	}
}

// Offer queues a message, waiting for room while ctx lasts. done is called
// once, by the writer, in the order of the offers: with nil after the commit,
// with an error if the intake stops before it. It must not block. When Offer
// itself returns an error done is never called.
func (in *Intake) Offer(ctx context.Context, m Message, done func(error)) error {
	if len(m.Payload) > MaxPayload {
		m.Payload = bytes.Clone(m.Payload[:MaxPayload+1]) // the decoder refuses it all the same
	}
	return in.enqueue(ctx, job{message: m, done: func(_ settled, err error) { done(err) }})
}

// Hear offers a message and waits. nil means that it is on disk, or refused
// and counted: never to be sent again.
func (in *Intake) Hear(ctx context.Context, m Message) error {
	result := make(chan error, 1)
	if err := in.Offer(ctx, m, func(err error) { result <- err }); err != nil {
		return err
	}
	select {
	case err := <-result:
		return err
	case <-ctx.Done():
		return in.late(ctx)
	}
}

// Write journals entries of spile's own (log events from people, acts, marks)
// in one transaction and waits for it. An entry without an arrival is stamped,
// an event without a time of its own happened then. The entries passed get
// what the journal gave them, Seq first of all.
func (in *Intake) Write(ctx context.Context, e ...journal.Entry) ([]journal.Outcome, error) {
	for i := range e {
		if err := wellFormed(e[i]); err != nil {
			return nil, fmt.Errorf("ingest: entry %d: %w", i+1, err)
		}
	}
	type answer struct {
		settled
		err error
	}
	result := make(chan answer, 1)
	own := append([]journal.Entry(nil), e...) // the writer may still hold them when the caller has gone
	err := in.enqueue(ctx, job{entries: own, done: func(s settled, err error) { result <- answer{s, err} }})
	if err != nil {
		return nil, err
	}
	select {
	case a := <-result:
		copy(e, a.entries)
		return a.outcomes, a.err
	case <-ctx.Done():
		return nil, in.late(ctx)
	}
}

// wellFormed tells what is wrong with an entry that the journal could not keep.
func wellFormed(e journal.Entry) error {
	kinds := 0
	for _, set := range []bool{e.Reading != nil, e.Event != nil, e.Act != nil, e.Mark != nil} {
		if set {
			kinds++
		}
	}
	if kinds != 1 {
		return fmt.Errorf("%d of reading, event, act and mark are set: set one", kinds)
	}
	return nil
}

// late is the error of who waited for a commit in vain.
func (in *Intake) late(ctx context.Context) error {
	if err := in.Trouble(); err != nil {
		return fmt.Errorf("ingest: not on disk in time: %w: %w", ctx.Err(), err)
	}
	return fmt.Errorf("ingest: not on disk in time: %w", ctx.Err())
}

// Horizon is the time up to which everything is known: no entry committed
// from now on will bear an earlier arrival. It moves with the clock while
// nothing is in flight, rests at the start of a batch being written, and before
// a leap of the clock until that is journalled.
func (in *Intake) Horizon() time.Time {
	in.mu.Lock()
	defer in.mu.Unlock()
	switch {
	case in.busy:
		return in.since
	case in.arrivals.leapt():
		in.nudge()
		return in.arrivals.last
	}
	return in.arrivals.now()
}

// Committed gives a signal after each commit. It holds one, so a slow reader
// finds that there is news, not how much.
func (in *Intake) Committed() <-chan struct{} { return in.committed }

// Refusals gives the newest hundred refusals, the newest first.
func (in *Intake) Refusals() []Refusal { return in.refused.newest() }

// Trouble is why the journal takes nothing at present; nil while it works.
func (in *Intake) Trouble() error {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.trouble
}

// stamp gives the arrival of what is taken up now, or keeps the one it came
// with, and opens the batch that it belongs to.
func (in *Intake) stamp(given time.Time) time.Time {
	in.mu.Lock()
	defer in.mu.Unlock()
	var at time.Time
	if given.IsZero() {
		at = in.arrivals.now()
	} else {
		at = in.arrivals.give(given)
	}
	if !in.busy {
		in.busy, in.since = true, at
	}
	return at
}

// rest closes the batch: the horizon may move again.
func (in *Intake) rest() {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.busy = false
}

// setTrouble notes whether the journal works, and tells whether that is news.
func (in *Intake) setTrouble(err error) (changed bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	changed = (in.trouble == nil) != (err == nil)
	in.trouble = err
	return changed
}
