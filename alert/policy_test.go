package alert

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

func TestWhoIsToldOfWhat(t *testing.T) {
	for _, row := range []struct {
		from, to State
		called   detect.Priority
		told     bool
	}{
		{Normal, Unacknowledged, detect.High, true},
		{Unacknowledged, Unacknowledged, detect.High, true},
		{Acknowledged, Unacknowledged, detect.High, true},
		{Returned, Unacknowledged, detect.High, true},
		{Suppressed, Unacknowledged, detect.High, true},
		{Shelved, Unacknowledged, detect.High, true},
		{Unacknowledged, Acknowledged, detect.High, true},
		{Suppressed, Acknowledged, detect.High, false},
		{Unacknowledged, Returned, detect.High, true},
		{Suppressed, Returned, detect.High, true},
		{Acknowledged, Normal, detect.High, true},
		{Unacknowledged, Normal, detect.High, true}, // closed by the log
		{Suppressed, Normal, detect.High, true},
		{Suppressed, Normal, "", false}, // nobody had heard of it
		{Returned, Normal, detect.High, false},
		{Shelved, Normal, detect.High, false},
		{Unacknowledged, Shelved, detect.High, true},
		{Suppressed, Shelved, "", false},
		{Normal, Suppressed, "", false},
		{Unacknowledged, Suppressed, detect.High, false},
		{Normal, OutOfService, "", false},
	} {
		p := Policy{Webhooks: []Webhook{{Name: "phone", Priority: detect.High}}}
		got := p.Route([]Transition{{ID: "a", Priority: detect.High, From: row.from, To: row.to, Announced: row.called}})
		assert.Equal(t, row.told, len(got) == 1, "%s>%s", row.from, row.to)
	}
}

func TestThreshold(t *testing.T) {
	p := Policy{Webhooks: []Webhook{{Name: "phone", Priority: detect.Critical}, {Name: "board"}, {Name: "mail", Priority: detect.Medium}}}
	names := func(transition Transition) (out []string) {
		for _, n := range p.Route([]Transition{transition}) {
			out = append(out, n.Webhook)
		}
		return out
	}
	raised := Transition{Priority: detect.Medium, From: Normal, To: Unacknowledged, Announced: detect.Medium}
	assert.Equal(t, []string{"board", "mail"}, names(raised))
	raised.Priority = detect.Critical
	assert.Equal(t, []string{"phone", "board", "mail"}, names(raised))

	// It grew critical while nobody could be told, and is over: who was never called need not hear the end.
	for _, to := range []State{Returned, Normal} {
		over := Transition{Priority: detect.Critical, From: Suppressed, To: to, Announced: detect.Medium}
		assert.Equal(t, []string{"board", "mail"}, names(over), to)
	}
}

func TestNoticeIDs(t *testing.T) {
	p := Policy{Webhooks: []Webhook{{Name: "a"}, {Name: "b"}}}
	step := Transition{ID: "incident", Time: at("01:00"), Priority: detect.Medium, From: Unacknowledged, To: Unacknowledged}
	worse := step
	worse.Priority = detect.High
	other := step
	other.From = Normal
	notices := p.Route([]Transition{step, worse, other})
	require.Len(t, notices, 6)
	seen := map[string]bool{}
	for _, n := range notices {
		assert.Regexp(t, `^msg_[a-z2-7]{16}$`, n.ID)
		seen[n.ID] = true
	}
	assert.Len(t, seen, 6)
	assert.Equal(t, notices, p.Route([]Transition{step, worse, other}), "judged again it is the same message")
}

func TestEveryCallHasAnEnd(t *testing.T) {
	// Through any night, a webhook hears of an incident first by a call; and when the alarm is over without a person's
	// answer having closed it, the last thing it hears is not a call.
	rapid.Check(t, func(t *rapid.T) {
		p := Policy{Webhooks: []Webhook{{Name: "phone", Priority: detect.High}}}
		w := newWatch(Options{}, newScripted)
		now := midnight
		last := map[string]State{}
		ids := map[string]bool{}
		for _, m := range drawMoves(t) {
			now = now.Add(m.wait)
			for _, n := range p.Route(m.play(w, now)) {
				require.False(t, ids[n.ID], "no two messages share an id")
				ids[n.ID] = true
				incident := n.Transition.ID
				if _, heard := last[incident]; !heard {
					require.Equal(t, Unacknowledged, n.Transition.To, "first comes the call")
				}
				last[incident] = n.Transition.To
			}
		}
		open := map[string]bool{}
		for _, i := range w.View().Incidents {
			open[i.ID] = true
		}
		for incident, state := range last {
			if state == Unacknowledged {
				require.True(t, open[incident], "%s still rings though it is over", incident)
			}
		}
	})
}
