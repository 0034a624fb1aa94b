package page

import (
	"context"
	"errors"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/batch"
)

func TestTheTankPageShowsItsHoldPoints(t *testing.T) {
	s := seasoned(t, 20.9)
	got := ask(s, "GET", "/tanks/FV7", "")
	require.Equal(t, http.StatusOK, got.Code)
	rep, err := s.Report(t.Context(), "FV7")
	require.NoError(t, err)
	page := said(t, got.Body.String())
	require.Len(t, rep.HoldPoints, 3)
	for _, p := range rep.HoldPoints {
		assert.Contains(t, page, p.Question+" "+verdict(p.Verdict))
		for _, c := range p.Conditions {
			assert.Contains(t, page, fulfilled(c)+" "+c.Title, "%s", p.Name)
		}
		assert.Contains(t, page, p.Caution)
	}
	assert.Contains(t, page, "Nothing here is permission")
}

func TestHoldPointsAreJudgedAnewWhenTheyMayHaveChanged(t *testing.T) {
	asked, at := 0, now
	c := &holdCache{clock: func() time.Time { return at }, report: func(context.Context, string) (batch.Report, error) {
		asked++
		return batch.Report{}, nil
	}}
	get := func(lines int) {
		_, known, err := c.get(t.Context(), "FV3", lines)
		require.NoError(t, err)
		require.True(t, known)
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
