package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/ingest/journal"
)

const (
	judgeBatch   = 4096                   // entries read at once
	judgePace    = 250 * time.Millisecond // between looks at the clock when nothing is heard
	positionPace = 2 * time.Second        // between commits of a position that nothing was told of
	snapshotPace = 5 * time.Minute
	snapshotSpan = 6 * time.Hour // of arrivals, where they come faster than the clock
	judgeRetry   = time.Second   // after the journal failed
	quickly      = 100_000       // entries of the past that a start may wait for
	answersKept  = 256           // acts whose answer somebody may still ask for
)

// judge reads the journal in the order it was written and commits what the
// watch makes of it.
type judge struct {
	journal *journal.Journal
	horizon func() time.Time // nothing committed from now on bears an earlier arrival
	heard   <-chan struct{}  // a signal after each commit
	links   *alert.Links
	told    func([]alert.Transition)
	tracks  *alert.Tracks
	wake    func()      // the outbox has new rows
	relieve func(error) // told of what the journal failed with
	log     *slog.Logger
	silent  bool          // another spile may speak: begin without a word
	turns   atomic.Uint64 // how often the loop has gone round, whatever came of it

	mu       sync.Mutex // guards what follows
	watch    *alert.Watch
	seq      int64     // the last entry taken
	at       time.Time // the moment the watch has come to
	answers  map[int64]error
	acts     []int64       // whose answers are kept, the oldest first
	progress chan struct{} // closed and made anew after each step
	stuck    error         // why judging stands still
	behind   bool          // the past is still being judged again

	through int64     // the last entry that was judged before the start
	until   time.Time // and the moment to which

	owedSteps   []alert.Transition // judged, not yet committed
	owedNotices []alert.Notice     // what is to be told of it

	// Of the loop alone:
	owed        journal.Judgement // what goes with them
	committed   time.Time
	snapshotted time.Time
	snapshotAt  time.Time // of the newest snapshot, by arrivals
}

// run judges until ctx ends.
func (j *judge) run(ctx context.Context) {
	clock := time.NewTicker(judgePace)
	defer clock.Stop()
	for {
		j.turns.Add(1)
		if err := j.onward(ctx); err != nil && ctx.Err() == nil {
			j.fail(err)
			select {
			case <-time.After(judgeRetry):
			case <-ctx.Done():
			}
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-j.heard:
		case <-clock.C:
		}
	}
}

// last commits the position and a snapshot, after run has ended.
func (j *judge) last(ctx context.Context) error {
	if j.isBehind() {
		return nil // nothing new was judged
	}
	if err := j.round(ctx); err != nil {
		return err
	}
	return j.settle(ctx, true)
}

// round takes all that is there, then looks at the clock.
func (j *judge) round(ctx context.Context) error {
	if err := j.settle(ctx, false); err != nil { // what an earlier failure left
		return err
	}
	horizon := j.horizon()
	for {
		entries, err := j.journal.After(ctx, j.seq, judgeBatch)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			break
		}
		j.turns.Add(1)
		j.step(func() (steps []alert.Transition) {
			for _, e := range entries {
				steps = append(steps, j.take(e)...)
				j.at = detect.Later(j.at, e.Arrived)
			}
			return steps
		})
		if err := j.settle(ctx, false); err != nil {
			return err
		}
	}
	j.step(func() []alert.Transition {
		j.at = detect.Later(j.at, horizon)
		return j.watch.Advance(horizon)
	})
	return j.settle(ctx, false)
}

// step lets the watch judge, and notes what is to be committed.
func (j *judge) step(f func() []alert.Transition) {
	j.mu.Lock()
	defer j.mu.Unlock()
	steps := f()
	j.owedSteps = append(j.owedSteps, steps...)
	j.owedNotices = append(j.owedNotices, j.watch.Notices()...)
	j.owed.Through, j.owed.At = j.seq, j.at
	if j.tracks.Due(j.at) {
		j.tracks.Note(j.watch.View())
	}
	if !j.owing() {
		j.announce()
	}
}

// owing tells whether something judged waits to be committed.
func (j *judge) owing() bool { return len(j.owedSteps)+len(j.owedNotices) > 0 }

// announce lets those who wait look again. mu is held.
func (j *judge) announce() {
	close(j.progress)
	j.progress = make(chan struct{})
}

