package trial

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The number of workers and the order in which runs end change nothing.
func TestWorkersChangeNothing(t *testing.T) {
	t.Parallel()
	reports := make([]Report, 3)
	for i, workers := range []int{1, 2, 7} {
		var err error
		reports[i], err = Run(context.Background(), Options{Years: 0.1, Seed: 5, Workers: workers})
		require.NoError(t, err)
	}
	require.NotEmpty(t, reports[0].Calls)
	assert.Equal(t, reports[0], reports[1])
	assert.Equal(t, reports[0], reports[2])
}

func TestRefusesWhatCannotBe(t *testing.T) {
	t.Parallel()
	for _, o := range []Options{{Years: 0}, {Years: -1}, {Years: 1e9}, {Years: 1, Class: "sour"}} {
		_, err := Run(context.Background(), o)
		assert.ErrorIs(t, err, ErrOptions, "%+v", o)
	}
	_, err := Run(context.Background(), Options{Years: 1, Class: "sour"})
	assert.ErrorContains(t, err, "quiet-gauge", "it says which classes there are")
}

func TestStopsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err := Run(ctx, Options{Years: 1000, Workers: 2})
	assert.ErrorIs(t, err, context.Canceled)
}

// Somebody who reads gravity by hand errs by himself: the cellar is the one in which nobody does.
func TestReadingByHandChangesNoCellar(t *testing.T) {
	t.Parallel()
	class, _ := find("creep-float")
	alone, read := Options{Seed: 4}.scene(class, 2), Options{Seed: 4, ByHand: true}.scene(class, 2)
	assert.Equal(t, alone.plan.Tanks, read.plan.Tanks)
	assert.Equal(t, alone.Uint64(), read.Uint64(), "and goes on as it does")
	assert.Nil(t, alone.reader)
	assert.NotNil(t, read.reader)
}

// A creep that a float alone never tells is told where somebody answers its question.
func TestWhoReadsByHandHearsOfMore(t *testing.T) {
	t.Parallel()
	missed := func(byHand bool) int { // the seed is one on which floats alone miss some
		report, err := Run(context.Background(), Options{Years: 0.13, Seed: 35004, Class: "creep-float", ByHand: byHand, Workers: 2})
		require.NoError(t, err)
		require.Len(t, report.Classes, 1)
		return report.Classes[0].Missed
	}
	assert.Less(t, missed(true), missed(false))
}
