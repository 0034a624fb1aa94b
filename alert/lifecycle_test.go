package alert

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// allSteps lists every step.
func allSteps() []Step {
	return []Step{Activate, Clear, Worsen, Acknowledge, Shelve, Unshelve, Suppress, Release, Remove, Replace, Close}
}

// after runs steps from normal.
func after(steps ...Step) Standing {
	var s Standing
	for _, step := range steps {
		s = s.After(step)
	}
	return s
}

func TestTheStandardsStateTable(t *testing.T) {
	// The transitions of the ISA-18.2 figure as copied in OPC 10000-9: A normal, B unacknowledged, C acknowledged,
	// D returned to normal unacknowledged, G shelved, H suppressed by design, I out of service.
	for _, row := range []struct {
		name  string
		steps []Step
		want  State
	}{
		{"A", nil, Normal},
		{"A-B activate", []Step{Activate}, Unacknowledged},
		{"B-C acknowledge", []Step{Activate, Acknowledge}, Acknowledged},
		{"B-D clear before acknowledge", []Step{Activate, Clear}, Returned},
		{"D-A acknowledge", []Step{Activate, Clear, Acknowledge}, Normal},
		{"D-B activate again", []Step{Activate, Clear, Activate}, Unacknowledged},
		{"C-A clear", []Step{Activate, Acknowledge, Clear}, Normal},
		{"C-B re-alarm", []Step{Activate, Acknowledge, Worsen}, Unacknowledged},
		{"B-G shelve", []Step{Activate, Shelve}, Shelved},
		{"G-B unshelve while it lasts", []Step{Activate, Shelve, Unshelve}, Unacknowledged},
		{"G-B though acknowledged before", []Step{Activate, Acknowledge, Shelve, Unshelve}, Unacknowledged},
		{"G-A unshelve when it is over", []Step{Activate, Shelve, Clear, Unshelve}, Normal},
		{"D-G-A shelve what has returned", []Step{Activate, Clear, Shelve, Unshelve}, Normal},
		{"G stays through clear and activate", []Step{Activate, Shelve, Clear, Activate}, Shelved},
		{"G-B grown worse", []Step{Activate, Shelve, Worsen}, Unacknowledged},
		{"A-H raised while explained", []Step{Suppress, Activate}, Suppressed},
		{"H-A over before it was told", []Step{Suppress, Activate, Clear}, Normal},
		{"H-B explanation over", []Step{Suppress, Activate, Release}, Unacknowledged},
		{"B-H", []Step{Activate, Suppress}, Suppressed},
		{"B-H-D told before, over", []Step{Activate, Suppress, Clear}, Returned},
		{"C-H-C an answer outlives a suppression", []Step{Activate, Acknowledge, Suppress, Release}, Acknowledged},
		{"C-H-B unless it grew worse", []Step{Activate, Acknowledge, Suppress, Worsen, Release}, Unacknowledged},
		{"H does not answer", []Step{Suppress, Activate, Acknowledge, Release}, Unacknowledged},
		{"B-I", []Step{Activate, Remove}, OutOfService},
		{"A-I", []Step{Remove}, OutOfService},
		{"I-B", []Step{Remove, Activate, Replace}, Unacknowledged},
		{"I hides G hides H", []Step{Activate, Suppress, Shelve, Remove}, OutOfService},
		{"I-G-H-B", []Step{Activate, Suppress, Shelve, Remove, Replace, Unshelve, Release}, Unacknowledged},
		{"close from B", []Step{Activate, Close}, Normal},
		{"close from G", []Step{Activate, Shelve, Close}, Normal},
		{"close from D", []Step{Activate, Clear, Close}, Normal},
	} {
		t.Run(row.name, func(t *testing.T) { assert.Equal(t, row.want, after(row.steps...).State()) })
	}
}

// told is the reference: it knows no standing, only the whole history, and reads the state off it.
func told(history []Step) State {
	last := func(upTo int, these ...Step) int {
		for i := upTo - 1; i >= 0; i-- {
			if slices.Contains(these, history[i]) {
				return i
			}
		}
		return -1
	}
	is := func(upTo int, on, off Step) bool {
		return last(upTo, on, Close) > last(upTo, off, Close) && history[last(upTo, on, Close)] == on
	}
	flag := func(upTo int, on, off Step) bool { return last(upTo, on) > last(upTo, off) }
	active := func(n int) bool { return is(n, Activate, Clear) }
	removed := func(n int) bool { return flag(n, Remove, Replace) }
	shelved := func(n int) bool {
		i := last(n, Shelve, Unshelve, Close, Worsen)
		for i >= 0 && history[i] == Worsen && !active(i) { // only what is active grows worse
			i = last(i, Shelve, Unshelve, Close, Worsen)
		}
		return i >= 0 && history[i] == Shelve
	}
	suppressed := func(n int) bool { return active(n) && flag(n, Suppress, Release) }
	silent := func(n int) bool { return removed(n) || shelved(n) || suppressed(n) }

	// Walk once: an announcement is due at an activation, a worsening, and where a shelving begins over an active
	// condition; it is made at the first moment nothing is in front.
	due, open := false, false
	for n := 1; n <= len(history); n++ {
		step := history[n-1]
		switch {
		case step == Close:
			due, open = false, false
		case step == Activate && !active(n-1):
			due = true
		case step == Worsen && active(n):
			due = true
		case step == Clear:
			due = false
		case step == Shelve && !shelved(n-1):
			due, open = active(n), false
		case step == Acknowledge && !silent(n-1):
			open = false
		}
		if due && !silent(n) {
			due, open = false, true
		}
	}
	n := len(history)
	switch {
	case removed(n):
		return OutOfService
	case shelved(n):
		return Shelved
	case suppressed(n):
		return Suppressed
	}
	return map[[2]bool]State{
		{true, true}: Unacknowledged, {true, false}: Acknowledged, {false, true}: Returned, {false, false}: Normal,
	}[[2]bool{active(n), open}]
}

func TestLifecycleFollowsItsHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		history := rapid.SliceOfN(rapid.SampledFrom(allSteps()), 0, 40).Draw(t, "history")
		require.Equal(t, told(history), after(history...).State(), "%v", history)
	})
}

func TestEveryShortHistory(t *testing.T) {
	// All histories of four steps and less: no luck needed.
	var walk func(history []Step, s Standing)
	walk = func(history []Step, s Standing) {
		require.Equal(t, told(history), s.State(), "%v", history)
		if len(history) == 4 {
			return
		}
		for _, step := range allSteps() {
			walk(append(slices.Clone(history), step), s.After(step))
		}
	}
	walk(nil, Standing{})
}

func TestAnActiveAlarmNeverLosesItsCall(t *testing.T) {
	// Whatever stood in front: once it is lifted, an active condition that nobody acknowledged calls.
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.SampledFrom([]Step{Worsen, Shelve, Unshelve, Suppress, Release, Remove, Replace}), 0, 20)
		s := after(Activate)
		for _, step := range steps.Draw(t, "steps") {
			s = s.After(step)
		}
		s = s.After(Replace).After(Unshelve).After(Release)
		require.Equal(t, Unacknowledged, s.State())
	})
}
