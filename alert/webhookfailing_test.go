package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestAFailingWebhookIsAnAlarmOfItsOwn(t *testing.T) {
	s := newScene(Options{})
	s.note(s.WebhookFails(at("01:00"), "phone", "answered 503"))
	s.note(s.WebhookFails(at("01:05"), "board", "answered 410 Gone"))
	s.note(s.WebhookFails(at("01:10"), "phone", "no answer within 15s"))
	assert.ElementsMatch(t, []string{"phone", "board"}, s.FailingWebhooks())
	s.note(s.WebhookWorks(at("01:20"), "phone"))
	assert.Equal(t, []string{"board"}, s.FailingWebhooks(), "though the alarm stands until its delay is over")
	s.note(s.WebhookWorks(at("01:20"), "pager"))
	s.note(s.Advance(at("01:40")))
	assert.Equal(t, []string{
		"01:00  webhook-failing high normal>unacknowledged",
		"01:05  webhook-failing high normal>unacknowledged",
		"01:35  webhook-failing high unacknowledged>returned",
	}, s.lines())
	assert.Equal(t, "phone", s.told[0].Probe)
	assert.Equal(t, "webhook phone takes no messages: answered 503", s.told[0].Summary)
	assert.Equal(t, "webhook phone takes no messages: no answer within 15s", s.told[2].Summary, "the newest words")
	assert.Equal(t, at("01:00"), s.told[2].Onset)
	assert.NotEqual(t, s.told[0].ID, s.told[1].ID)
}

func TestAFailingWebhookIsToldByTheOthers(t *testing.T) {
	s := newScene(Options{Policy: Policy{Webhooks: []Webhook{
		{Name: "phone", Then: "board", After: 5 * time.Minute}, {Name: "board"}, {Name: "owner", Priority: detect.Critical},
	}}})
	s.note(s.WebhookFails(at("01:00"), "board", "503"))
	assert.Equal(t, []string{"01:00 phone"}, s.rings())
	s.note(s.Advance(at("01:10")))
	s.note(s.WebhookWorks(at("01:11"), "board"))
	s.note(s.Advance(at("01:30")))
	assert.Equal(t, []string{"01:26 phone returned"}, s.rings(), "nor is it called as the second one, nor told the end")
	assert.Equal(t, "Cellar: webhook phone takes no messages, since 00:00",
		Words{}.Headline(Message{Transition: Transition{Alarm: WebhookFailing, Probe: "phone", To: Unacknowledged, From: Normal, Time: midnight}}))
}
