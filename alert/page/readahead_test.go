package page

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestOneTankIsReadAheadAtATimeAndOnceAnHour(t *testing.T) {
	began, gone := make(chan string), make(chan struct{})
	at := now
	r := &readAhead{
		clock: func() time.Time { return at }, ended: make(chan struct{}), fault: func(string, error) {},
		read: func(_ context.Context, tank string) error {
			began <- tank
			<-gone
			return nil
		},
	}
	idle := func() bool { r.mu.Lock(); defer r.mu.Unlock(); return !r.busy }
	r.begin("FV3")
	assert.Equal(t, "FV3", <-began)
	r.begin("FV4") // while FV3 is being read
	gone <- struct{}{}
	assert.Eventually(t, idle, 10*time.Second, time.Millisecond)
	r.begin("FV3")
	assert.True(t, idle(), "it was read a moment ago")
	at = at.Add(aheadEvery)
	r.begin("FV3")
	assert.Equal(t, "FV3", <-began)
	gone <- struct{}{}
	assert.Eventually(t, idle, 10*time.Second, time.Millisecond)
}

func TestReadingAheadEndsWithTheServer(t *testing.T) {
	ended, stopped, told := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	r := &readAhead{
		clock: func() time.Time { return now }, ended: ended, fault: func(_ string, err error) { told <- err },
		read: func(ctx context.Context, _ string) error {
			<-ctx.Done()
			close(stopped)
			return ctx.Err()
		},
	}
	r.begin("FV3")
	close(ended)
	<-stopped
	assert.Empty(t, told, "that is no fault")
	failing := &readAhead{
		clock: func() time.Time { return now }, ended: make(chan struct{}), fault: func(_ string, err error) { told <- err },
		read: func(context.Context, string) error { return errors.New("disk") },
	}
	failing.begin("FV3")
	assert.EqualError(t, <-told, "disk")
}

func TestTheLongStretchesAreThereAtTheNextTap(t *testing.T) {
	s, kept := serve(t, nil)
	assert.Equal(t, 200, ask(s, "GET", "/tanks/FV3", "").Code)
	assert.Eventually(t, func() bool {
		kept.mu.Lock()
		defer kept.mu.Unlock()
		for _, f := range kept.traced {
			if f.Tank == "FV3" && f.From.Before(now.Add(-batchLongest+48*time.Hour)) {
				return true
			}
		}
		return false
	}, 10*time.Second, time.Millisecond)
}
