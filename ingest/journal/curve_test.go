package journal

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestCurvesAreMergedPageByPage(t *testing.T) {
	everywhere(t, func(t *testing.T, j *Journal) {
		const n = 9000 // of two series: more than a page of each
		batch := make([]Entry, n)
		for i := range batch {
			tank := []string{"FV1", "FV2"}[i%2]
			batch[i] = gravity(tank, "hyd", noon().Add(time.Duration(i/2)*time.Second), 1.05)
		}
		commit(t, j, batch...)
		i := 0
		err := j.Readings(t.Context(), Filter{}, func(r detect.Reading) error {
			require.Equal(t, *batch[i].Reading, r)
			i++
			return nil
		})
		require.NoError(t, err)
		assert.Equal(t, n, i)
	})
}

func TestReadingsAreNarrowed(t *testing.T) {
	j := open(t, Options{Memory: true})
	warm := gravity("FV1", "hyd", noon(), 14)
	warm.Reading.Quantity = detect.Temperature
	all := []Entry{
		gravity("FV1", "hyd", noon(), 1.05), warm, gravity("FV1", "top", noon(), 1.05), gravity("FV2", "hyd", noon(), 1.05),
		gravity("FV1", "hyd", noon().Add(time.Second), 1.05),
	}
	commit(t, j, all...)
	for name, c := range map[string]struct {
		filter Filter
		want   []int
	}{
		"all":              {Filter{}, []int{0, 1, 2, 3, 4}},
		"of a tank":        {Filter{Tank: "FV2"}, []int{3}},
		"of a probe":       {Filter{Probe: "top"}, []int{2}},
		"of a quantity":    {Filter{Quantity: detect.Temperature}, []int{1}},
		"from, included":   {Filter{From: noon().Add(time.Second)}, []int{4}},
		"to, excluded":     {Filter{To: noon().Add(time.Second)}, []int{0, 1, 2, 3}},
		"between millis":   {Filter{Tank: "FV2", From: noon().Add(time.Microsecond)}, nil},
		"to between them":  {Filter{Tank: "FV2", To: noon().Add(time.Microsecond)}, []int{3}},
		"of no such tank":  {Filter{Tank: "FV3"}, nil},
		"backwards":        {Filter{From: noon().Add(time.Second), To: noon()}, nil},
		"tank and probe":   {Filter{Tank: "FV1", Probe: "hyd", Quantity: detect.Gravity}, []int{0, 4}},
		"quotes in a name": {Filter{Tank: "' OR 1=1 --"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			var want, got []detect.Reading
			for _, i := range c.want {
				want = append(want, *all[i].Reading)
			}
			err := j.Readings(t.Context(), c.filter, func(r detect.Reading) error {
				got = append(got, r)
				return nil
			})
			require.NoError(t, err)
			assert.Equal(t, want, got)
		})
	}
}

func TestReadingsEndWhenToldTo(t *testing.T) {
	j := open(t, Options{Memory: true})
	batch := make([]Entry, 9000)
	fill(batch, 0)
	commit(t, j, batch...)
	enough := errors.New("enough")
	require.ErrorIs(t, j.Readings(t.Context(), Filter{}, func(detect.Reading) error { return enough }), enough)

	ctx, cancel := context.WithCancel(t.Context())
	seen := 0
	err := j.Readings(ctx, Filter{}, func(detect.Reading) error { seen++; cancel(); return nil })
	require.ErrorIs(t, err, context.Canceled)
	assert.Less(t, seen, len(batch))
}

func TestEventsComeInTheirOwnOrder(t *testing.T) {
	j := open(t, Options{Memory: true})
	late, early, other := hopped(9, noon().Add(time.Hour)), hopped(8, noon()), hopped(7, noon())
	other.Event.Tank, other.Event.ID, other.Event.Words = "FV2", "a", map[string]string{"lot": "H-7"}
	commit(t, j, late, early, other)
	for name, c := range map[string]struct {
		filter Filter
		want   []detect.Event
	}{
		"all":       {Filter{}, []detect.Event{*early.Event, *other.Event, *late.Event}},
		"of a tank": {Filter{Tank: "FV2"}, []detect.Event{*other.Event}},
		"from":      {Filter{From: noon().Add(time.Hour)}, []detect.Event{*late.Event}},
		"to":        {Filter{To: noon().Add(time.Hour), Tank: "FV1"}, []detect.Event{*early.Event}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := j.Events(t.Context(), c.filter)
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
		})
	}
}
