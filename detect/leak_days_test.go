package detect

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A leak for which the beer makes up takes less in a day than the weather does, and goes on.
func TestASlowLeakIsToldOverDays(t *testing.T) {
	t.Parallel()
	b := closedTank(t)
	p := b.leaks(80, 0, 24*time.Hour)
	p = b.leaks(p, 0.1, 7*24*time.Hour)
	require.Equal(t, "+", b.of(Leak), "2.4 kPa a day")
	told := b.last(Leak)
	assert.Contains(t, told.Summary, "slowly, day by day, down 8.0 kPa since about "+told.Onset.Format("Mon 2 Jan"))
	assert.WithinDuration(t, began.Add(54*time.Hour), told.Onset, 24*time.Hour)
	assert.WithinDuration(t, began.Add(54*time.Hour+96*time.Hour), told.Time, 18*time.Hour)

	b.leaks(p, 0, 5*24*time.Hour)
	require.Equal(t, "+-", b.of(Leak), "it holds, and what it lost before is told")

	b.leaks(p, 0.1, 7*24*time.Hour)
	assert.Equal(t, "+-+", b.of(Leak), "and again")
}

// What days tell is over as the tank holds again after hands moved its gas, as one that other witnesses told is.
func TestASlowLeakThatWasMendedIsOver(t *testing.T) {
	t.Parallel()
	b := closedTank(t)
	b.leaks(80, 0.1, 7*24*time.Hour)
	require.Equal(t, "+", b.of(Leak))
	b.log("gas", map[string]float64{"pressure": 80}, nil)
	b.leaks(80, 0, 24*time.Hour)
	assert.Equal(t, "+-", b.of(Leak))
}

func TestWhatDaysAreNoLeak(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		kPa     func(days float64) float64 // absolute
		celsius func(days float64) float64
		want    float64
	}{
		"a leak":                          {func(d float64) float64 { return 180 - 2*max(d-2, 0) }, nil, 12},
		"one that begins at once":         {func(d float64) float64 { return 180 - 2*d }, nil, 14},
		"what fell at once, and stays":    {func(d float64) float64 { return 180 - 12*min(max(d-4, 0), 1) }, nil, 0},
		"what came to rest":               {func(d float64) float64 { return 180 + 12*math.Exp(-d) }, nil, 0},
		"what was drawn at once":          {func(d float64) float64 { return 180 - 24*min(max(20*(d-7.25), 0), 1) }, nil, 0},
		"what came to rest in hours":      {func(d float64) float64 { return 180 + 15*math.Exp(-4*max(d-6, 0)) }, nil, 0},
		"what came to rest in a day":      {func(d float64) float64 { return 180 + 15*math.Exp(-1.8*max(d-6, 0)) }, nil, 0},
		"what was let down long before":   {letDownAt(2.25), nil, 0},
		"what was let down over two days": {func(d float64) float64 { return 180 - 20*min(max(4.8*(d-2.896), 0), 1) - 5.5*max(d-7, 0) }, nil, 0},
		"a leak after that":               {func(d float64) float64 { return letDownAt(2.25)(d) - 2.5*max(d-3, 0) }, nil, 15},
		"what rises":                      {func(d float64) float64 { return 180 + d }, nil, 0},
		"beer that is cooled":             {nil, func(d float64) float64 { return 14 - 0.2*d }, 0},
		"beer that is cooled far":         {func(d float64) float64 { return 180 - 4*d }, func(d float64) float64 { return 14 - 1.5*d }, 0},
		"a valve over beer that warms":    {func(float64) float64 { return 202 }, func(d float64) float64 { return 18 + 0.22*d }, 0},
		"a leak of beer that is warming":  {func(d float64) float64 { return 180 - 1.2*d }, func(d float64) float64 { return 12 + 0.15*d }, 13},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			const share, days = 0.1, 8.0
			if tt.celsius == nil {
				tt.celsius = func(float64) float64 { return 14 }
			}
			if tt.kPa == nil { // closed
				tt.kPa = func(d float64) float64 { return 180 * capacity(14, share) / capacity(tt.celsius(d), share) }
			}
			c, rng := newGauge(), rand.New(rand.NewPCG(3, 5))
			c.Since = gaugeBegins.Add(-daysRest)
			for at := gaugeBegins; at.Before(gaugeBegins.Add(hours(24 * days))); at = at.Add(gaugeWidth) {
				d := at.Sub(gaugeBegins).Hours() / 24
				c.Last = sample{At: at}
				c.Points = append(c.Points, headPoint{At: at, KPa: tt.kPa(d) + 0.3*rng.NormFloat64(), Celsius: tt.celsius(d)})
				c.Points = c.Points[max(0, len(c.Points)-gaugeWindow):]
				c.keepDays(at, true)
			}
			got := c.lost(0, share).KPa
			if tt.want == 0 {
				assert.Less(t, got, daysLost/2)
			} else {
				assert.InDelta(t, tt.want, got, 2)
			}
		})
	}
}

