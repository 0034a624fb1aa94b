package ingest

import (
	"context"
	"sync"

	"spile/ingest/journal"
)

const (
	batchMessages = 2048   // one transaction holds at most so many messages
	batchEntries  = 20_000 // and starts no further message beyond so many entries

	// What waits and what is being committed is together no larger: some hundred
	// of the longest messages, and more of a cellar's than the queue has places.
	roomBytes = 16 << 20
)

// job is what waits in the queue: a message from outside, or entries of
// spile's own.
type job struct {
	message Message
	entries []journal.Entry // when set there is no message
	bytes   int64           // that it takes of the room, until it is done
	done    func(settled, error)
}

// settled is what became of the entries of one job.
type settled struct {
	entries  []journal.Entry
	outcomes []journal.Outcome
}

// door lets senders in until it is shut, and knows when the last has left.
// Without it an offer could slip into a queue that nobody reads any more.
type door struct {
	mu      sync.Mutex
	closed  bool
	senders sync.WaitGroup
}

// enter counts a sender in, unless the door is shut.
func (d *door) enter() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.closed {
		d.senders.Add(1)
	}
	return !d.closed
}

func (d *door) leave() { d.senders.Done() }

func (d *door) shut() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.closed = true
}

// enqueue waits for room, in bytes and in the queue, while ctx lasts and the
// intake runs.
func (in *Intake) enqueue(ctx context.Context, j job) error {
	if !in.door.enter() {
		return ErrStopped
	}
	defer in.door.leave()
	j.bytes = min(int64(len(j.message.Topic)+len(j.message.Payload)), roomBytes)
	if err := in.makeRoom(ctx, j.bytes); err != nil {
		return err
	}
	var err error
	select {
	case in.queue <- j:
		return nil
	case <-in.closing:
		err = ErrStopped
	case <-ctx.Done():
		err = in.late(ctx)
	}
	in.room.Release(j.bytes)
	return err
}

// makeRoom waits until so many bytes more may be under way. Who came first is
// let in first.
func (in *Intake) makeRoom(ctx context.Context, bytes int64) error {
	if in.room.TryAcquire(bytes) {
		return nil
	}
	waiting, enough := context.WithCancel(ctx)
	defer enough()
	go func() {
		select {
		case <-in.closing:
			enough()
		case <-waiting.Done():
		}
	}()
	switch err := in.room.Acquire(waiting, bytes); {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return in.late(ctx)
	}
	return ErrStopped
}

// take waits for the next job; false when the intake stops and none is left.
func (in *Intake) take() (job, bool) {
	select {
	case j := <-in.queue:
		return j, true
	case <-in.closing:
	}
	in.door.senders.Wait() // short: all of them watch closing
	select {
	case j := <-in.queue:
		return j, true
	default:
		return job{}, false
	}
}

// gather makes a batch of j and what else is in the queue already. It does
// not linger: while one batch is being committed the next one piles up.
func (in *Intake) gather(j job) *batch {
	b := &batch{}
	in.add(b, j)
	for len(b.parts) < batchMessages && len(b.entries) < batchEntries {
		select {
		case j := <-in.queue:
			in.add(b, j)
		default:
			return b
		}
	}
	return b
}
