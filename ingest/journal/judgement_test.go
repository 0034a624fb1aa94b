package journal

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAJudgementIsCommittedWhole(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		seq, at, err := j.Judged(t.Context())
		require.NoError(t, err)
		assert.Zero(t, seq)
		assert.True(t, at.IsZero())
		none, err := j.Snapshot(t.Context())
		require.NoError(t, err)
		assert.Nil(t, none)

		began, err := j.Began(t.Context())
		require.NoError(t, err)
		assert.True(t, began.IsZero(), "nobody has started on it yet")

		commit(t, j, gravity("FV1", "hyd", noon(), 1.05), mark("started"))
		began, err = j.Began(t.Context())
		require.NoError(t, err)
		assert.Equal(t, heard(), began)
		g := Judgement{
			Through: 2, At: heard(),
			Transitions: []Transition{step("i1", "normal", "unacknowledged")},
			Messages:    []Message{message("m1", "phone")},
			Snapshot:    &Snapshot{Seq: 1, At: noon(), Version: 3, Body: []byte("state")},
		}
		require.NoError(t, j.Judge(t.Context(), g))

		seq, at, err = j.Judged(t.Context())
		require.NoError(t, err)
		assert.EqualValues(t, 2, seq)
		assert.Equal(t, heard(), at)
		transitions, err := j.Transitions(t.Context(), TransitionFilter{})
		require.NoError(t, err)
		assert.Equal(t, g.Transitions, transitions)
		assert.Equal(t, g.Messages, waiting(t, j, "phone"))
		snapshot, err := j.Snapshot(t.Context())
		require.NoError(t, err)
		assert.Equal(t, g.Snapshot, snapshot)

		require.NoError(t, j.Judge(t.Context(), Judgement{Through: 2, At: heard().Add(time.Minute)}))
		snapshot, err = j.Snapshot(t.Context())
		require.NoError(t, err)
		assert.Equal(t, g.Snapshot, snapshot, "none given: the old one stays")
	})
}

func TestAJudgementThatCannotBeLeavesNothing(t *testing.T) {
	good := func() Judgement {
		return Judgement{
			Through: 2, At: heard(), Transitions: []Transition{step("i1", "normal", "unacknowledged")},
			Messages: []Message{message("m1", "phone")}, Snapshot: &Snapshot{Seq: 2, At: heard(), Body: []byte("state")},
		}
	}
	for name, c := range map[string]struct {
		spoil func(*Judgement)
		want  string
	}{
		"beyond the last entry":  {func(g *Judgement) { g.Through = 3 }, "out of order"},
		"behind the last one":    {func(g *Judgement) { g.Through = 0 }, "out of order"},
		"back in time":           {func(g *Judgement) { g.At = noon().Add(-time.Second) }, "out of order"},
		"evidence of no form":    {func(g *Judgement) { g.Transitions[0].Evidence = []byte("{") }, "evidence of incident i1 is no JSON"},
		"a body of no form":      {func(g *Judgement) { g.Messages[0].Body = nil }, "body of message m1 is no JSON"},
		"a snapshot of tomorrow": {func(g *Judgement) { g.Snapshot.Seq = 3 }, "out of order"},
	} {
		t.Run(name, func(t *testing.T) {
			j := open(t, Options{Memory: true})
			commit(t, j, gravity("FV1", "hyd", noon(), 1.05), mark("started"))
			require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: noon()}))
			g := good()
			c.spoil(&g)
			require.ErrorContains(t, j.Judge(t.Context(), g), c.want)

			seq, at, err := j.Judged(t.Context())
			require.NoError(t, err)
			assert.EqualValues(t, 1, seq)
			assert.Equal(t, noon(), at)
			transitions, err := j.Transitions(t.Context(), TransitionFilter{})
			require.NoError(t, err)
			assert.Empty(t, transitions)
			assert.Empty(t, waiting(t, j, "phone"))
			require.NoError(t, j.Judge(t.Context(), good()))
		})
	}
}

func TestADamagedSnapshotIsAsGoodAsNone(t *testing.T) {
	j := openUnchecked(t, Options{Memory: true})
	furnish(t, j)
	_, err := j.writer.ExecContext(t.Context(), "UPDATE snapshots SET body = x'00'")
	require.NoError(t, err)
	snapshot, err := j.Snapshot(t.Context())
	require.NoError(t, err)
	assert.Nil(t, snapshot)
}

func TestASnapshotMayBeEmpty(t *testing.T) {
	j := open(t, Options{Memory: true})
	require.NoError(t, j.Judge(t.Context(), Judgement{At: noon(), Snapshot: &Snapshot{At: noon(), Version: 1}}))
	snapshot, err := j.Snapshot(t.Context())
	require.NoError(t, err)
	require.NotNil(t, snapshot)
	assert.Empty(t, snapshot.Body)
}

