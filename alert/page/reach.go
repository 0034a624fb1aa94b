package page

import (
	"fmt"
	"net/http"
	"time"

	"spile/alert/webhook"
)

// webhookAnswer is how one webhook does.
type webhookAnswer struct {
	Name      string    `json:"name"`
	State     string    `json:"state"` // works, stuck, failing, dead
	Waiting   int       `json:"waiting"`
	Oldest    time.Time `json:"oldest,omitzero"`    // of those that wait
	Delivered time.Time `json:"delivered,omitzero"` // the newest since the start
	Since     time.Time `json:"since,omitzero"`     // stuck, failing or dead
	Problem   string    `json:"problem,omitempty"`
}

// webhooks answers with how each webhook does, and whether this spile tells people at all.
func (s *Server) webhooks(w http.ResponseWriter, _ *http.Request) error {
	answers := []webhookAnswer{}
	for _, now := range s.Webhooks() {
		answers = append(answers, webhookAnswer{
			now.Webhook, reachState(now), now.Waiting, now.Oldest.UTC(), now.Delivered.UTC(), now.Since.UTC(), now.Problem,
		})
	}
	writeJSON(w, http.StatusOK, map[string]any{"webhooks": answers, "speaks": s.Speaks()})
	return nil
}

// reachState is how a webhook does, in a word.
func reachState(now webhook.Standing) string {
	switch {
	case now.Dead:
		return "dead"
	case now.Failing:
		return "failing"
	case !now.Since.IsZero():
		return "stuck"
	}
	return "works"
}

// reach says how a webhook does.
func (s *Server) reach(now webhook.Standing) string {
	var text string
	switch reachState(now) {
	case "dead":
		text = fmt.Sprintf("dead since %s, %s. Mend its address and start spile anew.", s.when(now.Since), now.Problem)
	case "failing":
		text = fmt.Sprintf("takes no messages since %s, %s.", s.when(now.Since), now.Problem)
	case "stuck":
		text = fmt.Sprintf("tried since %s, %s.", s.when(now.Since), now.Problem)
	default:
		text = "no message was needed yet."
		if !now.Delivered.IsZero() {
			text = fmt.Sprintf("last told %s.", s.when(now.Delivered))
		}
	}
	switch now.Waiting {
	case 0:
		return capital(text)
	case 1:
		return capital(text) + " One message waits, since " + s.when(now.Oldest) + "."
	}
	return fmt.Sprintf("%s %d messages wait, the oldest since %s.", capital(text), now.Waiting, s.when(now.Oldest))
}
