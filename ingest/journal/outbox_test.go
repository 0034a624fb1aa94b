package journal

import (
	"database/sql"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// raised gives a journal the incident i1 and the messages about it.
func raised(t *testing.T, j *Journal, messages ...Message) {
	t.Helper()
	commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
	require.NoError(t, j.Judge(t.Context(), Judgement{
		Through: 1, At: heard(), Transitions: []Transition{step("i1", "normal", "unacknowledged")}, Messages: messages,
	}))
}

// waiting are the messages of a webhook that are not settled, in the order they are to be told.
func waiting(t *testing.T, j *Journal, webhook string) []Message {
	t.Helper()
	rows, err := j.reader.QueryContext(t.Context(), `SELECT id, webhook, incident, created, body, attempts, next, problem
		FROM outbox WHERE webhook = ? AND state = 'pending' ORDER BY place`, webhook)
	all, err := collect(rows, err, func(r *sql.Rows) (m Message, err error) {
		var created int64
		var next sql.NullInt64
		err = r.Scan(&m.ID, &m.Webhook, &m.Incident, &created, (*[]byte)(&m.Body), &m.Attempts, &next, &m.Problem)
		m.Created, m.Next = moment(created), maybeMoment(next)
		return m, err
	})
	require.NoError(t, err)
	return all
}

func TestMessagesWaitInOrderUntilSettled(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		raised(t, j, message("b", "phone"), message("a", "phone"), message("c", "desk"))
		assert.Equal(t, []Message{message("b", "phone"), message("a", "phone")}, waiting(t, j, "phone"))
		assert.Equal(t, []Message{message("c", "desk")}, waiting(t, j, "desk"))

		next := heard().Add(time.Minute)
		require.NoError(t, j.Settle(t.Context(), "b", Attempt{At: heard(), Result: Retry, Next: next, Problem: "503"}))
		tried := message("b", "phone")
		tried.Attempts, tried.Next, tried.Problem = 1, next, "503"
		assert.Equal(t, []Message{tried, message("a", "phone")}, waiting(t, j, "phone"), "it keeps its place")

		require.NoError(t, j.Settle(t.Context(), "b", Attempt{At: next, Result: Delivered}))
		require.NoError(t, j.Settle(t.Context(), "c", Attempt{At: next, Result: Dead, Problem: "410"}))
		assert.Equal(t, []Message{message("a", "phone")}, waiting(t, j, "phone"))
		stays := message("c", "desk")
		stays.Attempts, stays.Problem = 1, "410"
		assert.Equal(t, []Message{stays}, waiting(t, j, "desk"), "for the day its address is mended")
	})
}

func TestAMessageIsSettledOnce(t *testing.T) {
	j := open(t, Options{Memory: true})
	raised(t, j, message("a", "phone"))
	for _, end := range []Result{Dead, Retry, Dead, Delivered} {
		require.NoError(t, j.Settle(t.Context(), "a", Attempt{At: heard(), Result: end}))
	}
	for _, again := range []Result{Delivered, Retry, Dead} {
		require.ErrorIs(t, j.Settle(t.Context(), "a", Attempt{At: heard(), Result: again}), ErrSettled)
	}
}

func TestEachIncidentHasItsQueue(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		of := func(id, webhook, incident string) Message {
			m := message(id, webhook)
			m.Incident = incident
			return m
		}
		commit(t, j, gravity("FV1", "hyd", noon(), 1.05))
		g := Judgement{Through: 1, At: heard(), Transitions: []Transition{
			step("i1", "normal", "unacknowledged"), step("i2", "normal", "unacknowledged"), step("i3", "normal", "unacknowledged"),
		}}
		for n := range 3000 {
			g.Messages = append(g.Messages, of(fmt.Sprint("a", n), "phone", "i1"))
		}
		g.Messages = append(g.Messages, of("b1", "phone", "i2"), of("c1", "desk", "i3"), of("b2", "phone", "i2"))
		require.NoError(t, j.Judge(t.Context(), g))
		queues := func() []Queue {
			all, err := j.Queues(t.Context(), "phone")
			require.NoError(t, err)
			return all
		}
		assert.Equal(t, []Queue{{of("a0", "phone", "i1"), 3000}, {of("b1", "phone", "i2"), 2}}, queues())
		require.NoError(t, j.Settle(t.Context(), "a0", Attempt{At: heard(), Result: Delivered}))
		require.NoError(t, j.Settle(t.Context(), "b1", Attempt{At: heard(), Result: Retry, Next: heard().Add(time.Minute), Problem: "503"}))
		waits := of("b1", "phone", "i2")
		waits.Attempts, waits.Next, waits.Problem = 1, heard().Add(time.Minute), "503"
		assert.Equal(t, []Queue{{of("a1", "phone", "i1"), 2999}, {waits, 2}}, queues(), "what failed keeps its place")
	})
}

func TestSettleRefusesWhatItDoesNotKnow(t *testing.T) {
	j := open(t, Options{Memory: true})
	raised(t, j, message("a", "phone"))
	require.ErrorIs(t, j.Settle(t.Context(), "b", Attempt{At: heard(), Result: Delivered}), ErrUnknown)
	require.ErrorContains(t, j.Settle(t.Context(), "a", Attempt{At: heard(), Result: "lost"}), `no result "lost"`)
	assert.Equal(t, []Message{message("a", "phone")}, waiting(t, j, "phone"))
}

func TestAnIDNeverStandsForTwoContents(t *testing.T) {
	j := open(t, Options{Memory: true})
	raised(t, j, message("a", "phone"))
	other := message("a", "phone")
	other.Body = []byte(`{"alarm":"leak"}`)
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: heard(), Messages: []Message{other}}))
	assert.Equal(t, []Message{message("a", "phone")}, waiting(t, j, "phone"))
}
