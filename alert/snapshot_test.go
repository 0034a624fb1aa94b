package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

// move is one thing that can be told to a Watch.
type move struct {
	kind  string
	tank  string
	alarm detect.Alarm
	rank  int
	wait  time.Duration // since the one before
	nth   int           // which open incident an act is about
}

// drawMoves draws a night.
func drawMoves(t *rapid.T) []move {
	kinds := []string{"cry", "find", "find", "find", "heard", "wait", "work", "tell", "gravity", "empty", "pitch", "package", "lost", "found", "started", "ack", "shelve", "unshelve"}
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) move {
		return move{
			kind:  rapid.SampledFrom(kinds).Draw(t, "kind"),
			tank:  rapid.SampledFrom([]string{"FV1", "FV2"}).Draw(t, "tank"),
			alarm: rapid.SampledFrom(Catalogue()[1:]).Draw(t, "alarm").Alarm, // the first is link-lost, the Watch's own
			rank:  rapid.IntRange(0, 4).Draw(t, "rank"),
			wait:  time.Duration(rapid.IntRange(0, 40*60_000).Draw(t, "ms")) * time.Millisecond,
			nth:   rapid.IntRange(0, 3).Draw(t, "nth"),
		}
	}), 1, 40).Draw(t, "moves")
}

// play makes a move at a time and returns what is told. What an act refuses is of no interest here.
func (m move) play(w *Watch, at time.Time) []Transition {
	e := detect.Event{Tank: m.tank, Name: m.kind, Time: at, Arrived: at, Amounts: map[string]float64{"for": 0.5}}
	if m.kind == "tell" {
		e.Amounts = map[string]float64{[]string{"gravity", "stable", "contact"}[m.nth%3]: 1 + float64(m.rank)/1000}
	}
	switch m.kind {
	case "find":
		return w.Take(detect.Reading{Tank: m.tank, Quantity: detect.Quantity(m.alarm), Time: at, Arrived: at, Value: float64(m.rank)})
	case "cry":
		var out []Transition
		for _, tank := range tanks(12) {
			out = append(out, w.Take(detect.Reading{Tank: tank, Quantity: detect.Quantity(detect.Leak), Time: at, Arrived: at, Value: float64(m.rank)})...)
		}
		return out
	case "gravity":
		return w.Take(detect.Reading{Tank: m.tank, Probe: "hyd", Quantity: detect.Gravity, Time: at, Arrived: at, Value: 1 + float64(m.rank)/1000})
	case "heard":
		return w.Take(detect.Reading{Tank: m.tank, Quantity: detect.Temperature, Time: at, Arrived: at})
	case "work", "empty", "pitch", "package", "tell":
		return w.Log(e)
	case "lost":
		return w.LinkLost(at, "broker")
	case "found":
		return w.LinkFound(at)
	case "started":
		return w.Started(at)
	}
	return m.act(w, at)
}

// act does what a person does to one of the alarms that are open by then.
func (m move) act(w *Watch, at time.Time) []Transition {
	due := w.Advance(at)
	id := "none"
	if open := w.View().Incidents; len(open) > 0 {
		id = open[m.nth%len(open)].ID
	}
	var out []Transition
	switch m.kind {
	case "ack":
		out, _ = w.Acknowledge(id, "Ines", "", at)
	case "shelve":
		out, _ = w.Shelve(id, "Ines", "x", at.Add(30*time.Minute), at)
	case "unshelve":
		out, _ = w.Unshelve(id, "Ines", "", at)
	}
	return append(due, out...)
}

func TestRestoreGoesOnAsIfItHadNeverStopped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		moves := drawMoves(t)
		cut := rapid.IntRange(0, len(moves)).Draw(t, "cut")
		o := Options{Site: "s", Policy: drawPolicy(t)}
		whole, split := newWatch(o, newScripted), newWatch(o, newScripted)
		now := midnight
		for i, m := range moves {
			if i == cut {
				body, err := split.Snapshot()
				require.NoError(t, err)
				split = newWatch(o, newScripted)
				require.NoError(t, split.Restore(body))
			}
			now = now.Add(m.wait)
			require.Equal(t, m.play(whole, now), m.play(split, now), "move %d: %+v", i, m)
			require.Equal(t, whole.Notices(), split.Notices(), "move %d: %+v", i, m)
		}
		require.Equal(t, whole.View(), split.View())
		a, err := whole.Snapshot()
		require.NoError(t, err)
		b, err := split.Snapshot()
		require.NoError(t, err)
		require.JSONEq(t, string(a), string(b))
	})
}

func TestANightKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWatch(Options{Site: "s"}, newScripted)
		now, last := midnight, midnight
		told := map[string]State{} // of every incident so far
		for _, m := range drawMoves(t) {
			now = now.Add(m.wait)
			for _, step := range m.play(w, now) {
				before, open := told[step.ID]
				require.True(t, open || step.From == Normal, "an incident begins at normal")
				require.True(t, !open || before == step.From, "each step goes on from the one before")
				require.NotEqual(t, Normal, before, "an incident that ended stays so")
				require.False(t, step.Time.Before(last) || step.Time.After(now), "times never go back")
				require.Positive(t, step.Priority.Rank())
				last, told[step.ID] = step.Time, step.To
			}
			shown := map[string]State{}
			for _, i := range w.View().Incidents {
				shown[i.ID] = i.State
			}
			for id, state := range told {
				if state != Normal {
					require.Equal(t, state, shown[id], "the view shows what was told")
					delete(shown, id)
				}
			}
			require.Empty(t, shown, "the view shows nothing that was not told")
		}
	})
}

func TestTheClocksPaceDoesNotMatter(t *testing.T) {
	// One Watch is told the time every few seconds, the other only when something arrives.
	rapid.Check(t, func(t *rapid.T) {
		o := Options{Policy: drawPolicy(t)}
		eager, lazy := newWatch(o, newScripted), newWatch(o, newScripted)
		eager.Advance(midnight)
		lazy.Advance(midnight)
		now := midnight
		var a, b []Transition
		for _, m := range drawMoves(t) {
			if m.kind == "started" {
				continue // says when it was last told the time, so the pace does matter
			}
			for step := now; step.Before(now.Add(m.wait)); step = step.Add(47 * time.Second) {
				a = append(a, eager.Advance(step)...)
			}
			now = now.Add(m.wait)
			a, b = append(a, m.play(eager, now)...), append(b, m.play(lazy, now)...)
		}
		require.Equal(t, b, a)
		require.Equal(t, lazy.Notices(), eager.Notices())
	})
}

func TestRestoreRefuses(t *testing.T) {
	for name, body := range map[string]string{
		"no JSON":         "spile",
		"another version": `{"version":99}`,
		"a damaged tank":  `{"version":2,"tanks":[{"name":"FV3","tank":7}]}`,
		"a hole":          `{"version":2,"tanks":[{"name":"FV3","tank":{},"conditions":[null]}]}`,
		"wrong kinds":     `{"version":2,"tanks":{}}`,
	} {
		t.Run(name, func(t *testing.T) {
			s, _, _ := raised()
			before := s.View()
			require.Error(t, s.Restore([]byte(body)))
			assert.Equal(t, before, s.View(), "as it was before")
		})
	}
}

func TestSnapshotOfARealTank(t *testing.T) {
	w := NewWatch(Options{Site: "s"})
	w.Take(detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity, Time: midnight, Arrived: midnight, Value: 1.012})
	body, err := w.Snapshot()
	require.NoError(t, err)
	again := NewWatch(Options{Site: "s"})
	require.NoError(t, again.Restore(body))
	assert.Equal(t, w.View(), again.View())
}

func FuzzRestore(f *testing.F) {
	seven := 7 * time.Hour
	o := Options{Policy: Policy{Webhooks: []Webhook{
		{Name: "phone", Repeat: time.Minute, Then: "office", After: time.Minute}, {Name: "office", Hours: Hours{8 * time.Hour, 9 * time.Hour}, Report: &seven},
	}}}
	s := newScene(o)
	for _, tank := range tanks(12) {
		s.find("01:00", tank, detect.Refermentation, detect.High)
	}
	s.log("01:01", "FV03", "work", map[string]float64{"for": 1})
	s.ask("01:02", askGravity, 1.016)
	s.LinkLost(at("01:05"), "broker")
	whole, err := s.Snapshot()
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{string(whole), "{}", `{"version":2}`, `{"version":2,"tanks":[{}]}`, `{"version":2,"cellar":[{"holds":true}]}`,
		`{"version":2,"telling":{"threads":[{"parties":{"phone":null}}],"lines":{"phone":null},"hands":{"FV3":null}},"cooling":{"samples":{"FV3":null}}}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		w := newWatch(o, newScripted)
		if w.Restore(body) != nil {
			return
		}
		again, err := w.Snapshot()
		if err != nil {
			return // such as a year that JSON cannot write
		}
		require.NoError(t, newWatch(o, newScripted).Restore(again), "what was written can be read")
		w.Started(w.at.Add(time.Hour))
		w.Advance(w.at.Add(time.Hour))
		w.View()
	})
}
