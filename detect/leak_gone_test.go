package detect

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// follows reads a gauge, and the thermowell, that follow a course for a time. The thermostat swings.
func (b *bench) follows(gauge string, each, length time.Duration, course func(hours float64) (kPa, celsius float64)) {
	for start := b.now; b.now.Before(start.Add(length)); b.pass(each) {
		kPa, celsius := course(b.now.Sub(start).Hours())
		swing := math.Sin(2 * math.Pi * b.now.Sub(began).Hours() / 3)
		b.read("well-3", Temperature, celsius+0.2*swing)
		b.read(gauge, Pressure, kPa+0.2*swing)
	}
}

// losesIts is a tank that stands at some pressure for two days and then loses it, all but some tenths.
func losesIts(kPa, perHour float64) func(hours float64) (now, celsius float64) {
	return func(hours float64) (now, celsius float64) {
		return min(kPa, max(kPa-perHour*(hours-52), 0.4)), 14.4
	}
}

// What a tank had is gone before a leak can be told of by its size: a question, where nobody knows why.
func TestPressureThatIsGoneIsAskedAbout(t *testing.T) {
	t.Parallel()
	gone := losesIts(14, 6)
	closed := func(b *bench) { b.log("seal", nil, nil) }
	none := func(*bench) {}
	vent := func(b *bench) { b.log("vent", nil, nil) }
	for name, tt := range map[string]struct {
		begin, as func(*bench) // at the beginning, and as the pressure goes
		course    func(hours float64) (kPa, celsius float64)
		each      time.Duration
		want      string
	}{
		"nobody knows":                  {closed, none, gone, 5 * time.Minute, "+"},
		"to a gauge that reads high":    {closed, none, func(h float64) (float64, float64) { p, c := gone(h); return p + 2.5, c }, 5 * time.Minute, "+"},
		"to a gauge that reads low":     {closed, none, func(h float64) (float64, float64) { p, c := gone(h); return p - 1.2, c }, 5 * time.Minute, "+"},
		"to a gauge that seldom speaks": {closed, none, losesIts(14, 4.5), time.Hour, "+"},
		"slowly":                        {closed, none, losesIts(8.6, 0.4), 5 * time.Minute, "+"},
		"let off, by the log":           {closed, vent, gone, 5 * time.Minute, ""},
		"and closed again":              {closed, func(b *bench) { vent(b); closed(b) }, gone, 5 * time.Minute, ""},
		"under hands":                   {closed, func(b *bench) { b.log("work", map[string]float64{"for": 2}, nil) }, gone, 5 * time.Minute, ""},
		"of beer that ferments":         {func(b *bench) { b.log("pitch", nil, nil); closed(b) }, none, gone, 5 * time.Minute, ""},
		"with the beer":                 {closed, func(b *bench) { b.log("transfer", nil, nil) }, gone, 5 * time.Minute, ""},
		"of a tank that may be open":    {none, none, gone, 5 * time.Minute, ""},
		"below a valve":                 {func(b *bench) { b.log("vent", map[string]float64{"pressure": 14}, nil) }, none, gone, 5 * time.Minute, ""},
		"with CO2 left on":              {func(b *bench) { b.log("gas", map[string]float64{"hold": 14}, nil) }, none, gone, 5 * time.Minute, ""},
		"of a tank that is empty":       {func(b *bench) { b.log("empty", nil, nil); closed(b) }, none, gone, 5 * time.Minute, ""},
		"of one that had little":        {closed, none, losesIts(6, 3), 5 * time.Minute, ""},
		"of one that had none":          {closed, none, losesIts(0.4, 0), 5 * time.Minute, ""},
		"in a trice":                    {closed, none, losesIts(14, 400), 5 * time.Minute, ""},
		"by half":                       {closed, none, func(h float64) (float64, float64) { p, c := gone(h); return max(p, 4.5), c }, 5 * time.Minute, ""},
		"into the beer":                 {closed, none, func(h float64) (float64, float64) { return 60*math.Exp(-h/15) + 0.4, 14.4 }, 5 * time.Minute, ""},
		"into the beer, slowly":         {closed, none, func(h float64) (float64, float64) { return 30*math.Exp(-h/30) + 0.4, 14.4 }, 5 * time.Minute, ""},
		"and it comes back": {closed, none, func(h float64) (float64, float64) {
			if h > 57 {
				return 9, 14.4
			}
			return gone(h)
		}, 5 * time.Minute, ""},
		"by cooling": {closed, func(b *bench) { b.crash(10) }, func(h float64) (float64, float64) {
			p, _ := gone(h)
			return p, 14.4 - 4.4*min(max((h-52)/5, 0), 1)
		}, 5 * time.Minute, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			tt.begin(b)
			b.follows("head-3", tt.each, 52*time.Hour, tt.course)
			require.Empty(t, b.of(Leak))
			tt.as(b)
			b.follows("head-3", tt.each, 36*time.Hour, func(h float64) (kPa, celsius float64) { return tt.course(h + 52) })
			require.Equal(t, tt.want, b.of(Leak))
			if tt.want != "" {
				assert.Equal(t, Low, b.last(Leak).Priority)
				assert.Contains(t, b.last(Leak).Summary, "was it opened? Then log it as a vent, with its time; if not, look for the leak")
			}
		})
	}
}

