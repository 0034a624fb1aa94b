package page

import (
	"context"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestWhoLogsIsToldWhatFollowsOrAskedBack(t *testing.T) {
	s, kept := serve(t, func(o *Options) {
		o.Doubt = detect.Settings{BeerLiters: 2000}.Doubt
		o.Before = func(_ context.Context, e detect.Event) []string { return []string{"after " + e.Name + " this follows"} }
	})
	got := ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"dry-hop","mass":20}`)
	assert.Equal(t, http.StatusBadRequest, got.Code)
	assert.Contains(t, got.Body.String(), "write 20kg or 20lb")
	before := len(kept.events)
	got = ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"dry-hop","mass":"20 kg"}`)
	assert.Equal(t, http.StatusCreated, got.Code)
	assert.Contains(t, got.Body.String(), `"follows":["after dry-hop this follows"]`)
	assert.Len(t, kept.events, before+1)
}
