package detect

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// swim reads a float every ten minutes, its gravity falling by so much a day.
func (b *bench) swim(probe string, sg, perDay float64, length time.Duration) {
	noise := rand.New(rand.NewPCG(7, uint64(b.now.Unix())))
	for start := b.now; b.now.Before(start.Add(length)); b.pass(10 * time.Minute) {
		days := b.now.Sub(start).Hours() / 24
		b.read(probe, Gravity, roundTo(sg-perDay*days+0.0004*noise.NormFloat64(), 0.0001))
	}
}

func roundTo(value, digit float64) float64 { return float64(int(value/digit+0.5)) * digit }

func TestGoingOnWithBeerThatIsNotDone(t *testing.T) {
	const moving, still = 0.0012, 0.0 // SG a day
	cold := map[string]string{"kind": "cold"}
	tests := map[string]struct {
		play func(*bench)
		want string
	}{
		"crashed while it falls":     {func(b *bench) { b.swim("hyd-1", 1.018, moving, 48*time.Hour); b.crash(14.4) }, "+"},
		"hopped cold while it falls": {func(b *bench) { b.swim("hyd-1", 1.018, moving, 48*time.Hour); b.log("dry-hop", nil, cold) }, "+"},
		"packaged while it falls":    {func(b *bench) { b.swim("hyd-1", 1.018, moving, 48*time.Hour); b.log("package", nil, nil) }, "+"},
		"and pitched anew": {func(b *bench) {
			b.swim("hyd-1", 1.018, moving, 48*time.Hour)
			b.log("package", nil, nil)
			b.log("pitch", nil, nil)
		}, "+-"},
		"and taken up to rest": {func(b *bench) { b.swim("hyd-1", 1.018, moving, 48*time.Hour); b.crash(14.4); b.log("rest", nil, nil) }, "+-"},
		"crashed as it stands": {func(b *bench) { b.swim("hyd-1", 1.012, still, 48*time.Hour); b.crash(14.4) }, ""},
		"hops into a wild fermentation": {func(b *bench) {
			b.swim("hyd-1", 1.040, 0.010, 48*time.Hour)
			b.log("dry-hop", nil, map[string]string{"kind": "active"})
		}, ""},
		"a float that was hardly heard":  {func(b *bench) { b.swim("hyd-1", 1.018, moving, 11*time.Hour); b.crash(14.4) }, ""},
		"no float":                       {func(b *bench) { b.hold("head-3", Pressure, 80, 5*time.Minute, 24*time.Hour); b.crash(14.4) }, ""},
		"a glass drawn from it, no more": {func(b *bench) { b.swim("hyd-1", 1.018, moving, 48*time.Hour); b.log("sample", nil, nil) }, ""},
		"it stood for a day after all": {func(b *bench) {
			b.swim("hyd-1", 1.018, moving, 48*time.Hour)
			b.crash(14.4)
			b.swim("hyd-1", 1.0156, still, 40*time.Hour)
		}, "+-"},
		"it falls on": {func(b *bench) {
			b.swim("hyd-1", 1.018, moving, 48*time.Hour)
			b.crash(14.4)
			b.swim("hyd-1", 1.0156, moving, 40*time.Hour)
		}, "+"},
		"crashed, and packaged while it falls on": {func(b *bench) {
			b.swim("hyd-1", 1.018, moving, 48*time.Hour)
			b.crash(14.4)
			b.swim("hyd-1", 1.0156, moving, 24*time.Hour)
			b.log("package", nil, nil)
		}, "++"},
		"the beer has left already": {func(b *bench) {
			b.swim("hyd-1", 1.018, moving, 48*time.Hour)
			b.log("empty", nil, nil)
			b.crash(2)
		}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			tt.play(b)
			assert.Equal(t, tt.want, b.of(NotFinished))
		})
	}
}

func TestBeerThatIsNotDoneIsShownByItsFall(t *testing.T) {
	b := newBench(t, Settings{})
	b.swim("hyd-1", 1.018, 0.0012, 60*time.Hour)
	b.crash(14.4)
	f := b.last(NotFinished)
	rate := f.Evidence.RatePlatoPerDay
	// 1.2 points of gravity a day are 0.30 degP: near 1.016, 0.256 degP to a point (ASBC table, from memory).
	assert.InDelta(t, 0.307, rate.Value, 0.07)
	assert.Less(t, rate.Low, 0.307)
	assert.Greater(t, rate.High, 0.307)
	assert.Contains(t, f.Summary, "crash is logged while gravity still falls 0.")
	assert.Contains(t, f.Evidence.Witnesses[0], "hyd-1: gravity falls")
}

// Warm beer lifts an uncorrected float's gravity, and hops that sink in the first days let it fall: neither is yeast.
func TestAFloatMayFeignAFall(t *testing.T) {
	tests := map[string]func(*bench){
		"a temperature coefficient": func(b *bench) {
			noise := rand.New(rand.NewPCG(3, 3))
			for i := range 288 {
				celsius := 20 - 6*float64(i)/288
				b.read("well-3", Temperature, roundTo(celsius, 0.1))
				b.read("hyd-1", Gravity, roundTo(1.012+0.0001*(celsius-20)+0.0004*noise.NormFloat64(), 0.0001))
				b.pass(10 * time.Minute)
			}
		},
		"a slow drift of its own": func(b *bench) { b.swim("hyd-1", 1.012, 0.0001, 48*time.Hour) },
	}
	for name, play := range tests {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, Settings{})
			play(b)
			b.crash(2)
			assert.Empty(t, b.of(NotFinished))
		})
	}
}

// A line that comes late is judged by what was known as the deed was done.
func TestAnActToldLateIsJudgedByItsOwnTime(t *testing.T) {
	b := newBench(t, Settings{})
	b.swim("hyd-1", 1.012, 0, 48*time.Hour)
	done := b.now
	b.swim("hyd-1", 1.012, 0.004, 24*time.Hour)
	b.found = append(b.found, b.tank.Log(Event{Tank: "FV3", Name: "crash", Time: done, Arrived: b.now, Amounts: map[string]float64{"setpoint": 2}})...)
	assert.Empty(t, b.of(NotFinished))
}
