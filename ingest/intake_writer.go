package ingest

import (
	"context"
	"fmt"
	"runtime/debug"
	"time"

	"spile/detect"
	"spile/ingest/journal"
)

const (
	firstRetry = 100 * time.Millisecond
	lastRetry  = 10 * time.Second
	sayAgain   = time.Minute // between log lines about a commit that keeps failing
)

// batch is what one transaction holds.
type batch struct {
	parts   []part
	entries []journal.Entry // of all parts, in order
	marked  bool            // a mark of trouble stands behind them
}

// part is one job of a batch, taken up.
type part struct {
	job      job
	arrived  time.Time
	decoded  Decoded // of a message
	from, to int     // its entries in the batch
}

// ask tells of a commit that failed, and adds the mark that comes of it to the
// batch, behind all that was heard before.
func (in *Intake) ask(b *batch, since time.Time, err error) {
	if b.marked {
		return
	}
	at := in.stamp(time.Time{})
	if m := in.failing(since, at, err); m != nil {
		b.entries, b.marked = append(b.entries, journal.Entry{Arrived: at, Mark: m}), true
	}
}

// run is the writer. Nothing else stamps, decodes or commits.
func (in *Intake) run(ctx context.Context) {
	defer close(in.stopped)
	for {
		j, ok := in.take()
		if !ok {
			return
		}
		in.write(ctx, in.gather(j))
	}
}

// add takes up one job: stamps it, decodes it, appends its entries.
func (in *Intake) add(b *batch, j job) {
	in.watchClock(b)
	p := part{job: j, from: len(b.entries)}
	if j.entries != nil {
		p.arrived = in.addEntries(b, j.entries)
	} else {
		p.arrived = in.stamp(j.message.Arrived)
		p.decoded = in.decodeSafely(j.message, p.arrived)
		in.admits.admit(j.message, &p.decoded, p.arrived)
		b.addDecoded(p.decoded, p.arrived)
	}
	p.to = len(b.entries)
	b.parts = append(b.parts, p)
}

func (b *batch) addDecoded(d Decoded, arrived time.Time) {
	for i := range d.Readings {
		b.entries = append(b.entries, journal.Entry{Arrived: arrived, Reading: &d.Readings[i]})
	}
	for i := range d.Events {
		b.entries = append(b.entries, journal.Entry{Arrived: arrived, Event: &d.Events[i]})
	}
}

// addEntries stamps spile's own entries, those of one call alike.
func (in *Intake) addEntries(b *batch, entries []journal.Entry) time.Time {
	var stamped time.Time
	for _, e := range entries {
		if e.Arrived.IsZero() {
			e.Arrived = stamped // zero the first time: then it is stamped here
		}
		e.Arrived = in.stamp(e.Arrived)
		stamped = e.Arrived
		e.Reading, e.Event = arrivedReading(e.Reading, e.Arrived), arrivedEvent(e.Event, e.Arrived)
		b.entries = append(b.entries, e)
	}
	return stamped
}

// arrivedReading is a copy of r under its arrival; the caller keeps its own.
func arrivedReading(r *detect.Reading, at time.Time) *detect.Reading {
	if r == nil {
		return nil
	}
	own := *r
	own.Arrived = at
	if own.Time.IsZero() {
		own.Time = at
	}
	return &own
}

// arrivedEvent is a copy of e under its arrival; the caller keeps its own. What
// happened on arrival moves with it, so that the same line sent again without a
// time stays the same.
func arrivedEvent(e *detect.Event, at time.Time) *detect.Event {
	if e == nil {
		return nil
	}
	own := *e
	if own.Time.IsZero() || own.Time.Equal(e.Arrived) {
		own.Time = at
	}
	own.Arrived = at
	return &own
}

