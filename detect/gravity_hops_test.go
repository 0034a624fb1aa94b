package detect

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// hoppedFloat is a tank of a float alone, cold and still, that is dry-hopped at some hours.
type hoppedFloat struct {
	tank *Tank
	f    *float
	hour int
}

func newHoppedFloat() *hoppedFloat {
	h := &hoppedFloat{tank: NewTank("FV1", Settings{}), f: &float{White: whiteGuess, Noise: noiseGuess}}
	h.tank.Log(Event{Tank: "FV1", Name: "crash", Time: after(-1), Arrived: after(-1), Amounts: map[string]float64{"setpoint": 14.4}})
	h.tank.state.Floats["float"] = h.f
	return h
}

func (h *hoppedFloat) dryHop(hour int) {
	h.tank.Log(Event{Tank: "FV1", Name: "dry-hop", Time: after(hour), Arrived: after(hour)})
}

// swims shows beer from some hour of creep on to an end, hops settling on the float each time, and gives the hour of the
// call, zero for none, and the highest score.
func (h *hoppedFloat) swims(seed uint64, onset, end int, hops ...int) (called int, most float64) {
	s := newSwimmer(seed, 0.06, 0.05)
	plato := func(hour int) float64 {
		out := 2.9 - 0.012*usualCourse().gone(float64(hour-onset))
		for i, hopped := range hops {
			if hour >= hopped {
				out += []float64{0.5, -0.3, 0.6}[i%3] * math.Exp(-float64(hour-hopped)/[]float64{26, 11, 17}[i%3])
			}
		}
		return out
	}
	for _, hopped := range append(hops, end) {
		s.swims(h.f, h.hour, hopped, plato, func(hour int) {
			most = max(most, h.f.Score)
			if called == 0 && h.f.Score >= h.tank.scoreNeeded() {
				called = hour
			}
		})
		if h.hour = hopped; hopped < end {
			h.dryHop(hopped)
		}
	}
	return called, most
}

// Hops upon hops take nothing back: a fall that was in course goes on, and where the float stood before tells where it will
// stand.
func TestAFallGoesOnOverHopsUponHops(t *testing.T) {
	t.Parallel()
	const never = 1000
	for name, test := range map[string]struct {
		hops   []int
		onset  int
		within int // hours of the onset
	}{
		"hops once":                          {[]int{40}, 90, 48},
		"again nine hours after creep began": {[]int{40, 99}, 90, 72},
		"again as it begins":                 {[]int{40, 90}, 90, 72},
		"again before it begins":             {[]int{40, 78}, 90, 72},
		"in two lots":                        {[]int{40, 42}, 90, 48},
		"a third time":                       {[]int{40, 80, 130}, 110, 96},
		"hops once, still beer":              {[]int{40}, never, 0},
		"again, still beer":                  {[]int{40, 99}, never, 0},
		"soon again, still beer":             {[]int{40, 52}, never, 0},
		"in two lots, still beer":            {[]int{40, 42}, never, 0},
		"a third time, still beer":           {[]int{40, 64, 99}, never, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(2) {
				called, most := newHoppedFloat().swims(seed, test.onset, 200, test.hops...)
				if test.onset == never {
					assert.Zero(t, called, "seed %d, score %.1f", seed, most)
					continue
				}
				assert.Greater(t, called, test.onset, "seed %d, score %.1f", seed, most)
				assert.LessOrEqual(t, called, test.onset+test.within, "seed %d", seed)
			}
		})
	}
}

// A dry-hop whose time is put right is no second one, and nobody knows what bent the curve.
func TestADryHopThatIsPutRightIsNoSecondOne(t *testing.T) {
	t.Parallel()
	for _, hopped := range []int{33, 47} {
		h := newHoppedFloat()
		h.swims(1, 1000, 60, 40)
		wrong := h.tank.state.Acts.Lines[1]
		require.Equal(t, "dry-hop", wrong.Name)
		h.tank.Log(Event{
			Tank: "FV1", Name: "dry-hop", Time: after(hopped), Arrived: after(60), Words: map[string]string{"corrects": wrong.Line()},
		})
		assert.Empty(t, h.f.Points)
		assert.Equal(t, after(hopped), h.f.Hopped)
		assert.Zero(t, h.f.Earlier)
	}
}

// What is kept of a curve over hops upon hops.
func TestWhatIsKeptOverHopsUponHops(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		hops    []int
		from    int
		earlier int // zero: none
	}{
		"once":            {[]int{60}, 12, 0},
		"again":           {[]int{60, 100}, 12, 60},
		"in two lots":     {[]int{60, 62}, 12, 0},
		"a third time":    {[]int{60, 90, 120}, 91, 90},
		"long after both": {[]int{10, 30, 170}, 31, 30},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHoppedFloat()
			h.swims(2, 1000, 175, test.hops...)
			assert.Equal(t, after(test.from), h.f.Points[0].At)
			assert.Equal(t, after(test.hops[len(test.hops)-1]), h.f.Hopped)
			if test.earlier == 0 {
				assert.Zero(t, h.f.Earlier)
			} else {
				assert.Equal(t, after(test.earlier), h.f.Earlier)
			}
		})
	}
}

// The step that hops upon hops make is known from the log: taken for a jump besides, it would hide what fell before it. A
// later one is a jump.
func TestTheStepOfHopsUponHopsIsNoJump(t *testing.T) {
	t.Parallel()
	for _, steps := range []int{41, 50} {
		f := &float{White: 0.02, Noise: 0.02, Earlier: after(0), Hopped: after(40)}
		s := newSwimmer(9, 0.01, 0.01)
		for hour := range 60 {
			if hour == 40 { // nobody's: the hops went in
				continue
			}
			plato := 2.9
			if hour >= steps {
				plato += 0.3
			}
			f.addPoint(point{At: after(hour), Plato: plato + s.noise(), Celsius: 14.4, N: 1}, 0)
		}
		if steps < 50 {
			assert.Zero(t, f.Stepped, "step at %d", steps)
		} else {
			assert.WithinDuration(t, after(steps), f.Stepped, time.Hour)
		}
	}
}