// Each bound of the question, from both sides: one row alone would not tell where it lies.
func TestWhenALossIsTooLittleTooLateOrTooWarm(t *testing.T) {
	t.Parallel()
	stands, turns := 52.0, 57.0 // h, when it begins to go, and when it has gone
	to := func(from, left float64) func(float64) float64 {
		return func(h float64) float64 { return min(from, max(from-6*(h-stands), left)) }
	}
	after := func(wait float64) func(float64) float64 { // a part goes, and the rest so many hours later
		return func(h float64) float64 { return min(to(9, 5)(h), max(5-12*(h-stands-wait), 0.4)) }
	}
	warms := func(kelvin float64) func(float64) float64 {
		return func(h float64) float64 { return 14.4 + kelvin*min(max((h-stands)/(turns-stands), 0), 1) }
	}
	for name, tt := range map[string]struct {
		kPa, celsius func(hours float64) float64
		want         string
	}{
		"by little more than weather":    {to(9, 2.95), warms(0), "+"},
		"by no more than weather":        {to(9, 3.3), warms(0), ""},
		"as much, where the beer turned": {to(9, 2.95), warms(-0.5), ""},
		"from little more than nothing":  {to(8.4, 0.4), warms(0), "+"},
		"from nearly nothing":            {to(7.6, 0.4), warms(0), ""},
		"two days after the last one":    {after(45), warms(0), "+"},
		"more than two days after":       {after(49), warms(0), ""},
		"from beer that warmed":          {to(10, 0.4), warms(2.1), "+"},
		"from beer that warmed by more":  {to(10, 0.4), warms(2.3), ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			b.follows("head-3", 5*time.Minute, 120*time.Hour, func(h float64) (kPa, celsius float64) { return tt.kPa(h), tt.celsius(h) })
			require.Equal(t, tt.want, b.of(Leak))
			if tt.want != "" {
				assert.Equal(t, Low, b.last(Leak).Priority, "no leak by its size")
			}
		})
	}
}

// A second gauge that shows pressure yet says that the first one is wrong. One that stands still while the beer warms is no
// witness: it neither keeps the question back nor answers it.
func TestPressureThatAnotherGaugeShowsIsNotGone(t *testing.T) {
	for gauge, want := range map[string]string{"blocked": "+", "that works": ""} {
		t.Run(gauge, func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			course := losesIts(10, 6) // so little that the two do not look like one that is blown down
			b.follows("head-3", 5*time.Minute, 72*time.Hour, func(h float64) (kPa, celsius float64) {
				other := 10.0
				if gauge != "blocked" || h < 12 {
					other += 0.2 * math.Sin(h)
				}
				b.read("head-4", Pressure, other)
				kPa, celsius = course(h)
				return kPa, celsius + h/60
			})
			require.Equal(t, gauge == "blocked", b.tank.faulty("head-4"))
			assert.Equal(t, want, b.of(Leak))
		})
	}
}

// A float that has a gauge, too, and that somebody took out, tells of no tank's head pressure.
func TestAProbeThatWasTakenElsewhereTellsNothingOfThisTanksPressure(t *testing.T) {
	for gravity, want := range map[float64]string{1.0120: "+", 1.0010: ""} {
		t.Run(fmt.Sprint(gravity), func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			course := losesIts(14, 6)
			b.follows("hyd-3", 5*time.Minute, 72*time.Hour, func(h float64) (kPa, celsius float64) {
				sg := 1.0120
				if h > 53 {
					sg = gravity
				}
				b.read("hyd-3", Gravity, sg+0.0001*math.Sin(h))
				return course(h)
			})
			require.Equal(t, want == "", b.tank.faulty("hyd-3"))
			assert.Equal(t, want, b.of(Leak))
		})
	}
}

// A sample takes little, and the beer gives that back: where all is gone, the question names its valve.
func TestASampleDoesNotAnswerWherePressureWent(t *testing.T) {
	sample := Event{Tank: "FV3", Name: "sample", Time: began.Add(52 * time.Hour), Arrived: began.Add(52 * time.Hour)}
	drawn := func(before time.Duration) func(*bench) {
		return func(b *bench) {
			e := sample
			e.Time = e.Time.Add(-before)
			b.found = append(b.found, b.tank.Log(e)...)
		}
	}
	for name, tt := range map[string]struct {
		as    func(*bench)
		first string
	}{
		"as it went":      {drawn(0), "look for the leak, first at the valve of the sample of Wed 12:00"},
		"read by hand":    {func(b *bench) { b.log("gravity", map[string]float64{"value": 1.012}, nil) }, "first at the valve of the sample of Wed 12:00"},
		"the day before":  {drawn(12 * time.Hour), "look for the leak"},
		"struck since":    {func(b *bench) { drawn(0)(b); b.log("strike", nil, map[string]string{"line": sample.Line()}) }, "look for the leak"},
		"and none of all": {func(*bench) {}, "look for the leak"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			course := losesIts(14, 6)
			b.follows("head-3", 5*time.Minute, 52*time.Hour, course)
			tt.as(b)
			b.follows("head-3", 5*time.Minute, 12*time.Hour, func(h float64) (kPa, celsius float64) { return course(h + 52) })
			require.Equal(t, "+", b.of(Leak))
			assert.True(t, strings.HasSuffix(b.last(Leak).Summary, tt.first), b.last(Leak).Summary)
		})
	}
}