// letDownAt is pressure that was let down by 12 kPa at once, days ago, and stays so but for weather of the newest day.
func letDownAt(day float64) func(days float64) float64 {
	return func(d float64) float64 { return 180 - 12*min(max(20*(d-day), 0), 1) - 1.5*max(d-7, 0) }
}

// What went at once in a day that was not heard well enough to be kept still went at once.
func TestWhatWentAtOnceInADayThatWasHardlyHeardIsKept(t *testing.T) {
	t.Parallel()
	c := newGauge()
	c.Since = gaugeBegins.Add(-daysRest)
	for at := gaugeBegins; at.Before(gaugeBegins.Add(hours(24 * 8))); at = at.Add(gaugeWidth) {
		d := at.Sub(gaugeBegins).Hours() / 24
		if day := int(d); day == 2 && d-2 > 0.4 {
			continue
		}
		c.Last = sample{At: at}
		c.Points = append(c.Points, headPoint{At: at, KPa: letDownAt(2.25)(d), Celsius: 14})
		c.Points = c.Points[max(0, len(c.Points)-gaugeWindow):]
		c.keepDays(at, true)
	}
	require.Len(t, c.Days.Whole, 6)
	assert.Less(t, c.lost(0, 0.1).KPa, daysLost/2)
}

// Gas that a valve may have let go is not asked for again.
func TestDaysBeginAnewWhereATankWasNotClosed(t *testing.T) {
	t.Parallel()
	c := newGauge()
	c.Since = gaugeBegins
	for i := range 200 {
		at := gaugeBegins.Add(time.Duration(i) * gaugeWidth)
		c.Points = append(c.Points, headPoint{At: at, KPa: 180, Celsius: 14})
		c.keepDays(at, true)
	}
	require.Len(t, c.Days.Whole, 3)
	at := gaugeBegins.Add(100 * time.Hour)
	c.keepDays(at, false)
	assert.Empty(t, c.Days.Whole)
	assert.Equal(t, at, c.Days.From)
}

// What the balance takes for rest of a leak that days see counts for nothing once days are not heard.
func TestDaysThatFallOnAreNoRest(t *testing.T) {
	tank := NewTank("FV1", Settings{Sealed: true})
	c, b := newGauge(), &balance{At: began}
	tank.state.Head.Slow = true
	rests := Interval{Value: -leakOver / 2}
	require.False(t, tank.holdsAgain(c, b, rests), "it rests from now on")
	for i := range 200 {
		at := began.Add(time.Duration(i) * gaugeWidth)
		c.Points = append(c.Points, headPoint{At: at, KPa: 180 - 0.05*float64(i), Celsius: 14})
		c.Last = sample{At: at}
	}
	b.At = c.Last.At
	require.False(t, tank.holdsAgain(c, b, rests), "days tell that it falls")
	c.Points = nil
	assert.False(t, tank.holdsAgain(c, b, rests), "as good as no rest yet")
	b.At = b.At.Add(leakHeld)
	assert.True(t, tank.holdsAgain(c, b, rests))
}

// Days that hold must do so for as long as what the balance takes for rest: for some hours the weather holds them, too.
func TestDaysThatHoldForSomeHoursAreNoRest(t *testing.T) {
	tank := NewTank("FV1", Settings{Sealed: true})
	c, b := newGauge(), &balance{At: began}
	tank.state.Head.Slow = true
	for i := range 200 {
		at := began.Add(time.Duration(i) * gaugeWidth)
		c.Points = append(c.Points, headPoint{At: at, KPa: 180, Celsius: 14})
		c.Last = sample{At: at}
	}
	leaks := Interval{Value: -2 * leakOver}
	assert.False(t, tank.holdsAgain(c, b, leaks))
	b.At = b.At.Add(leakHeld - balanceWidth)
	assert.False(t, tank.holdsAgain(c, b, leaks))
	b.At = b.At.Add(balanceWidth)
	assert.True(t, tank.holdsAgain(c, b, leaks))
}

// A leak of a tenth of the weather's size is told after more than a week, so that a day of the week does not name its beginning.
func TestALeakOfTwoWeeksNamesItsDay(t *testing.T) {
	t.Parallel()
	b := closedTank(t)
	b.leaks(80, 0.028, 16*24*time.Hour)
	require.Equal(t, "+", b.of(Leak))
	told := b.last(Leak)
	require.Greater(t, told.Time.Sub(told.Onset), 7*24*time.Hour)
	assert.Contains(t, told.Summary, "since about "+told.Onset.Format("Mon 2 Jan")+",")
}
