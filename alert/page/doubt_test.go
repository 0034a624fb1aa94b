package page

import (
	"context"
	"net/http"
	"strings"
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

// A slip of the pen is told at once: the tank that was meant would be without its hops.
func TestWhoLogsForATankThatNoProbeIsOnIsTold(t *testing.T) {
	s, _ := serve(t, func(*Options) {})
	for tank, told := range map[string]bool{"FV3": false, "FV9": true} {
		got := ask(s, "POST", "/api/v1/tanks/"+tank+"/log", `{"event":"dry-hop","mass":"20 kg"}`)
		assert.Equal(t, http.StatusCreated, got.Code)
		assert.Equal(t, told, strings.Contains(got.Body.String(), "No probe was ever heard on "+tank+": is that the tank? Heard are FV"), got.Body.String())
	}
}
