package journal

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAnotherSpilesMessagesAreTakenOverOnce(t *testing.T) {
	j := open(t, Options{Memory: true})
	commit(t, j, mark("started"))
	post := func(id, incident string) Message {
		return Message{ID: id, Webhook: "phone", Incident: incident, Created: noon(), Body: json.RawMessage(`{"id":"` + incident + `"}`)}
	}
	closed := step("own", "unacknowledged", "normal")
	closed.Why = "the other spile calls it theirs"
	require.NoError(t, j.Judge(t.Context(), Judgement{
		Through: 1, At: heard(),
		Transitions: []Transition{step("own", "normal", "unacknowledged"), closed, step("theirs", "normal", "unacknowledged")},
		Messages:    []Message{post("m-own", "own"), post("m-both", "theirs")},
	}))
	taken := Handover{
		Waiting: []Message{post("m-theirs", "theirs"), post("m-strange", "strange"), post("m-both", "theirs")},
		At:      noon(), Renamed: "the other spile calls it ",
	}
	require.NoError(t, j.TakeOver(t.Context(), taken))
	require.NoError(t, j.TakeOver(t.Context(), taken), "it may come twice")
	ids := func() (out []string) {
		waiting, err := j.Waiting(t.Context(), 10)
		require.NoError(t, err)
		for _, m := range waiting {
			out = append(out, m.ID)
		}
		return out
	}
	assert.Equal(t, []string{"m-both", "m-theirs", "m-strange"}, ids(), "m-own goes on under the other's id")

	taken.Told = []string{"m-theirs", "m-never-heard-of", "m-own"}
	require.NoError(t, j.TakeOver(t.Context(), taken))
	assert.Equal(t, []string{"m-both", "m-strange"}, ids())
	taken.Theirs = []string{"theirs"}
	require.NoError(t, j.TakeOver(t.Context(), taken))
	assert.Equal(t, []string{"m-both", "m-strange"}, ids(), "m-both waits there too")
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: heard(), Messages: []Message{post("m-mine", "theirs")}}))
	require.NoError(t, j.TakeOver(t.Context(), taken))
	assert.Equal(t, []string{"m-both", "m-strange"}, ids(), "m-mine is the other's to tell")
	require.NoError(t, j.Settle(t.Context(), "m-both", Attempt{At: noon().Add(time.Second), Result: Delivered}))
	told, err := j.Told(t.Context(), 10)
	require.NoError(t, err)
	assert.ElementsMatch(t, []string{"m-own", "m-theirs", "m-mine", "m-both"}, told)
	few, err := j.Told(t.Context(), 1)
	require.NoError(t, err)
	assert.Len(t, few, 1)
}
