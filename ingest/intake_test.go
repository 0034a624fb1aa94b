package ingest

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/ingest/journal"
)

var morning = time.Date(2026, 3, 2, 1, 15, 0, 0, time.UTC)

// ledger is a journal that a test can hold shut or let fail.
type ledger struct {
	gate chan struct{} // one commit passes for each value; nil: all pass

	mu      sync.Mutex
	fault   error
	commits [][]journal.Entry // those that succeeded
	tries   int
}

func (l *ledger) Commit(ctx context.Context, entries []journal.Entry) ([]journal.Outcome, error) {
	if l.gate != nil {
		select {
		case <-l.gate:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.tries++
	if l.fault != nil {
		return nil, l.fault
	}
	outcomes := make([]journal.Outcome, len(entries))
	for i := range entries {
		entries[i].Seq = int64(l.count() + i + 1)
		outcomes[i] = journal.Accepted
	}
	l.commits = append(l.commits, append([]journal.Entry(nil), entries...))
	return outcomes, nil
}

// count is the number of entries committed. l.mu is held.
func (l *ledger) count() (n int) {
	for _, c := range l.commits {
		n += len(c)
	}
	return n
}

func (l *ledger) entries() (all []journal.Entry) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.commits {
		all = append(all, c...)
	}
	return all
}

func (l *ledger) batches() int { l.mu.Lock(); defer l.mu.Unlock(); return len(l.commits) }

func (l *ledger) attempts() int { l.mu.Lock(); defer l.mu.Unlock(); return l.tries }

func (l *ledger) fail(err error) { l.mu.Lock(); defer l.mu.Unlock(); l.fault = err }

// hand is a clock that the test turns.
type hand struct{ at atomic.Int64 }

func newHand(t time.Time) *hand { h := &hand{}; h.set(t); return h }

func (h *hand) set(t time.Time)      { h.at.Store(t.UnixNano()) }
func (h *hand) turn(d time.Duration) { h.at.Add(int64(d)) }
func (h *hand) now() time.Time       { return time.Unix(0, h.at.Load()) }

// intakeOn makes a started intake over a ledger, with the real decoder.
func intakeOn(t testing.TB, l *ledger, o IntakeOptions) *Intake {
	t.Helper()
	in, err := newIntake(o)
	require.NoError(t, err)
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(t, err)
	in.commit, in.decode = l.Commit, d.Decode
	in.Start(t.Context())
	return in
}

// intakeOnDisk makes a started intake over a real journal in memory.
func intakeOnDisk(t testing.TB, o IntakeOptions) (*Intake, *journal.Journal) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(t, err)
	o.Journal, o.Decoder = j, d
	in, err := NewIntake(o)
	require.NoError(t, err)
	in.Start(t.Context())
	return in, j
}

func stop(t testing.TB, in *Intake) {
	t.Helper()
	assert.NoError(t, in.Stop(context.WithoutCancel(t.Context())))
}

// gravity is a message of one reading.
func gravity(probe string, sg float64) Message {
	return Message{Topic: "cellar/FV3/" + probe, Payload: fmt.Appendf(nil, `{"gravity":%v}`, sg)}
}

func TestHearReturnsAfterTheCommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{gate: make(chan struct{})}
		in := intakeOn(t, l, IntakeOptions{})
		heard := make(chan error, 1)
		go func() { heard <- in.Hear(t.Context(), gravity("hyd-1", 1.012)) }()
		synctest.Wait()
		assert.Empty(t, heard, "nothing may be acknowledged before the commit")
		l.gate <- struct{}{}
		require.NoError(t, <-heard)
		require.Len(t, l.entries(), 1)
		assert.Equal(t, 1.012, l.entries()[0].Reading.Value)
		stop(t, in)
	})
}

func TestWhatPilesUpIsOneCommitAndDoneComesInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{gate: make(chan struct{})}
		in := intakeOn(t, l, IntakeOptions{})
		var order []int
		for i := range 500 {
			err := in.Offer(t.Context(), gravity("hyd-1", 1.0+float64(i)/1e4), func(err error) {
				assert.NoError(t, err)
				order = append(order, i) // by the writer alone
			})
			require.NoError(t, err)
			synctest.Wait() // the first one is being committed before the others come
		}
		close(l.gate)
		stop(t, in)
		assert.Equal(t, 2, l.batches())
		require.Len(t, order, 500)
		for i, n := range order {
			require.Equal(t, i, n)
			require.InDelta(t, 1.0+float64(i)/1e4, l.entries()[i].Reading.Value, 1e-9)
		}
	})
}

func TestOfferWaitsForRoomAsLongAsItsContextLasts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{gate: make(chan struct{})}
		in := intakeOn(t, l, IntakeOptions{Queue: 1})
		for range 2 { // one with the writer, one in the queue
			require.NoError(t, in.Offer(t.Context(), gravity("hyd-1", 1.01), func(error) {}))
			synctest.Wait()
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		err := in.Offer(ctx, gravity("hyd-1", 1.01), func(error) { assert.Fail(t, "done of an offer that failed") })
		require.ErrorIs(t, err, context.DeadlineExceeded)
		close(l.gate)
		stop(t, in)
	})
}

