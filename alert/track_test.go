package alert

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/detect"
)

func TestTracksRememberAMonthAndNoMore(t *testing.T) {
	var tracks Tracks
	start := at("00:00")
	view := func(after time.Duration) View {
		explained := after.Hours()
		return View{At: start.Add(after), Tanks: []TankView{
			{Status: detect.Status{Tank: "FV3", ExplainedKPa: &explained}}, {Status: detect.Status{Tank: "FV4"}},
		}}
	}
	assert.True(t, tracks.Due(start))
	tracks.Note(view(0))
	assert.False(t, tracks.Due(start.Add(trackEvery-time.Second)))
	assert.True(t, tracks.Due(start.Add(trackEvery)))
	for h := 1; h <= 31*24; h++ {
		tracks.Note(view(time.Duration(h) * time.Hour))
	}
	all := tracks.Of("FV3", time.Time{}, start.Add(1e6*time.Hour))
	assert.Len(t, all, int(tracksKept/time.Hour)+1)
	some := tracks.Of("FV3", start.Add(100*time.Hour), start.Add(103*time.Hour))
	if assert.Len(t, some, 3) {
		assert.InDelta(t, 100, *some[0].ExplainedKPa, 0)
	}
	assert.Empty(t, tracks.Of("FV4", time.Time{}, start.Add(1e6*time.Hour)), "nothing was known of it")
}
