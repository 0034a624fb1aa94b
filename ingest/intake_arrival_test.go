package ingest

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
	"spile/ingest/journal"
)

func TestArrivalsNeverGoBack(t *testing.T) {
	l, clock := &ledger{}, newHand(morning)
	in := intakeOn(t, l, IntakeOptions{Clock: clock.now})
	hear := func(m Message) { t.Helper(); require.NoError(t, in.Hear(t.Context(), m)) }

	clock.turn(1234567 * time.Nanosecond)
	hear(gravity("hyd-1", 1.01))
	clock.set(morning.Add(-time.Hour))
	hear(gravity("hyd-1", 1.02))
	replayed := gravity("hyd-1", 1.03)
	replayed.Arrived = morning.Add(time.Minute)
	hear(replayed)
	replayed.Arrived = morning.Add(30 * time.Second)
	hear(replayed)
	stop(t, in)

	var got []time.Time
	for _, e := range l.entries() {
		got = append(got, e.Arrived)
		assert.Equal(t, e.Arrived, e.Reading.Arrived)
	}
	assert.Equal(t, []time.Time{
		morning.Add(time.Millisecond), // whole milliseconds
		morning.Add(time.Millisecond), // the clock went back
		morning.Add(time.Minute),      // kept
		morning.Add(time.Minute),      // a capture that goes back
	}, got)
}

func TestArrivalsGoOnFromTheJournalsNewest(t *testing.T) {
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	_, err = j.Commit(t.Context(), []journal.Entry{{Arrived: morning, Mark: &journal.Mark{Name: "started"}}})
	require.NoError(t, err)
	d, err := NewDecoder(DecoderOptions{})
	require.NoError(t, err)
	log, clock := &logBook{}, newHand(morning.Add(-time.Hour))
	in, err := NewIntake(IntakeOptions{Journal: j, Decoder: d, Clock: clock.now, Log: log.logger()})
	require.NoError(t, err)
	assert.Equal(t, morning, in.Horizon())
	assert.Equal(t, 1, log.count("the clock is behind the journal"))
	clock.set(morning.Add(time.Hour))
	assert.Equal(t, morning.Add(time.Hour), in.Horizon())
}

func TestHorizonMovesWithTheClockOnlyWhileNothingIsInFlight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, clock := &ledger{gate: make(chan struct{})}, newHand(morning)
		in := intakeOn(t, l, IntakeOptions{Clock: clock.now})
		assert.Equal(t, morning, in.Horizon())
		heard := make(chan error, 1)
		go func() { heard <- in.Hear(t.Context(), gravity("hyd-1", 1.01)) }()
		synctest.Wait()
		clock.turn(time.Minute)
		assert.Equal(t, morning, in.Horizon(), "in flight")
		l.gate <- struct{}{}
		require.NoError(t, <-heard)
		assert.Equal(t, morning.Add(time.Minute), in.Horizon())
		clock.turn(-time.Hour)
		assert.Equal(t, morning.Add(time.Minute), in.Horizon(), "it never goes back")
		stop(t, in)
	})
}

// Whatever is offered and however the clock jumps: what is committed after a
// look at the horizon does not lie before it, and arrivals are in order.
func TestHorizonHolds(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l, clock := &ledger{}, newHand(morning)
		in := intakeOn(t, l, IntakeOptions{Clock: clock.now, Queue: 3})
		type look struct {
			horizon   time.Time
			committed int
		}
		var looks []look
		for range rapid.IntRange(1, 30).Draw(rt, "steps") {
			switch rapid.IntRange(0, 2).Draw(rt, "step") {
			case 0:
				m := gravity("hyd-1", 1.01)
				if rapid.Bool().Draw(rt, "replayed") {
					m.Arrived = morning.Add(time.Duration(rapid.IntRange(-100, 100).Draw(rt, "arrived")) * time.Second)
				}
				require.NoError(t, in.Offer(t.Context(), m, func(error) {}))
			case 1:
				clock.turn(time.Duration(rapid.IntRange(-50, 100).Draw(rt, "turn")) * time.Second)
			case 2:
				h := in.Horizon() // first: what is seen after it may be newer
				looks = append(looks, look{h, len(l.entries())})
			}
		}
		stop(t, in)
		all := l.entries()
		for i := 1; i < len(all); i++ {
			require.False(t, all[i].Arrived.Before(all[i-1].Arrived))
		}
		for _, k := range looks {
			for _, e := range all[k.committed:] {
				require.False(t, e.Arrived.Before(k.horizon), "%s was committed after the horizon %s", e.Arrived, k.horizon)
			}
		}
	})
}

// An event without a time of its own happened on arrival, whatever the intake makes of that.
func TestWhatHappenedOnArrivalMovesWithIt(t *testing.T) {
	later := noon.Add(3 * time.Millisecond)
	moved := arrivedEvent(&detect.Event{Name: "seal", Time: noon, Arrived: noon}, later)
	assert.Equal(t, later, moved.Time)
	told := arrivedEvent(&detect.Event{Name: "seal", Time: noon.Add(-time.Hour), Arrived: noon}, later)
	assert.Equal(t, noon.Add(-time.Hour), told.Time)
	assert.Equal(t, later, told.Arrived)
}