// The question is over once it is answered, and is not put again.
func TestTheQuestionWherePressureWentEnds(t *testing.T) {
	t.Parallel()
	stays := func(kPa float64) func(*bench) {
		return func(b *bench) {
			b.follows("head-3", 5*time.Minute, time.Hour, func(float64) (float64, float64) { return kPa, 14.4 })
		}
	}
	late := func(b *bench, name string, before float64, amounts map[string]float64) {
		b.found = append(b.found, b.tank.Log(Event{Tank: "FV3", Name: name, Time: b.now.Add(-hours(before)), Arrived: b.now, Amounts: amounts})...)
	}
	for name, tt := range map[string]struct {
		answer func(*bench)
		want   string
		why    string
	}{
		"by nobody, yet":         {stays(0.4), "+", ""},
		"by a vent":              {func(b *bench) { b.log("vent", nil, nil) }, "+-", "log: vent"},
		"by a vent, told late":   {func(b *bench) { late(b, "vent", 10, nil); b.log("seal", nil, nil) }, "+-", "log: vent"},
		"by work, told late":     {func(b *bench) { late(b, "work", 20, map[string]float64{"for": 4}) }, "+-", "log: work"},
		"by hops moved before":   {func(b *bench) { late(b, "rouse", 60, nil) }, "+", ""},
		"by a gauge that is out": {func(b *bench) { b.log("probe", nil, map[string]string{"id": "head-3", "state": "out"}) }, "+-", "log: probe head-3"},
		"by a gauge that is new": {func(b *bench) {
			b.follows("head-4", 5*time.Minute, time.Hour, func(float64) (float64, float64) { return 30, 14.4 })
		}, "+-", "it is back at 30."},
		"by a tank that is empty":          {func(b *bench) { b.log("empty", nil, nil) }, "+-", "log: empty"},
		"by yeast that is pitched":         {func(b *bench) { b.log("pitch", nil, nil) }, "+-", "log: pitch"},
		"by beer that is elsewhere":        {func(b *bench) { b.log("transfer", nil, nil) }, "+-", "log: transfer"},
		"by CO2 that is put on":            {stays(12), "+-", "it is back at 12."},
		"by a sample":                      {func(b *bench) { b.log("sample", nil, nil) }, "+", ""},
		"by three days, of a silent gauge": {func(b *bench) { b.hold("well-3", Temperature, 14.4, time.Hour, 73*time.Hour) }, "+-", "three days have passed"},
		"by three days": {func(b *bench) {
			b.follows("head-3", 15*time.Minute, 73*time.Hour, func(float64) (float64, float64) { return 0.4, 14.4 })
		}, "+-", "three days have passed"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
			b.log("seal", nil, nil)
			b.follows("head-3", 5*time.Minute, 70*time.Hour, losesIts(14, 6))
			require.Equal(t, "+", b.of(Leak))
			b.restart()
			tt.answer(b)
			b.follows("head-3", 5*time.Minute, 10*time.Hour, func(float64) (float64, float64) { return b.tank.state.Last[Pressure].Value, 14.4 })
			require.Equal(t, tt.want, b.of(Leak))
			assert.Contains(t, b.last(Leak).Summary, tt.why)
			assert.Equal(t, Low, b.last(Leak).Priority)
		})
	}
}

// Most leaks begin as a tank is closed: it need not have stood for long.
func TestALeakSoonAfterTheClosingIsAskedAbout(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	course := losesIts(14, 6)
	b.follows("head-3", 5*time.Minute, 50*time.Hour, func(h float64) (kPa, celsius float64) { return course(h + 14) })
	assert.Equal(t, "+", b.of(Leak))
}

// Who was told of a leak is not asked where its pressure went once all of it is gone.
func TestALeakThatWasToldIsNotAskedAbout(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	b.follows("head-3", 5*time.Minute, 110*time.Hour, losesIts(30, 0.9))
	assert.Equal(t, "+-", b.of(Leak))
}

// The question stands in the way of no leak of what is put on since.
func TestALeakAfterTheQuestionIsTold(t *testing.T) {
	b := newBench(t, Settings{BeerLiters: 2000, HeadspaceLiters: 200})
	b.log("seal", nil, nil)
	b.follows("head-3", 5*time.Minute, 70*time.Hour, losesIts(14, 6))
	require.Equal(t, "+", b.of(Leak))
	b.log("gas", map[string]float64{"to": 60}, nil)
	b.follows("head-4", 5*time.Minute, 80*time.Hour, losesIts(60, 2)) // the one that asked is heard no more
	assert.Equal(t, "+-+", b.of(Leak))
	assert.NotEqual(t, Low, b.last(Leak).Priority)
}
