package ingest

import (
	"bytes"
	"context"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stuffed is an intake before a journal that takes nothing, with all the room taken by the longest messages.
func stuffed(t *testing.T) (in *Intake, l *ledger, taken int, answered *atomic.Int32) {
	t.Helper()
	l, answered = &ledger{gate: make(chan struct{})}, &atomic.Int32{}
	in = intakeOn(t, l, IntakeOptions{})
	m := Message{Topic: "cellar/FV3/hyd-1", Payload: bytes.Repeat([]byte{'x'}, MaxPayload)}
	require.NoError(t, in.Offer(t.Context(), gravity("hyd-1", 1.01), func(error) { answered.Add(1) }))
	synctest.Wait() // the writer waits for the journal with it
	for taken = 1; ; taken++ {
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		err := in.Offer(ctx, m, func(error) { answered.Add(1) })
		cancel()
		if err != nil {
			require.ErrorIs(t, err, context.DeadlineExceeded)
			return in, l, taken, answered
		}
	}
}

// A journal that takes nothing does not fill the memory, however long the messages are: their senders wait.
func TestWhatIsUnderWayHasABoundInBytes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in, l, taken, answered := stuffed(t)
		assert.LessOrEqual(t, (taken-1)*MaxPayload, roomBytes)
		assert.Greater(t, (taken+1)*MaxPayload, roomBytes, "what there is of room is used")
		assert.Less(t, taken, defaultQueue)
		waiting := make(chan error, 1)
		go func() { waiting <- in.Hear(t.Context(), gravity("hyd-1", 1.02)) }()
		long := make(chan error, 1)
		go func() {
			long <- in.Hear(t.Context(), Message{Topic: "cellar/FV3/hyd-1", Payload: bytes.Repeat([]byte{'x'}, MaxPayload)})
		}()
		synctest.Wait()
		close(l.gate)
		require.NoError(t, <-waiting)
		require.NoError(t, <-long, "one that waited for room finds it")
		stop(t, in)
		assert.EqualValues(t, taken, answered.Load())
		assert.True(t, in.room.TryAcquire(roomBytes), "all room is given back")
	})
}

func TestWhoWaitsForRoomIsSentAwayByStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in, l, taken, answered := stuffed(t)
		waiting := make(chan error, 1)
		go func() {
			waiting <- in.Offer(t.Context(), Message{Topic: "a", Payload: make([]byte, MaxPayload)}, func(error) {
				assert.Fail(t, "done of an offer that failed")
			})
		}()
		synctest.Wait()
		stopping := make(chan error, 1)
		go func() { stopping <- in.Stop(t.Context()) }()
		require.ErrorIs(t, <-waiting, ErrStopped)
		close(l.gate)
		require.NoError(t, <-stopping)
		assert.EqualValues(t, taken, answered.Load())
		assert.True(t, in.room.TryAcquire(roomBytes))
	})
}
