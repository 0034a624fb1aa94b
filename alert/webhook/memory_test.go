package webhook

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// memory is an outbox that lasts as long as the test.
type memory struct {
	mu      sync.Mutex
	rows    []Message
	settled map[string][]Attempt
	changed chan struct{} // after each Settle
	failing int           // so many calls fail first
	began   time.Time
}

func newMemory() *memory {
	return &memory{settled: map[string][]Attempt{}, changed: make(chan struct{}, 1000), began: time.Now()}
}

var errDisk = errors.New("disk is full")

func (m *memory) Queues(context.Context, string) ([]Queue, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.failing > 0 {
		m.failing--
		return nil, errDisk
	}
	var out []Queue
	place := map[string]int{}
	for _, row := range m.rows {
		at, known := place[row.Incident]
		if !known {
			at = len(out)
			place[row.Incident] = at
			out = append(out, Queue{Message: row})
		}
		out[at].Waiting++
	}
	return out, nil
}

func (m *memory) Settle(_ context.Context, id string, a Attempt) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.failing > 0 {
		m.failing--
		return errDisk
	}
	m.settled[id] = append(m.settled[id], a)
	for i := range m.rows {
		if m.rows[i].ID != id {
			continue
		}
		if a.Result == Delivered {
			m.rows = append(m.rows[:i:i], m.rows[i+1:]...)
		} else {
			m.rows[i].Attempts++
			m.rows[i].Next = a.Next
		}
		break
	}
	m.changed <- struct{}{}
	return nil
}

// put adds a message of an incident.
func (m *memory) put(t *testing.T, id, incident string, created time.Time) {
	t.Helper()
	body, err := alert.NewMessage(alert.Transition{
		ID: incident, Tank: "FV3", Alarm: detect.Refermentation, Priority: detect.High, Time: created,
		From: alert.Normal, To: alert.Unacknowledged, Onset: created, Summary: "FV3 is fermenting again",
	}, nil).JSON()
	require.NoError(t, err)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.rows = append(m.rows, Message{ID: id, Incident: incident, Created: created, Body: json.RawMessage(body)})
}

// fail has the next calls fail.
func (m *memory) fail(calls int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.failing = calls
}

// empty tells whether nothing waits any more.
func (m *memory) empty() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return len(m.rows) == 0
}

// log is what became of a message, a word an attempt.
func (m *memory) log(id string) (out []Result) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, a := range m.settled[id] {
		out = append(out, a.Result)
	}
	return out
}

// problems are what came back for a message.
func (m *memory) problems(id string) (out []string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, a := range m.settled[id] {
		out = append(out, a.Problem)
	}
	return out
}

// waitSettled waits for so many attempts to be settled.
func (m *memory) waitSettled(t *testing.T, attempts int) {
	t.Helper()
	for range attempts {
		select {
		case <-m.changed:
		case <-time.After(10 * time.Second):
			require.Fail(t, "nothing was settled", fmt.Sprint(m.settled))
		}
	}
}
