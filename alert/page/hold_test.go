package page

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/batch"
)

func TestTheTankPageShowsItsHoldPoints(t *testing.T) {
	s := seasoned(t, 20.9)
	s.held.patience = time.Minute
	got := ask(s, "GET", "/tanks/FV7", "")
	require.Equal(t, http.StatusOK, got.Code)
	rep, err := s.Report(t.Context(), "FV7")
	require.NoError(t, err)
	page := said(t, got.Body.String())
	require.Len(t, rep.HoldPoints, 3)
	for _, p := range rep.HoldPoints {
		assert.Contains(t, page, p.Question+" "+verdict(p.Verdict))
		for _, c := range p.Conditions {
			assert.Contains(t, page, fulfilled(c)+" "+pretty(c.Title), "%s", p.Name)
		}
		assert.Contains(t, page, p.Caution)
	}
	assert.Contains(t, page, "Nothing here is permission")
}

func TestHoldPointsAreJudgedAnewWhenTheyMayHaveChanged(t *testing.T) {
	asked, at := 0, now
	c := &holdCache{patience: time.Minute, clock: func() time.Time { return at }, report: func(context.Context, string) (batch.Report, error) {
		asked++
		return batch.Report{}, nil
	}}
	get := func(lines int) {
		require.NotNil(t, c.get(t.Context(), "FV3", lines).Batch)
	}
	get(1)
	get(1)
	assert.Equal(t, 1, asked)
	get(2)
	assert.Equal(t, 2, asked, "a line came into the log")
	at = at.Add(holdsLife)
	get(2)
	assert.Equal(t, 3, asked)
}

func TestATankPageWithoutHoldPointsIsAPage(t *testing.T) {
	s, _ := serve(t, func(o *Options) {
		o.Report = func(context.Context, string) (batch.Report, error) { return batch.Report{}, errors.New("disk") }
	})
	assert.Equal(t, http.StatusOK, ask(s, "GET", "/tanks/FV3", "").Code)
	plain, _ := serve(t, nil)
	assert.NotContains(t, ask(plain, "GET", "/tanks/FV3", "").Body.String(), "Before going on")
}

func TestVerdictsPromiseNothing(t *testing.T) {
	for _, v := range []batch.Verdict{batch.Yes, batch.No, batch.Unknown, "else"} {
		assert.NotContains(t, verdict(v), "safe")
	}
	assert.Equal(t, "cannot be told yet", verdict("else"))
}

// Reading a month anew takes a while on a small machine. The page does not wait for it, says so, and clears nothing.
func TestATankPageDoesNotWaitForItsHoldPoints(t *testing.T) {
	read := make(chan struct{})
	s, _ := serve(t, func(o *Options) {
		o.Report = func(ctx context.Context, _ string) (batch.Report, error) {
			select {
			case <-read:
				return batch.Report{Batch: batch.Batch{Stage: batch.Stage{Title: "conditioning", Why: "it is cold"}}}, nil
			case <-ctx.Done():
				return batch.Report{}, ctx.Err()
			}
		}
	})
	s.held.patience = 0
	page := said(t, ask(s, "GET", "/tanks/FV3", "").Body.String())
	assert.Contains(t, page, "The batch is being read from the journal")
	assert.NotContains(t, page, "conditioning")
	close(read)
	assert.Eventually(t, func() bool {
		return strings.Contains(said(t, ask(s, "GET", "/tanks/FV3", "").Body.String()), "conditioning")
	}, 10*time.Second, 5*time.Millisecond)
}

func TestWhatIsBeingJudgedEndsWithTheServer(t *testing.T) {
	ended, stopped := make(chan struct{}), make(chan struct{})
	c := &holdCache{clock: func() time.Time { return now }, ended: ended, report: func(ctx context.Context, _ string) (batch.Report, error) {
		<-ctx.Done()
		close(stopped)
		return batch.Report{}, ctx.Err()
	}, fault: func(string, error) { t.Error("that is no fault") }}
	assert.True(t, c.get(t.Context(), "FV3", 1).Pending)
	close(ended)
	<-stopped
}
