package daemon

import (
	"spile/alert"
	"spile/cmd/config"
	"spile/detect"
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

// policy is who is told of what, and when, as the brewer wrote it. A call goes on for as long as nobody answers only
// where messages carry a link to answer by.
func policy(c config.Config) alert.Policy {
	p := alert.Policy{
		Public: c.HTTP.Public != "" && c.HTTP.Token != "",
		Wake:   alert.Wake(c.Alarms[detect.Refermentation].Wake),
	}
	for _, w := range c.Webhooks {
		hook := alert.Webhook{
			Name: w.Name, Priority: w.Priority, Days: w.Days, Repeat: w.Repeat, Then: w.Then, After: w.After, Report: w.Report,
		}
		if w.Hours != nil {
			hook.Hours = alert.Hours{From: w.Hours.From, To: w.Hours.To}
		}
		p.Webhooks = append(p.Webhooks, hook)
	}
	return p
}