// decodeSafely turns a defect of the decoder into a refusal. A message that
// ended the daemon would be delivered again at each start and end it again.
func (in *Intake) decodeSafely(m Message, arrived time.Time) (d Decoded) {
	defer func() {
		if fault := recover(); fault != nil {
			in.log.Error("the decoder failed on a message: please report this", "topic", m.Topic,
				"fault", fault, "stack", string(debug.Stack()))
			d = Decoded{Source: NoSource, Refusals: []Refusal{{
				Time: arrived, Source: NoSource, Topic: m.Topic, Reason: reasonDefect,
				Detail: fmt.Sprintf("a defect of spile, not of the message: %v", fault),
			}}}
		}
	}()
	return in.decode(m, arrived)
}

// Reasons of the intake's own, beside the decoder's. Both point to a defect of
// spile, for the decoder refuses with better words.
const (
	reasonDefect = "defect" // the decoder failed on the message
	reasonUnfit  = "unfit"  // the journal would not keep what the decoder made of it
)

// write commits a batch and then tells everybody: metrics, refusals, capture,
// the judge, and last those who wait to acknowledge.
func (in *Intake) write(ctx context.Context, b *batch) {
	outcomes, err := in.commitInTime(ctx, b)
	if err == nil {
		in.account(b, outcomes)
	}
	in.rest()
	if err == nil && len(b.entries) > 0 {
		select {
		case in.committed <- struct{}{}:
		default:
		}
	}
	for _, p := range b.parts {
		in.room.Release(p.job.bytes)
		if err != nil {
			p.job.done(settled{}, fmt.Errorf("ingest: not on disk: %w", err))
			continue
		}
		p.job.done(settled{b.entries[p.from:p.to], outcomes[p.from:p.to]}, nil)
	}
}

// account counts, keeps and captures what a committed batch held.
func (in *Intake) account(b *batch, outcomes []journal.Outcome) {
	now := in.clock()
	for _, p := range b.parts {
		settled := settled{b.entries[p.from:p.to], outcomes[p.from:p.to]}
		in.metrics.count(p.decoded.Source, settled)
		in.metrics.stamina.note(p.decoded.stamina, settled)
		for _, r := range append(p.decoded.Refusals, unfit(p, settled)...) {
			in.metrics.refuse(r)
			in.refused.add(r, now)
		}
	}
	if in.capture == nil {
		return
	}
	if err := in.capture.write(b); err != nil {
		in.log.Error("the capture could not be written; the journal has everything", "error", err)
	}
}

// unfit are the refusals of what the journal itself would not keep.
func unfit(p part, s settled) (refusals []Refusal) {
	for _, o := range s.outcomes {
		if o == journal.Refused {
			refusals = append(refusals, Refusal{
				Time: p.arrived, Source: p.decoded.Source, Topic: p.job.message.Topic, Reason: reasonUnfit,
				Detail: "the journal does not keep it; spile's log says why",
			})
		}
	}
	return refusals
}

// commitInTime commits until it succeeds, or the intake stops: then it tries
// once more and gives up.
func (in *Intake) commitInTime(ctx context.Context, b *batch) ([]journal.Outcome, error) {
	if len(b.entries) == 0 {
		return nil, nil
	}
	var said, since time.Time
	closing := in.closing
	for wait := firstRetry; ; wait = min(2*wait, lastRetry) {
		began := in.clock()
		outcomes, err := in.commit(ctx, b.entries)
		now := in.clock()
		if err == nil {
			in.metrics.commit.Observe(now.Sub(began).Seconds())
			if in.setTrouble(nil) {
				in.log.Info("the journal takes entries again")
			}
			return outcomes, nil
		}
		if since.IsZero() {
			since = now
		}
		in.ask(b, since, err)
		if in.setTrouble(err) || now.Sub(said) >= sayAgain {
			said = now
			in.log.Error("the journal takes nothing: nothing is acknowledged until it does",
				"error", err, "entries", len(b.entries), "queued", len(in.queue))
		}
		if closing == nil {
			return nil, err
		}
		retry := time.NewTimer(wait)
		select {
		case <-retry.C:
		case <-closing:
			closing = nil
		}
		retry.Stop()
	}
}
