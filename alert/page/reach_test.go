package page

import (
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert/webhook"
)

// reached are webhooks in every state there is.
func reached(o *Options) {
	o.Webhooks = func() []webhook.Standing {
		return []webhook.Standing{
			{Webhook: "phone", Delivered: now.Add(-time.Hour)},
			{Webhook: "board"},
			{Webhook: "owner", Waiting: 1, Oldest: now.Add(-5 * time.Minute), Since: now.Add(-5 * time.Minute), Problem: "answered 503 Service Unavailable"},
			{Webhook: "pager", Waiting: 3, Oldest: now.Add(-time.Hour), Since: now.Add(-time.Hour), Problem: "no answer within 15s", Failing: true},
			{Webhook: "siren", Waiting: 2, Oldest: now.Add(-time.Hour), Since: now.Add(-30 * time.Minute), Problem: "answered 410 Gone: the webhook wants no more messages", Failing: true, Dead: true},
		}
	}
}

func TestWhoCannotBeToldStandsOnEveryPage(t *testing.T) {
	s, _ := serve(t, reached)
	for _, target := range []string{"/", "/alarms", "/tanks/FV3", "/alarms/creep"} {
		page := said(t, ask(s, http.MethodGet, target, "").Body.String())
		assert.Contains(t, page, "Nobody is told by pager: Takes no messages since 02:15, no answer within 15s. 3 messages wait, the oldest since 02:15.")
		assert.Contains(t, page, "Nobody is told by siren: Dead since 02:45, answered 410 Gone: the webhook wants no more messages. Mend its address and start spile anew.")
		assert.NotContains(t, page, "told by owner", "not yet")
	}
	page := said(t, ask(s, http.MethodGet, "/alarms", "").Body.String())
	assert.Contains(t, page, "phone Last told 02:15. board No message was needed yet. owner Tried since 03:10, answered 503 Service Unavailable. One message waits, since 03:10.")
	nobody, _ := serve(t, nil)
	assert.Contains(t, said(t, ask(nobody, http.MethodGet, "/alarms", "").Body.String()), "no webhook is configured")
}

func TestASpileThatStandsBySaysSoOnEveryPage(t *testing.T) {
	var speaks atomic.Bool
	s, _ := serve(t, func(o *Options) { o.Speaks = speaks.Load })
	asked := s.pulse.look(now)
	for _, target := range everyPage {
		assert.Contains(t, ask(s, http.MethodGet, target, "").Body.String(), "stands by.</b> The other of the two calls people", target)
	}
	assert.Contains(t, ask(s, http.MethodGet, "/api/v1/webhooks", "").Body.String(), `"speaks":false`)
	speaks.Store(true)
	assert.NotContains(t, ask(s, http.MethodGet, "/", "").Body.String(), "stands by")
	assert.Equal(t, []string{""}, changed(asked, s.pulse.look(now.Add(time.Second))), "open pages are told")
}

func TestWebhooksOverTheAPI(t *testing.T) {
	s, _ := serve(t, reached)
	got := ask(s, http.MethodGet, "/api/v1/webhooks", "")
	require.Equal(t, http.StatusOK, got.Code)
	all := object(t, got.Body.String())["webhooks"].([]any)
	states := map[string]string{}
	for _, one := range all {
		fields := one.(map[string]any)
		states[fields["name"].(string)] = fields["state"].(string)
	}
	assert.Equal(t, map[string]string{"phone": "works", "board": "works", "owner": "stuck", "pager": "failing", "siren": "dead"}, states)
	assert.Equal(t, map[string]any{"name": "board", "state": "works", "waiting": 0.0}, all[1])
	assert.Equal(t, map[string]any{
		"name": "pager", "state": "failing", "waiting": 3.0, "oldest": "2026-03-02T02:15:00Z", "since": "2026-03-02T02:15:00Z", "problem": "no answer within 15s",
	}, all[3])
	empty, _ := serve(t, nil)
	assert.JSONEq(t, `{"webhooks":[],"speaks":true}`, ask(empty, http.MethodGet, "/api/v1/webhooks", "").Body.String())
}
