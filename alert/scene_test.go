package alert

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/detect"
)

// midnight is when every scene begins.
var midnight = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

// at is a time of that night: "01:15" or "01:15:30".
func at(clock string) time.Time {
	layout := "15:04:05"[:len(clock)]
	t, err := time.Parse(layout, clock)
	if err != nil {
		panic(err)
	}
	return midnight.Add(t.Sub(t.Truncate(24 * time.Hour)))
}

// scene drives a Watch over scripted tanks and notes what it tells.
type scene struct {
	*Watch
	told []Transition
}

func newScene(o Options) *scene {
	s := &scene{Watch: newWatch(o, newScripted)}
	s.note(s.Advance(midnight))
	return s
}

func (s *scene) note(ts []Transition) { s.told = append(s.told, ts...) }

// find has tank's detector say that an alarm holds with a priority, or is over.
func (s *scene) find(clock, tank string, a detect.Alarm, p detect.Priority) {
	s.note(s.Take(detect.Reading{
		Tank: tank, Quantity: detect.Quantity(a), Time: at(clock), Arrived: at(clock), Value: float64(p.Rank()),
	}))
}

func (s *scene) log(clock, tank, name string, amounts map[string]float64) {
	s.note(s.Log(detect.Event{Tank: tank, Name: name, Time: at(clock), Arrived: at(clock), Amounts: amounts}))
}

// rings takes what the policy sends since it was last asked: "01:15 phone", with what is not plain behind it.
func (s *scene) rings() []string {
	out := []string{}
	for _, n := range s.Notices() {
		line := strings.TrimSuffix(n.Time.Format("15:04:05"), ":00") + " " + n.Webhook
		switch m := n.Message; {
		case m.Kind != KindAlarm:
			line += " " + string(m.Kind)
		case m.Unanswered != "":
			line += " for " + m.Unanswered
		case m.Repeat > 0:
			line += fmt.Sprintf(" again %d", m.Repeat)
		case m.To != Unacknowledged:
			line += " " + string(m.To)
		case m.From != Normal:
			line += " from " + string(m.From)
		}
		out = append(out, line)
	}
	return out
}

// lines writes what was told, a line each: "01:15 FV3 vacuum critical normal>unacknowledged".
func (s *scene) lines() []string {
	out := []string{}
	for _, t := range s.told {
		clock := strings.TrimSuffix(t.Time.Format("15:04:05"), ":00")
		out = append(out, strings.TrimSpace(fmt.Sprintf("%s %s %s %s %s>%s", clock, t.Tank, t.Alarm, t.Priority, t.From, t.To)))
	}
	return out
}

const over = detect.Priority("")

// Acknowledged acknowledges the nth transition's incident where the clock stands.
func (s *scene) Acknowledged(t *testing.T, n int) Transition {
	t.Helper()
	ts, err := s.Acknowledge(s.told[n].ID, "Ines", "", s.at)
	require.NoError(t, err)
	require.Len(t, ts, 1)
	return ts[0]
}
