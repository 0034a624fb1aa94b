package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"spile/alert"
	"spile/ingest"
	"spile/ingest/journal"
)

// replayBatch is how many messages are judged at once. It changes nothing of
// the outcome, for the watch ticks by the arrivals themselves.
const replayBatch = 2000

// Replayed counts what a capture held.
type Replayed struct {
	Messages int
	BadLines int
	First    []ingest.BadLine // the first bad lines
	Refusals []ingest.Refusal // the newest refusals
	From, To time.Time        // first and last arrival
}

// Replay runs a capture through the same decoder, journal and watch as a
// running daemon, on the capture's own clock, and calls told with each step
// of an alarm as it comes. It listens to nothing and sends nothing.
func Replay(ctx context.Context, o Options, capture io.Reader, told func([]alert.Transition)) (Replayed, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	kept, err := journal.Open(ctx, journal.Options{Memory: true, Log: o.Log})
	if err != nil {
		return Replayed{}, err
	}
	decoder, err := ingest.NewDecoder(o.Decoder)
	if err != nil {
		return Replayed{}, errors.Join(err, kept.Close())
	}
	standing := func() time.Time { return time.Time{} }
	intake, err := ingest.NewIntake(ingest.IntakeOptions{Journal: kept, Decoder: decoder, Clock: standing, Log: o.Log})
	if err != nil {
		return Replayed{}, errors.Join(err, kept.Close())
	}
	intake.Start(ctx)
	r := replay{
		intake: intake, reader: ingest.NewCaptureReader(capture),
		judge: &judge{
			relieve: func(error) {}, journal: kept, horizon: intake.Horizon, told: told, wake: func() {}, log: o.Log,
			watch: alert.NewWatch(o.Watch), answers: map[int64]error{}, progress: make(chan struct{}),
		},
	}
	err = r.run(ctx)
	r.done.BadLines, r.done.First = r.reader.Bad()
	r.done.Refusals = intake.Refusals()
	return r.done, errors.Join(err, intake.Stop(ctx), kept.Close())
}

// replay is one capture on its way through.
type replay struct {
	intake *ingest.Intake
	reader *ingest.CaptureReader
	judge  *judge
	done   Replayed
}

func (r *replay) run(ctx context.Context) error {
	for {
		more, err := r.batch(ctx)
		if err != nil {
			return err
		}
		if err := r.judge.round(ctx); err != nil {
			return err
		}
		if !more {
			return r.judge.settle(ctx, true)
		}
	}
}

// batch brings some messages into the journal and waits for the last of them.
func (r *replay) batch(ctx context.Context) (more bool, err error) {
	settled := make(chan error, replayBatch)
	offered := 0
	defer func() {
		for range offered {
			err = errors.Join(err, <-settled)
		}
	}()
	for offered < replayBatch {
		m, err := r.reader.Next()
		if errors.Is(err, io.EOF) {
			return false, nil
		}
		if err != nil {
			return false, fmt.Errorf("read the capture: %w", err)
		}
		if err := r.intake.Offer(ctx, m, func(err error) { settled <- err }); err != nil {
			return false, err
		}
		offered++
		r.done.count(m)
	}
	return true, nil
}

func (r *Replayed) count(m ingest.Message) {
	r.Messages++
	if r.From.IsZero() {
		r.From = m.Arrived
	}
	r.To = m.Arrived
}
