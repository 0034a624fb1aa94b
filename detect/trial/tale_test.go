package trial

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A tale tells the run that a report counted: the same calls, for the same seed, class and index.
func TestTaleIsTheRunOfTheReport(t *testing.T) {
	t.Parallel()
	o := Options{Years: 0.1, Seed: 6, Class: "creep-gauge"}
	report, err := Run(context.Background(), o)
	require.NoError(t, err)
	require.NotEmpty(t, report.Calls)
	tales := map[int]string{}
	for _, c := range report.Calls {
		if tales[c.Index] == "" {
			var out bytes.Buffer
			require.NoError(t, WriteTale(context.Background(), o, c.Index, &out))
			tales[c.Index] = out.String()
		}
		assert.Contains(t, tales[c.Index], c.Summary)
		assert.Contains(t, tales[c.Index], c.Time.Format("Mon 15:04"))
		assert.Contains(t, tales[c.Index], "Creep{Plato:")
	}
}

func TestTaleNeedsARun(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	assert.ErrorIs(t, WriteTale(context.Background(), Options{}, 3, &out), ErrOptions)
	assert.ErrorIs(t, WriteTale(context.Background(), Options{Class: "quiet"}, -1, &out), ErrOptions)
	assert.Empty(t, out.String())
}
