package alert

import (
	"time"

	"spile/detect"
)

// WebhookFailing says that a webhook has not taken a message for a quarter of an hour, or wants none any more. The
// sender finds it, not a detector. There is one for each webhook, whose name stands where other alarms name a probe.
const WebhookFailing detect.Alarm = "webhook-failing"

// WebhookFails says that since this time a webhook counts as failing, and what came back from it. Said again of one
// that fails already it only brings the words up to date.
func (w *Watch) WebhookFails(at time.Time, name, problem string) []Transition {
	out := w.Advance(at)
	f := detect.Finding{Alarm: WebhookFailing, Probe: name, Active: true, Time: w.at, Onset: w.at}
	if c := w.cellar.find(WebhookFailing, name); c != nil && c.Holds {
		f.Onset = c.Finding.Onset
	}
	f.Summary = "webhook " + name + " takes no messages"
	if problem != "" {
		f.Summary += ": " + problem
	}
	w.cellar.hear([]detect.Finding{f}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// WebhookWorks says that a webhook takes messages again, or is there no more.
func (w *Watch) WebhookWorks(at time.Time, name string) []Transition {
	out := w.Advance(at)
	if c := w.cellar.find(WebhookFailing, name); c == nil || !c.Holds {
		return out
	}
	w.cellar.hear([]detect.Finding{{Alarm: WebhookFailing, Probe: name, Time: w.at}}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// FailingWebhooks are the names of those that were last said to fail, whatever stands of their alarms.
func (w *Watch) FailingWebhooks() []string {
	var out []string
	for _, c := range w.cellar.conditions {
		if c.Finding.Alarm == WebhookFailing && c.Holds {
			out = append(out, c.Finding.Probe)
		}
	}
	return out
}
