package batch_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
)

// brews fills a tank with batches of one beer, each of ten days, which end their fermentation after some days.
func brews(ends ...float64) *batch.Record {
	r := batch.NewRecord("FV3", detect.Settings{BeerLiters: 2000}, batch.Limits{})
	for i, end := range ends {
		began := noon.Add(time.Duration(i) * 12 * 24 * time.Hour)
		r.Log(line("pitch", began, map[string]float64{"gravity": 1.050}, map[string]string{"beer": "Lock Gate"}))
		for h := 0.5; h < 240; h++ {
			sg := 1.010 + 0.040*math.Max(0, 1-h/24/end) + 0.00005*math.Sin(h)
			r.Take(detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: began.Add(time.Duration(h * float64(time.Hour))), Value: sg})
		}
		if i < len(ends)-1 {
			r.Log(line("empty", began.Add(241*time.Hour), nil, nil))
		}
	}
	return r
}

func TestABatchIsHeldAgainstThoseBefore(t *testing.T) {
	r := brews(3.5, 4, 6)
	began := noon.Add(24 * 24 * time.Hour)
	held := func(day float64) batch.Report {
		at := began.Add(time.Duration(day * 24 * float64(time.Hour)))
		rep := r.Report(at)
		r.Compare(&rep, r.Brews(rep.Beer, rep.Began.Add(-time.Millisecond), rep.At.Sub(rep.Began)))
		return rep
	}
	slow := held(3)
	require.Len(t, slow.Earlier, 2)
	assert.InDelta(t, 3.5, *slow.Earlier[0].DaysToTerminal, 0.5)
	require.Len(t, slow.Deviates, 1)
	assert.Contains(t, slow.Deviates[0], "gravity at this age 1.03")
	assert.Contains(t, slow.Deviates[0], "the 2 before had 1.01")

	late := held(9.5)
	require.Len(t, late.Deviates, 1)
	assert.Contains(t, late.Deviates[0], "days until gravity stood")
	assert.Empty(t, brews(3.5).Brews("Lock Gate", noon, time.Hour), "nothing before the first")
}
