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
	for after := trackEvery; after <= 31*24*time.Hour; after += trackEvery {
		tracks.Note(view(after))
	}
	all := tracks.Of("FV3", time.Time{}, start.Add(1e6*time.Hour))
	assert.Len(t, all, int(tracksFine/trackEvery)+1+int((tracksKept-tracksFine)/time.Hour), "each of two days, then one an hour")
	assert.Equal(t, start.Add(24*time.Hour), all[0].Time)
	assert.Nil(t, all[0].CO2Rate)
	some := tracks.Of("FV3", start.Add(100*time.Hour), start.Add(103*time.Hour))
	if assert.Len(t, some, 3) {
		assert.InDelta(t, 100, *some[0].ExplainedKPa, 0)
	}
	assert.Empty(t, tracks.Of("FV4", time.Time{}, start.Add(1e6*time.Hour)), "nothing was known of it")
}