// settle commits what is owed: at once where something is to be told, else at
// a pace that spares the disk.
func (j *judge) settle(ctx context.Context, force bool) error {
	now, g := time.Now(), j.owed
	keep := force || now.Sub(j.snapshotted) >= snapshotPace || g.At.Sub(j.snapshotAt) >= snapshotSpan
	if !j.owing() && !keep && now.Sub(j.committed) < positionPace {
		return nil
	}
	if g.At.IsZero() {
		return nil
	}
	var err error
	if g.Transitions, err = transitionRows(j.owedSteps); err != nil {
		return err
	}
	if g.Messages, err = messageRows(j.owedNotices, j.links); err != nil {
		return err
	}
	if keep {
		if g.Snapshot, err = j.snapshot(); err != nil {
			return err
		}
	}
	if err := j.journal.Judge(ctx, g); err != nil {
		return err
	}
	j.committed = now
	if g.Snapshot != nil {
		j.snapshotted, j.snapshotAt = now, g.Snapshot.At
	}
	j.tell(len(g.Messages) > 0)
	return nil
}

// tell passes on what is committed.
func (j *judge) tell(wake bool) {
	j.mu.Lock()
	steps := j.owedSteps
	j.owedSteps, j.owedNotices, j.stuck = nil, nil, nil
	j.announce()
	j.mu.Unlock()
	if wake {
		j.wake()
	}
	if len(steps) > 0 {
		j.told(steps)
	}
}

func (j *judge) snapshot() (*journal.Snapshot, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	body, err := j.watch.Snapshot()
	if err != nil {
		return nil, fmt.Errorf("snapshot after entry %d: %w", j.seq, err)
	}
	return &journal.Snapshot{Seq: j.seq, At: j.at, Version: alert.SnapshotVersion, Body: body}, nil
}

func (j *judge) fail(err error) {
	j.relieve(err)
	j.mu.Lock()
	first := j.stuck == nil
	j.stuck = err
	j.mu.Unlock()
	if first {
		j.log.Error("judging stands still; it goes on where it stopped once the journal works", "error", err)
	}
}

// view is the cellar as it stands.
func (j *judge) view() alert.View {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.watch.View()
}

// failingWebhooks are those that the watch was told of.
func (j *judge) failingWebhooks() []string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.watch.FailingWebhooks()
}

// failing tells whether the watch was told of a trouble of spile itself.
func (j *judge) failing(a detect.Alarm) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.watch.Failing(a)
}

// linkDown tells whether the outside broker is held to be lost.
func (j *judge) linkDown() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.watch.LinkDown()
}

// problem is why judging stands still, nil while it goes on.
func (j *judge) problem() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.stuck
}

// moment is what the watch has come to.
func (j *judge) moment() time.Time {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.at
}

// await waits until an act is judged and committed, and gives its answer.
func (j *judge) await(ctx context.Context, seq int64) error {
	if err := j.reach(ctx, seq); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.answers[seq]
}

// reach waits until an entry and all before it are judged and committed. Its
// error is only ctx's: what an act was answered is for who asked for it.
func (j *judge) reach(ctx context.Context, seq int64) error {
	for {
		j.mu.Lock()
		done, progress := j.seq >= seq && !j.owing(), j.progress
		j.mu.Unlock()
		if done {
			return nil
		}
		select {
		case <-progress:
		case <-ctx.Done():
			return fmt.Errorf("kept, but not judged yet: %w", ctx.Err())
		}
	}
}

// transitionRows writes the watch's steps as the journal keeps them.
func transitionRows(steps []alert.Transition) ([]journal.Transition, error) {
	rows := make([]journal.Transition, 0, len(steps))
	for _, t := range steps {
		evidence, err := json.Marshal(t.Evidence)
		if err != nil {
			return nil, fmt.Errorf("evidence of %s on %s: %w", t.Alarm, t.Tank, err)
		}
		rows = append(rows, journal.Transition{
			Incident: t.ID, Tank: t.Tank, Alarm: string(t.Alarm), Probe: t.Probe, Priority: string(t.Priority),
			From: string(t.From), To: string(t.To), Time: t.Time, Onset: t.Onset, Summary: t.Summary,
			Evidence: evidence, By: t.By, Why: t.Why, Until: t.Until,
		})
	}
	return rows, nil
}
