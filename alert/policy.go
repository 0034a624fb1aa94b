package alert

import (
	"time"

	"spile/detect"
)

// Webhook is where the policy may send: a name and the least priority it wants to hear of. Without one it hears all.
type Webhook struct {
	Name     string
	Priority detect.Priority
}

// Policy decides who is told of which step.
type Policy struct {
	Webhooks []Webhook
}

// Notice is one message to one webhook. Its ID is derived from what it says, so that judging the same again after a
// crash gives the same message and no second one.
type Notice struct {
	Webhook    string
	ID         string
	Transition Transition
}

// Route returns the notices for these transitions, in their order and for each in the order of the webhooks.
//
// Told are: a call (raised, come back, grown worse, or no longer kept quiet), the end of something that was called
// out, and what another person did about it: an acknowledgement lets the others sleep, a shelving takes a watch away
// from all of them. Not told are steps that ask nothing of anybody: suppression, service, and an answer to what is
// already over.
func (p Policy) Route(transitions []Transition) []Notice {
	var out []Notice
	for _, t := range transitions {
		concerns, told := t.audience()
		if !told {
			continue
		}
		for _, hook := range p.Webhooks {
			about := t.Alarm == WebhookFailing && t.Probe == hook.Name // it would not arrive
			if concerns.AtLeast(hook.Priority) && !about {
				out = append(out, Notice{Webhook: hook.Name, ID: noticeID(hook.Name, t), Transition: t})
			}
		}
	}
	return out
}

// audience tells whether a step is worth a message and at which priority. What follows a call concerns whoever had
// the call, so it goes by the priority at which a person was called.
func (t Transition) audience() (detect.Priority, bool) {
	called := t.Announced.Rank() > 0
	switch t.To {
	case Unacknowledged:
		return t.Priority, true
	case Returned, Shelved:
		return t.Announced, called
	case Acknowledged:
		return t.Announced, called && t.From == Unacknowledged
	case Normal:
		open := t.From == Unacknowledged || t.From == Acknowledged || t.From == Suppressed
		return t.Announced, called && open
	}
	return "", false
}

// noticeID derives a message's id. From and priority are in it, because an alarm can step twice at one instant.
func noticeID(webhook string, t Transition) string {
	return "msg_" + derive(webhook, t.ID, t.Time.UTC().Format(time.RFC3339Nano), string(t.From), string(t.To), string(t.Priority))
}
