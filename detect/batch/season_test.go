package batch_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
	"spile/detect/cellarsim"
)

// brewDay is the day of the pitch.
var brewDay = time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)

func days(n float64) time.Duration { return time.Duration(n * float64(24*time.Hour)) }

func day(n float64) time.Time { return brewDay.Add(days(n)) }

// settings are the tank's, as a config would say them.
func settings() detect.Settings {
	return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100, At: map[string]detect.Place{}}
}

// season is the record of an invented batch of three weeks.
func season(t *testing.T) *batch.Record {
	t.Helper()
	r := batch.NewRecord("FV7", settings(), batch.Limits{})
	require.NoError(t, cellarsim.Season(brewDay, 7).Each(brewDay.Add(cellarsim.SeasonLength), func(a cellarsim.Arrival) error {
		for _, one := range a.Readings {
			r.Take(one)
		}
		if a.Event != nil {
			r.Log(*a.Event)
		}
		return nil
	}))
	return r
}

// point finds one hold point of a batch.
func point(t *testing.T, b batch.Batch, name string) batch.HoldPoint {
	t.Helper()
	for _, p := range b.HoldPoints {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no hold point %s", name)
	return batch.HoldPoint{}
}

func TestABatchOfThreeWeeks(t *testing.T) {
	r := season(t)
	tests := []struct {
		at    float64
		point string
		want  batch.Verdict
		stage batch.StageName
	}{
		{1.5, batch.CrashPoint, batch.No, batch.Fermenting},
		{4.0, batch.CrashPoint, batch.No, batch.Fermenting},
		{7.7, batch.CrashPoint, batch.Yes, batch.AtTerminal},
		{7.7, batch.DryHopPoint, batch.No, batch.AtTerminal}, // warm
		{8.0, batch.DryHopPoint, batch.No, batch.Cooling},
		{9.3 + 15.0/1440, batch.DryHopPoint, batch.Yes, batch.Cold},
		{12.9, batch.CrashPoint, batch.No, batch.OnHops},
		{16.3, batch.CrashPoint, batch.No, batch.OnHops}, // diacetyl failed after the creep
		{16.5, batch.CrashPoint, batch.Yes, batch.OnHops},
		{16.5, batch.PackagePoint, batch.No, batch.OnHops},
		{20.9, batch.PackagePoint, batch.Yes, batch.Cold},
	}
	for _, tt := range tests {
		b := r.At(day(tt.at))
		assert.Equal(t, tt.stage, b.Stage.Name, "day %g: %s", tt.at, b.Stage.Why)
		p := point(t, b, tt.point)
		if !assert.Equal(t, tt.want, p.Verdict, "day %g, %s", tt.at, tt.point) {
			for _, c := range p.Conditions {
				t.Logf("%-8s %s: %s", c.State(), c.Name, c.Evidence)
			}
		}
	}
}