func TestAFailedCommitIsTriedAgainUnchangedAndSaidOnceAMinute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{}
		l.fail(journal.ErrFull)
		log := &logBook{}
		in := intakeOn(t, l, IntakeOptions{Log: log.logger()})
		acknowledged := make(chan error, 1)
		require.NoError(t, in.Offer(t.Context(), gravity("hyd-1", 1.012), func(err error) { acknowledged <- err }))
		heardAt := time.Now().UTC().Truncate(time.Millisecond)

		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		err := in.Hear(ctx, gravity("hyd-2", 1.013))
		require.ErrorIs(t, err, context.DeadlineExceeded)
		require.ErrorIs(t, err, journal.ErrFull, "who waits is told why")
		<-time.After(10 * time.Minute) // of the bubble
		assert.Empty(t, acknowledged)
		assert.ErrorIs(t, in.Trouble(), journal.ErrFull)
		assert.Equal(t, heardAt, in.Horizon(), "the horizon rests where the batch began")
		assert.InDelta(t, 66, l.attempts(), 6, "backoff of 0.1 s to 10 s over ten minutes")
		assert.InDelta(t, 10, log.count("takes nothing"), 1, "a line a minute")

		l.fail(nil)
		require.NoError(t, <-acknowledged)
		stop(t, in)
		require.Len(t, l.entries(), 2)
		assert.Equal(t, heardAt, l.entries()[0].Arrived, "the stamp of the first attempt")
		assert.NoError(t, in.Trouble())
		assert.Equal(t, 1, log.count("takes entries again"))
	})
}

func TestStopBringsTheQueueToDisk(t *testing.T) {
	l := &ledger{gate: make(chan struct{})}
	in := intakeOn(t, l, IntakeOptions{})
	var done atomic.Int32
	for range 50 {
		require.NoError(t, in.Offer(t.Context(), gravity("hyd-1", 1.01), func(err error) {
			assert.NoError(t, err)
			done.Add(1)
		}))
	}
	close(l.gate)
	stop(t, in)
	assert.EqualValues(t, 50, done.Load())
	assert.Len(t, l.entries(), 50)
	require.ErrorIs(t, in.Offer(t.Context(), gravity("hyd-1", 1.01), nil), ErrStopped)
	require.ErrorIs(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)), ErrStopped)
	_, err := in.Write(t.Context(), journal.Entry{Mark: &journal.Mark{Name: "started"}})
	require.ErrorIs(t, err, ErrStopped)
}

func TestStopGivesUpWhatTheJournalDoesNotTake(t *testing.T) {
	tests := map[string]func(*ledger){
		"it fails": func(l *ledger) { l.fail(journal.ErrDamaged) },
		"it hangs": func(l *ledger) { l.gate = make(chan struct{}) },
	}
	for name, breakIt := range tests {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := &ledger{}
				breakIt(l)
				in := intakeOn(t, l, IntakeOptions{})
				answers := make(chan error, 2)
				for range 2 {
					require.NoError(t, in.Offer(t.Context(), gravity("hyd-1", 1.01), func(err error) { answers <- err }))
					synctest.Wait()
				}
				ctx, cancel := context.WithTimeout(t.Context(), time.Second)
				defer cancel()
				_ = in.Stop(ctx)
				require.Error(t, <-answers)
				require.Error(t, <-answers)
				assert.Empty(t, l.entries())
			})
		})
	}
}

// Every offer that was taken is answered once, whenever Stop comes.
func TestNoOfferIsForgottenWhenStopComes(t *testing.T) {
	for range 50 {
		l := &ledger{}
		in := intakeOn(t, l, IntakeOptions{Queue: 4})
		var taken, answered, onDisk atomic.Int32
		var senders sync.WaitGroup
		for range 8 {
			senders.Go(func() {
				for {
					err := in.Offer(t.Context(), gravity("hyd-1", 1.01), func(err error) {
						answered.Add(1)
						if err == nil {
							onDisk.Add(1)
						}
					})
					if err != nil {
						return
					}
					taken.Add(1)
				}
			})
		}
		stop(t, in)
		senders.Wait()
		require.Equal(t, taken.Load(), answered.Load())
		require.EqualValues(t, len(l.entries()), onDisk.Load())
	}
}

func TestAnIntakeNeedsAJournalAndADecoder(t *testing.T) {
	_, err := NewIntake(IntakeOptions{})
	require.ErrorContains(t, err, "needs a journal and a decoder")
	reg := prometheus.NewRegistry()
	_, err = newIntake(IntakeOptions{Registerer: reg})
	require.NoError(t, err)
	_, err = newIntake(IntakeOptions{Registerer: reg})
	require.Error(t, err, "two intakes in one registry would add up")
}

