package daemon

import (
	"spile/alert"
	"spile/ingest/journal"
)

// messageRows writes the watch's notices as the outbox keeps them. Their IDs are derived, so a crash between judging
// and committing repeats the judging and never the telling.
func messageRows(notices []alert.Notice, links *alert.Links) ([]journal.Message, error) {
	rows := make([]journal.Message, 0, len(notices))
	for _, n := range notices {
		body, err := n.Message.Linked(links).JSON()
		if err != nil {
			return nil, err
		}
		rows = append(rows, journal.Message{ID: n.ID, Webhook: n.Webhook, Incident: n.Thread, Created: n.Time, Body: body})
	}
	return rows, nil
}
