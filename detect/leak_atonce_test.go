package detect

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// steady lets a gauge that speaks each 52 minutes fall by so much an hour from a pressure, in beer that stands still.
func (b *bench) steady(from, perHour float64, length time.Duration) {
	const each = 52 * time.Minute
	for start := b.now; b.now.Before(start.Add(length)); b.pass(each) {
		b.read("well-3", Temperature, 14.4)
		b.read("head-3", Pressure, from-perHour*b.now.Sub(start).Hours())
	}
}

// letDown is a closed tank that was let down by 15 kPa between two words of its gauge, so that no hands were seen. Nobody
// logged it, and it has held since.
func letDown(t *testing.T, held time.Duration) *bench {
	t.Helper()
	b := newBench(t, Settings{BeerLiters: 1734, HeadspaceLiters: 293})
	b.log("seal", nil, nil)
	b.steady(39, 0, 56*time.Hour)
	b.steady(24, 0, held)
	require.Empty(t, b.of(Leak))
	return b
}

// The weather of days after a let-down takes little, but the balance remembers what was let off.
func TestAFrontAfterALetDownIsNoLeak(t *testing.T) {
	t.Parallel()
	b := letDown(t, 90*time.Hour)
	b.steady(24, 0.25, 7*time.Hour)
	b.steady(22.25, 0, 24*time.Hour)
	assert.Empty(t, b.of(Leak))
}

// That it is forgotten hides no leak that begins then, and whose beginning is its own.
func TestALeakAfterALetDownIsFound(t *testing.T) {
	t.Parallel()
	b := letDown(t, 90*time.Hour)
	hole := b.now
	b.steady(24, 0.8, 20*time.Hour)
	require.Equal(t, "+", b.of(Leak))
	assert.Less(t, b.last(Leak).Time.Sub(hole), 12*time.Hour)
	assert.WithinDuration(t, hole, b.last(Leak).Onset, 2*time.Hour)
}

func TestWhatIsForgottenAsLetDown(t *testing.T) {
	t.Parallel()
	const share = 0.1
	for name, tt := range map[string]struct {
		kPa     func(hours float64) float64 // absolute
		celsius func(hours float64) float64
		lost    float64 // g/L
		since   time.Duration
		want    bool
	}{
		"let down, and held":           {fellBy(12, 0, 0), nil, 0.1, 70 * time.Hour, true},
		"nothing lost":                 {fellBy(12, 0, 0), nil, 0, 70 * time.Hour, false},
		"lost of late":                 {fellBy(12, 0, 0), nil, 0.1, 23 * time.Hour, false},
		"before it was lost":           {fellBy(12, 0, 0), nil, 0.1, 50 * time.Hour, false},
		"let down, and goes on":        {fellBy(12, 0.1, 0), nil, 0.1, 70 * time.Hour, false},
		"goes on, though beer warms":   {fellBy(12, 0, 0), func(h float64) float64 { return 14 + max(h-72, 0)/24 }, 0.1, 70 * time.Hour, false},
		"more is lost than went so":    {fellBy(4, 0, 0), nil, 0.1, 70 * time.Hour, false},
		"it went little by little":     {fellBy(0, 0.25, 72), nil, 0.1, 70 * time.Hour, false},
		"it is cooling that took it":   {fellBy(12, 0, 0), func(h float64) float64 { return 14 - 2.5*min(max(h-35, 0), 1) }, 0.15, 70 * time.Hour, false},
		"what holds as the beer cools": {fellBy(12, 0, 0), func(h float64) float64 { return 14 - max(h-72, 0)/24 }, 0.1, 70 * time.Hour, true},
		"a gauge that says too little": {nil, nil, 0.1, 70 * time.Hour, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := newGauge()
			b := &balance{At: gaugeBegins.Add(96 * time.Hour), Celsius: 14}
			b.LostAt = b.At.Add(-tt.since)
			for i := range b.Loss {
				b.Loss[i] = tt.lost
			}
			for at := gaugeBegins; tt.kPa != nil && !at.After(b.At); at = at.Add(gaugeWidth) {
				h, celsius := at.Sub(gaugeBegins).Hours(), 14.0
				if tt.celsius != nil {
					celsius = tt.celsius(h)
				}
				c.Points = append(c.Points, headPoint{At: at, KPa: tt.kPa(h), Celsius: celsius})
				c.Last = sample{At: at}
			}
			assert.Equal(t, tt.want, c.letDown(b, share))
		})
	}
}

// fellBy is pressure that fell by so much at 36 h, and by so much an hour from then on or, where nothing fell at once, from some
// hours before until an hour.
func fellBy(atOnce, perHour, until float64) func(hours float64) float64 {
	return func(h float64) float64 {
		switch {
		case until > 0:
			return 180 - perHour*max(min(h, until)-26, 0)
		case h < 36:
			return 180
		}
		return 180 - atOnce - perHour*(h-36)
	}
}