func TestWriteFillsWhatTheJournalGave(t *testing.T) {
	clock := newHand(morning)
	in, j := intakeOnDisk(t, IntakeOptions{Clock: clock.now})
	entries := []journal.Entry{
		{Mark: &journal.Mark{Name: "started"}},
		{Event: &detect.Event{Tank: "FV3", Name: "seal"}},
		{Act: &journal.Act{Verb: "acknowledge", Incident: "i-1"}},
	}
	outcomes, err := in.Write(t.Context(), entries...)
	require.NoError(t, err)
	assert.Equal(t, []journal.Outcome{journal.Accepted, journal.Accepted, journal.Accepted}, outcomes)
	for i, e := range entries {
		assert.EqualValues(t, i+1, e.Seq)
		assert.Equal(t, morning, e.Arrived)
	}
	assert.Equal(t, morning, entries[1].Event.Time, "an event without a time happened on arrival")
	assert.Equal(t, morning, entries[1].Event.Arrived)
	stop(t, in)
	kept, err := j.After(t.Context(), 0, 10)
	require.NoError(t, err)
	assert.Equal(t, entries, kept)
}

func TestWriteLeavesTheCallersEntriesAloneOnceItHasGone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &ledger{gate: make(chan struct{})}
		in := intakeOn(t, l, IntakeOptions{})
		event := &detect.Event{Tank: "FV3", Name: "seal"}
		entries := []journal.Entry{{Event: event}}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		_, err := in.Write(ctx, entries...)
		require.ErrorIs(t, err, context.DeadlineExceeded)
		close(l.gate)
		stop(t, in)
		require.Len(t, l.entries(), 1, "it was queued and comes to disk")
		assert.Equal(t, []journal.Entry{{Event: event}}, entries)
		assert.True(t, event.Arrived.IsZero())
	})
}

func TestWriteRefusesWhatIsNotOneThing(t *testing.T) {
	in := intakeOn(t, &ledger{}, IntakeOptions{})
	for _, e := range []journal.Entry{
		{},
		{Mark: &journal.Mark{Name: "started"}, Act: &journal.Act{Verb: "shelve"}},
	} {
		_, err := in.Write(t.Context(), journal.Entry{Mark: &journal.Mark{Name: "started"}}, e)
		require.ErrorContains(t, err, "entry 2: ")
	}
	stop(t, in)
}

func TestADefectOfTheDecoderIsARefusal(t *testing.T) {
	l, log := &ledger{}, &logBook{}
	in := intakeOn(t, l, IntakeOptions{Log: log.logger()})
	in.decode = func(Message, time.Time) Decoded { panic("index out of range") }
	require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)))
	stop(t, in)
	require.Len(t, in.Refusals(), 1)
	assert.Equal(t, reasonDefect, in.Refusals()[0].Reason)
	assert.Contains(t, in.Refusals()[0].Detail, "index out of range")
	assert.Equal(t, 1, log.count("please report"))
}

func TestAHugePayloadIsCutBeforeItWaits(t *testing.T) {
	l := &ledger{gate: make(chan struct{})}
	in := intakeOn(t, l, IntakeOptions{})
	m := gravity("hyd-1", 1.01)
	m.Payload = append(m.Payload, strings.Repeat(" ", 1<<20)...)
	held := make(chan int, 1)
	decode := in.decode
	in.decode = func(m Message, at time.Time) Decoded { held <- len(m.Payload); return decode(m, at) }
	require.NoError(t, in.Hear(t.Context(), m))
	assert.Equal(t, MaxPayload+1, <-held)
	require.Len(t, in.Refusals(), 1)
	assert.Equal(t, ReasonTooLarge, in.Refusals()[0].Reason)
	stop(t, in)
}

func TestCommittedSignalsNewsOnce(t *testing.T) {
	l := &ledger{}
	in := intakeOn(t, l, IntakeOptions{})
	assert.Empty(t, in.Committed())
	require.NoError(t, in.Hear(t.Context(), Message{Topic: "cellar/FV3/hyd-1", Payload: []byte("x")}))
	assert.Empty(t, in.Committed(), "a refusal is not in the journal")
	for range 3 {
		require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)))
	}
	assert.Len(t, in.Committed(), 1)
	<-in.Committed()
	require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)))
	assert.Len(t, in.Committed(), 1)
	stop(t, in)
}

// errors.Is must find the cause through what Hear adds.
func TestLateErrorsNameTheirCause(t *testing.T) {
	in, err := newIntake(IntakeOptions{})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	assert.ErrorIs(t, in.late(ctx), context.Canceled)
	cause := errors.New("no space")
	in.setTrouble(cause)
	assert.ErrorIs(t, in.late(ctx), cause)
	assert.ErrorIs(t, in.late(ctx), context.Canceled)
}
