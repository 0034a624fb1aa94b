package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// twoClocks are one on the wall, that people set, and one that only passes.
type twoClocks struct {
	wall   time.Time
	passed time.Duration
}

func (c *twoClocks) pass(d time.Duration) { c.wall, c.passed = c.wall.Add(d), c.passed+d }

func (c *twoClocks) arrivals() *arrivals {
	return &arrivals{clock: func() time.Time { return c.wall }, passed: func() time.Duration { return c.passed }}
}

func TestAClockSetBackIsCaughtUpAtHalfThePace(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	a := c.arrivals()
	require.Equal(t, morning, a.now())
	c.wall = morning.Add(-time.Hour)
	last := a.now()
	require.Equal(t, morning, last, "never back")
	for range 2 * 3600 * 10 {
		c.pass(100 * time.Millisecond)
		at := a.now()
		require.False(t, at.Before(last))
		last = at
	}
	assert.WithinDuration(t, c.wall, last, time.Second, "after two hours it is where the clock is")
	c.pass(time.Minute)
	assert.Equal(t, c.wall, a.now())
}

// However often it is asked, and in however small steps time passes, none of it is lost.
func TestSmallStepsAddUp(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	a := c.arrivals()
	a.now()
	c.wall = morning.Add(-time.Hour)
	for range 100_000 {
		c.pass(10 * time.Microsecond)
		a.now()
	}
	assert.WithinDuration(t, morning.Add(500*time.Millisecond), a.now(), 2*time.Millisecond)
}

// What comes with an arrival of its own, such as a line that people log, does not make those after it run ahead.
func TestAGivenArrivalLeavesThePaceAlone(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	a := c.arrivals()
	a.now()
	c.pass(time.Minute)
	require.Equal(t, c.wall, a.give(c.wall))
	assert.Equal(t, c.wall, a.now())
	c.passed += time.Millisecond // within the same millisecond of the wall
	assert.Equal(t, c.wall, a.now())
	assert.False(t, a.leapt())
}

// A line that people logged may wait ten minutes for a disk that takes nothing.
func TestAnArrivalThatWaitedIsNoLeap(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	a := c.arrivals()
	a.now()
	c.pass(time.Minute)
	logged := c.wall
	c.pass(10 * time.Minute)
	require.Equal(t, logged, a.give(logged))
	assert.False(t, a.leapt())
	c.wall = c.wall.Add(leapMost + time.Second)
	assert.True(t, a.leapt(), "what waited hides no leap either")
}

// Ten minutes may go by between a look at one clock and a look at the other: a machine under load stops anywhere.
func TestTimeBetweenTwoLooksIsNoLeap(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	var stops time.Duration
	a := arrivals{
		clock:  func() time.Time { defer c.pass(stops); return c.wall },
		passed: func() time.Duration { defer c.pass(stops); return c.passed },
	}
	a.now()
	for _, slow := range []struct{ give, ask time.Duration }{{10 * time.Minute, 0}, {0, 10 * time.Minute}} {
		stops = slow.give
		a.now()
		stops = slow.ask
		require.False(t, a.leapt(), slow)
	}
	stops = 0
	a.now()
	c.wall = c.wall.Add(leapMost + time.Second)
	assert.True(t, a.leapt())
}

func TestALeapIsToldFromAQuietHour(t *testing.T) {
	c := &twoClocks{wall: morning, passed: time.Second}
	a := c.arrivals()
	assert.False(t, a.leapt(), "nothing is known")
	a.now()
	c.pass(5 * time.Hour)
	assert.False(t, a.leapt(), "nobody asked for five hours")
	c.wall = c.wall.Add(leapMost + time.Second)
	assert.True(t, a.leapt())
	a.now()
	assert.False(t, a.leapt())
	c.wall = c.wall.Add(time.Second) // a leap second, or a clock that is trimmed
	assert.False(t, a.leapt())
	a.passed = nil
	c.wall = c.wall.Add(100 * time.Hour)
	assert.False(t, a.leapt(), "a clock alone tells nothing")
}
