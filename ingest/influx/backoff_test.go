package influx

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestBackoffDoublesUpToTheLongest(t *testing.T) {
	b := backoff{first: time.Second, longest: 5 * time.Second, jitter: func() float64 { return 1 }}
	var got []time.Duration
	for range 5 {
		got = append(got, b.wait(0))
	}
	assert.Equal(t, []time.Duration{time.Second, 2 * time.Second, 4 * time.Second, 5 * time.Second, 5 * time.Second}, got)
	b.reset()
	assert.Equal(t, time.Second, b.wait(0))
}

func TestBackoffStaysWithinItsBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		drawn := rapid.Float64Range(0, 1)
		b := backoff{first: time.Second, longest: time.Minute, jitter: func() float64 { return drawn.Draw(t, "jitter") }}
		for range 12 {
			asked := time.Duration(rapid.Int64Range(0, int64(2*time.Hour)).Draw(t, "asked"))
			wait := b.wait(asked)
			assert.LessOrEqual(t, wait, time.Minute)
			assert.GreaterOrEqual(t, wait, b.next/2)
			assert.GreaterOrEqual(t, wait, min(asked, time.Minute))
		}
	})
}

func TestSleepEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	assert.True(t, sleep(ctx, time.Nanosecond))
	cancel()
	assert.False(t, sleep(ctx, time.Hour))
	assert.False(t, sleep(ctx, 0))
}