func TestEpisodesAreReadFromTheNewestBack(t *testing.T) {
	j := open(t, Options{Memory: true})
	commit(t, j, mark("started"))
	all := []Transition{
		step("i1", "normal", "unacknowledged"), step("i2", "normal", "unacknowledged"), step("i3", "normal", "suppressed"),
		step("i1", "unacknowledged", "normal"), step("i4", "normal", "unacknowledged"),
	}
	for i := range all {
		all[i].Time = noon() // alarms of one cause come in one moment
	}
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: heard(), Transitions: all}))
	for name, c := range map[string]struct {
		before string
		limit  int
		want   string
	}{
		"all":             {"", 9, "i1 i2 i3 i1 i4"},
		"the newest":      {"", 2, "i3 i4"},
		"ahead of one":    {"i3", 1, "i2"},
		"whole, not half": {"i3", 2, "i1 i2 i1"},
		"none is ahead":   {"i1", 2, ""},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := j.Episodes(t.Context(), c.before, c.limit)
			require.NoError(t, err)
			var of []string
			for _, s := range got {
				of = append(of, s.Incident)
			}
			assert.Equal(t, c.want, strings.Join(of, " "))
		})
	}
	_, err := j.Episodes(t.Context(), "i9", 1)
	assert.ErrorIs(t, err, ErrUnknown)
}

func TestTransitionsAreNarrowed(t *testing.T) {
	j := open(t, Options{Memory: true})
	commit(t, j, mark("started"))
	all := []Transition{
		step("i1", "normal", "unacknowledged"), step("i2", "normal", "unacknowledged"),
		step("i1", "unacknowledged", "acknowledged"), step("i1", "acknowledged", "normal"),
	}
	for i := range all {
		all[i].Time = noon().Add(time.Duration(i) * time.Minute)
	}
	all[1].Tank, all[1].Probe, all[1].Onset, all[1].Evidence, all[1].By, all[1].Why = "FV2", "hyd", time.Time{}, nil, "mo", "cleaning"
	require.NoError(t, j.Judge(t.Context(), Judgement{Through: 1, At: heard(), Transitions: all}))
	for name, c := range map[string]struct {
		filter TransitionFilter
		want   []int
	}{
		"all":             {TransitionFilter{}, []int{0, 1, 2, 3}},
		"of a tank":       {TransitionFilter{Tank: "FV2"}, []int{1}},
		"of an incident":  {TransitionFilter{Incident: "i1"}, []int{0, 2, 3}},
		"from, included":  {TransitionFilter{From: all[2].Time}, []int{2, 3}},
		"to, excluded":    {TransitionFilter{To: all[2].Time}, []int{0, 1}},
		"the newest":      {TransitionFilter{Limit: 2}, []int{2, 3}},
		"the newest of":   {TransitionFilter{Incident: "i1", Limit: 2, To: all[3].Time}, []int{0, 2}},
		"of no such tank": {TransitionFilter{Tank: "FV3"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := j.Transitions(t.Context(), c.filter)
			require.NoError(t, err)
			var want []Transition
			for _, i := range c.want {
				want = append(want, all[i])
			}
			assert.Equal(t, want, got)
		})
	}
}

func TestPositionsAndWhatIsSetAside(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		commit(t, j, mark("started"), mark("link-lost"), mark("link-found"))
		at := func() int64 {
			seq, err := j.Position(t.Context(), "influx")
			require.NoError(t, err)
			return seq
		}
		assert.Zero(t, at())
		require.NoError(t, j.SetPosition(t.Context(), "influx", 3))
		assert.EqualValues(t, 3, at())
		require.NoError(t, j.SetPosition(t.Context(), "influx", 1), "to forward anew")
		assert.EqualValues(t, 1, at())
		for _, wrong := range []int64{-1, 4} {
			require.ErrorIs(t, j.SetPosition(t.Context(), "influx", wrong), ErrOrder)
		}
		seq, _, err := j.Judged(t.Context())
		require.NoError(t, err)
		assert.Zero(t, seq, "each has its own")

		for seq := int64(1); seq <= 3; seq++ {
			require.NoError(t, j.SetAside(t.Context(), "influx", seq, fmt.Sprint("problem ", seq)))
		}
		require.NoError(t, j.SetAside(t.Context(), "influx", 3, "another"))
		aside, err := j.Aside(t.Context(), "influx", 2)
		require.NoError(t, err)
		assert.Equal(t, []Aside{{"influx", 3, "another"}, {"influx", 2, "problem 2"}}, aside)
		aside, err = j.Aside(t.Context(), "judge", 2)
		require.NoError(t, err)
		assert.Empty(t, aside)
	})
}
