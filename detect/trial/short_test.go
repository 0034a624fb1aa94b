package trial

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A trial short enough for every run of the tests. Its limits are the bars, loosened by what three tank-years and a dozen
// creeps can tell: none may be called that is not there, and none missed where a gauge speaks, but a share of seventeen is
// known to a tenth at best, and a ratio of a few delays to the oracle's to nothing.
func TestShortTrial(t *testing.T) {
	t.Parallel()
	report, err := Run(context.Background(), Options{Years: 3, Seed: 1, Workers: 2})
	require.NoError(t, err)
	limits := map[string]struct{ least, most float64 }{
		"false refermentation calls":                       {0, 0},
		"other false alarms above low priority":            {0, 2},
		"missed creep of 0.4 degP and more":                {0, 1}, // by a float alone
		"delay, sealed with pressure, median":              {0, 13},
		"delay, sealed with pressure, worst":               {0, 30},
		"delay, sealed, slow creep, median":                {0, 30},
		"delay, sealed, slow creep, worst":                 {0, 48},
		"degP fermented at the call, sealed, median":       {0, 0.06},
		"cooling fails: called within 20 min of the limit": {0.75, 1},
		"cooling fails: called ahead, with the hour":       {0.4, 1},
		"crash-drift with no cooling failed":               {0, 0},
		"over-pressure 30 min before the relief setting":   {1, 1},
		"vacuum before 0 kPa when cooled":                  {1, 1},
		"leak called where nothing leaks":                  {0, 0},
		"true rate within the stated 95 % interval":        {0.75, 1},
		"true onset within the stated 95 % interval":       {0.7, 1},
	}
	var text strings.Builder
	require.NoError(t, report.WriteText(&text))
	found := 0
	for _, m := range report.Measures {
		limit, limited := limits[m.Name]
		if !limited {
			continue
		}
		found++
		if !assert.NotNil(t, m.Figure, m.Name) {
			continue
		}
		assert.GreaterOrEqual(t, *m.Figure, limit.least, m.Name)
		assert.LessOrEqual(t, *m.Figure, limit.most, m.Name)
	}
	assert.Equal(t, len(limits), found, "every limit is a measure's")
	if t.Failed() {
		t.Log("\n" + text.String())
		for _, c := range report.Calls {
			if slices.Contains([]string{string(falseCall), missedCall, lateCall}, c.Verdict) {
				t.Logf("%s %d %s %s at %.1f h: %s", c.Class, c.Index, c.Alarm, c.Verdict, c.Hours, c.Summary)
			}
		}
	}
}
