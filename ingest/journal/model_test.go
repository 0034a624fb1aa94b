package journal

import (
	"cmp"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect"
)

// model is what a journal does, said with maps.
type model struct {
	readings map[detect.Reading]float64 // raw by identity
	newest   map[seriesKey]time.Time
	events   map[string]float64 // mass by identity
	entries  []Entry            // stored, in order
}

func newModel() *model {
	return &model{readings: map[detect.Reading]float64{}, newest: map[seriesKey]time.Time{}, events: map[string]float64{}}
}

func (m *model) commit(entries []Entry) []Outcome {
	outcomes := []Outcome{}
	for _, e := range entries {
		outcome := Accepted
		switch {
		case e.Reading != nil:
			outcome = m.reading(*e.Reading)
		case e.Event != nil:
			outcome = m.event(*e.Event)
		}
		outcomes = append(outcomes, outcome)
		if outcome == Accepted || outcome == Late {
			m.entries = append(m.entries, e)
		}
	}
	return outcomes
}

func (m *model) reading(r detect.Reading) Outcome {
	id := detect.Reading{Tank: r.Tank, Probe: r.Probe, Quantity: r.Quantity, Time: r.Time}
	k := seriesKey{r.Tank, r.Probe, r.Quantity}
	if raw, found := m.readings[id]; found {
		if raw == r.Raw {
			return Repeat
		}
		return Conflict
	}
	m.readings[id] = r.Raw
	if r.Time.Before(m.newest[k]) {
		return Late
	}
	m.newest[k] = r.Time
	return Accepted
}

func (m *model) event(e detect.Event) Outcome {
	id := fmt.Sprint(e.Tank, e.Name, e.Time, e.Amounts)
	if e.ID != "" {
		id = e.ID
	}
	if mass, found := m.events[id]; found {
		if mass == e.Amounts["mass"] {
			return Repeat
		}
		return Conflict
	}
	m.events[id] = e.Amounts["mass"]
	return Accepted
}

// anyEntry draws from so few identities that they meet often.
func anyEntry(t *rapid.T) Entry {
	at := noon().Add(time.Duration(rapid.IntRange(0, 12).Draw(t, "second")) * time.Second)
	switch rapid.SampledFrom([]string{"reading", "reading", "reading", "reading", "event", "act", "mark"}).Draw(t, "kind") {
	case "event":
		e := hopped(float64(rapid.IntRange(1, 2).Draw(t, "mass")), noon())
		e.Event.ID = rapid.SampledFrom([]string{"", "", "a", "b"}).Draw(t, "id")
		return e
	case "act":
		return Entry{Arrived: heard(), Act: &Act{Verb: "acknowledge", Incident: "i1", By: "mo"}}
	case "mark":
		return mark("started")
	}
	e := gravity(rapid.SampledFrom([]string{"FV1", "FV2"}).Draw(t, "tank"), "hyd", at, 1+float64(rapid.IntRange(1, 3).Draw(t, "points"))/1000)
	e.Reading.Quantity = rapid.SampledFrom([]detect.Quantity{detect.Gravity, detect.Pressure}).Draw(t, "quantity")
	if rapid.Bool().Draw(t, "corrected") {
		e.Reading.Value += 0.001
	}
	return e
}

// TestCommitDoesWhatTheModelDoes throws batches at a journal, opens it anew
// between some, and compares all that can be read with the model.
func TestCommitDoesWhatTheModelDoes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		dir, m := t.TempDir(), newModel()
		j, err := Open(t.Context(), Options{Dir: dir})
		require.NoError(rt, err)
		defer func() { require.NoError(rt, j.Close()) }()
		for range rapid.IntRange(1, 8).Draw(rt, "batches") {
			batch := rapid.SliceOfN(rapid.Custom(anyEntry), 0, 130).Draw(rt, "batch")
			got, err := j.Commit(t.Context(), batch)
			require.NoError(rt, err)
			require.Equal(rt, m.commit(batch), got)
			if rapid.IntRange(0, 3).Draw(rt, "reopen") == 0 {
				require.NoError(rt, j.Close())
				j, err = Open(t.Context(), Options{Dir: dir})
				require.NoError(rt, err)
			}
		}
		requireModel(t, rt, j, m)
	})
}

func requireModel(t *testing.T, rt *rapid.T, j *Journal, m *model) {
	faults, err := j.Check(t.Context(), 0)
	require.NoError(rt, err)
	require.Empty(rt, faults)

	var got []Entry
	page := rapid.IntRange(1, 200).Draw(rt, "page")
	for seq := int64(0); ; seq = got[len(got)-1].Seq {
		more, err := j.After(t.Context(), seq, page)
		require.NoError(rt, err)
		got = append(got, more...)
		if len(more) < page {
			break
		}
	}
	require.Len(rt, got, len(m.entries))
	for i, kept := range m.entries { // Commit has filled Seq and Late
		require.Equal(rt, int64(i+1), kept.Seq)
		require.Equal(rt, kept, got[i])
	}
	requireCurves(t, rt, j, m)
}

func requireCurves(t *testing.T, rt *rapid.T, j *Journal, m *model) {
	from := noon().Add(time.Duration(rapid.IntRange(0, 12).Draw(rt, "from")) * time.Second)
	f := Filter{Tank: "FV1", From: from, To: from.Add(5 * time.Second)}
	want, got := []detect.Reading{}, []detect.Reading{}
	for _, e := range m.entries {
		if r := e.Reading; r != nil && r.Tank == f.Tank && !r.Time.Before(f.From) && r.Time.Before(f.To) {
			want = append(want, *r)
		}
	}
	slices.SortFunc(want, func(a, b detect.Reading) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Quantity, b.Quantity))
	})
	err := j.Readings(t.Context(), f, func(r detect.Reading) error {
		got = append(got, r)
		return nil
	})
	require.NoError(rt, err)
	require.Equal(rt, want, got)
}
