package detect

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect/beer"
)

// morning is a gravity read by hand, logged now.
func (b *bench) morning(sg float64) { b.log("gravity", map[string]float64{"value": sg}, nil) }

// mornings reads by hand, a day apart.
func (b *bench) mornings(gravities ...float64) {
	for _, sg := range gravities {
		b.pass(24 * time.Hour)
		b.morning(sg)
	}
}

// hopped is a tank of finished beer, cold, whose hops just went in.
func hopped(t *testing.T) *bench {
	t.Helper()
	b := newBench(t, Settings{})
	b.crash(14.4)
	b.mornings(1.0120)
	b.pass(2 * time.Hour)
	b.log("dry-hop", nil, map[string]string{"kind": "cold"})
	return b
}

// A cellar without floats reads a hydrometer each morning: what it logs is heard at night, too.
func TestGravitiesByHandTellOfCreepByThemselves(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		mornings []float64
		want     string
	}{
		"still":                              {[]float64{1.0120, 1.0120, 1.0115, 1.0120, 1.0120}, ""},
		"read to the half, up and down":      {[]float64{1.0125, 1.0120, 1.0115, 1.0120, 1.0115, 1.0120}, ""},
		"one that strays":                    {[]float64{1.0120, 1.0120, 1.0080, 1.0120}, ""},
		"one that strays, and ends the list": {[]float64{1.0120, 1.0120, 1.0020}, ""},
		"one low morning":                    {[]float64{1.0120, 1.0120, 1.0105}, ""},
		"a creep of 0.9 degP":                {[]float64{1.0120, 1.0120, 1.0110, 1.0100, 1.0090}, "+"},
		"a creep of 0.5 degP":                {[]float64{1.0120, 1.0120, 1.0115, 1.0105, 1.0100, 1.0100}, "+"},
		"a creep that is over":               {[]float64{1.0120, 1.0110, 1.0100, 1.0090, 1.0090, 1.0090, 1.0090, 1.0090}, "+-"},
		"fermenting from the first day":      {[]float64{1.0105, 1.0090, 1.0080}, "+"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := hopped(t)
			b.mornings(tt.mornings...)
			assert.Equal(t, tt.want, b.of(Refermentation), "score %.1f of %.1f", b.tank.state.Hands.Alone.Score, b.tank.scoreNeeded())
			for _, f := range b.found {
				if f.Alarm == Refermentation && f.Active {
					require.NotNil(t, f.Evidence.RatePlatoPerDay)
					assert.Positive(t, f.Evidence.RatePlatoPerDay.Low)
					assert.True(t, strings.HasPrefix(f.Evidence.Witnesses[len(f.Evidence.Witnesses)-1], "by hand: "), f.Evidence.Witnesses)
				}
			}
		})
	}
}

// A rest of beer that was hopped is warmth for the same beer: what was read before it counts.
func TestGravitiesFromBeforeARestOfHoppedBeerCount(t *testing.T) {
	b := hopped(t)
	b.mornings(1.0120, 1.0120)
	b.log("rest", map[string]float64{"setpoint": 18}, nil)
	b.mornings(1.0110, 1.0100)
	assert.Len(t, b.tank.handGravities(time.Time{}), 5)
	assert.Equal(t, "+", b.of(Refermentation))
}

// doubting is a tank whose rough float has come to fall, or to drift, by so much a day since two days after the hops, up to
// when it asks.
func doubting(t *testing.T) *bench {
	t.Helper()
	const perDay = 0.0004 // SG
	b := newBench(t, Settings{})
	b.crash(14.4)
	noise := rand.New(rand.NewPCG(3, 3))
	swim := func(length time.Duration, perDay float64) {
		for start := b.now; b.now.Before(start.Add(length)) && b.of(GravityCheck) == ""; b.pass(30 * time.Minute) {
			b.read("hyd-3", Gravity, 1.0120-perDay*b.now.Sub(start).Hours()/24+0.0008*noise.NormFloat64())
			b.read("well-3", Temperature, 14.4)
		}
	}
	swim(24*time.Hour, 0)
	b.morning(1.0120)
	b.log("dry-hop", nil, map[string]string{"kind": "cold"})
	swim(48*time.Hour, 0)
	b.morning(1.0120)
	swim(20*24*time.Hour, perDay)
	require.Equal(t, "+", b.of(GravityCheck))
	require.Empty(t, b.of(Refermentation))
	require.Less(t, b.now.Sub(began), 9*24*time.Hour)
	return b
}

// What a float is not sure of it asks a person for; what he reads settles it, either way.
func TestAFloatInDoubtAsksForAGravityByHand(t *testing.T) {
	t.Parallel()
	t.Run("it fell", func(t *testing.T) {
		t.Parallel()
		b := doubting(t)
		b.mornings(1.0100, 1.0100) // 0.002, what people notice by themselves
		assert.Equal(t, "+-", b.of(GravityCheck))
		assert.Equal(t, "+", b.of(Refermentation), "score %.1f", b.tank.state.Floats["hyd-3"].Score)
	})
	t.Run("it did not: the float drifts", func(t *testing.T) {
		t.Parallel()
		b := doubting(t)
		b.mornings(1.0120, 1.0120)
		assert.Equal(t, "+-", b.of(GravityCheck))
		assert.Less(t, b.tank.state.Floats["hyd-3"].Score, b.tank.scoreNeeded()-askSooner)
		assert.Empty(t, b.of(Refermentation))
	})
	t.Run("nobody answers, and the float is taken out", func(t *testing.T) {
		t.Parallel()
		b := doubting(t)
		b.log("probe", nil, map[string]string{"id": "hyd-3", "state": "out"})
		b.pass(askStands)
		assert.Equal(t, "+-", b.of(GravityCheck))
	})
	t.Run("the beer leaves", func(t *testing.T) {
		t.Parallel()
		b := doubting(t)
		b.log("package", nil, nil)
		assert.Equal(t, "+-", b.of(GravityCheck))
		b.log("pitch", map[string]float64{"gravity": 1.048}, nil)
		assert.Empty(t, b.tank.handGravities(time.Time{}), "they were of other beer")
	})
}

// A slip of the pen before the hops has nothing before it that shows it: what stands by each other afterwards does. Beer that
// goes on falling is another matter.
func TestAFirstGravityByHandThatStraysIsNoFall(t *testing.T) {
	t.Parallel()
	for want, mornings := range map[string][]float64{
		"":  {1.0120, 1.0120, 1.0120, 1.0120},
		"+": {1.0195, 1.0170, 1.0150},
	} {
		b := newBench(t, Settings{})
		b.crash(14.4)
		b.mornings(1.0220)
		b.log("dry-hop", nil, map[string]string{"kind": "cold"})
		b.mornings(mornings...)
		assert.Equal(t, want, b.of(Refermentation), "score %.1f", b.tank.state.Hands.Alone.Score)
	}
}

// Who doubts a reading reads the sample again: that is one morning, and no second one.
func TestAGravityReadTwiceCountsOnce(t *testing.T) {
	t.Parallel()
	b := hopped(t)
	b.mornings(1.0120, 1.0090)
	b.pass(20 * time.Minute)
	b.morning(1.0115)
	read := b.tank.handGravities(time.Time{})
	require.Len(t, read, 3)
	assert.InDelta(t, 1.0115, beer.ApparentGravity(read[2].Plato), 1e-6)
}

// A verdict that hands began goes on until they show that it is over. Where nobody reads any more, a float that stands
// ends it: else nothing would be told of this tank again.
func TestAVerdictByHandsEndsWithoutThem(t *testing.T) {
	t.Parallel()
	b := hopped(t)
	days := 0
	for _, sg := range []float64{1.0120, 1.0120, 1.0110, 1.0100, 1.0090, 0, 0, 0, 0, 0, 0} {
		b.swim("hyd-3", 1.0500, 0, 24*time.Hour) // a float that hangs on the wall
		if sg > 0 {
			b.morning(sg)
		}
		if days++; days == 8 {
			assert.Equal(t, "+", b.of(Refermentation), "two days after the newest reading")
		}
	}
	assert.Equal(t, "+-", b.of(Refermentation))
}

func TestAStruckGravityByHandCountsNoMore(t *testing.T) {
	t.Parallel()
	b := hopped(t)
	b.mornings(1.0120, 1.0110)
	require.Len(t, b.tank.handGravities(time.Time{}), 3)
	lines := b.tank.state.Acts.Lines
	b.log("strike", nil, map[string]string{"line": lines[len(lines)-1].Line()})
	assert.Len(t, b.tank.handGravities(time.Time{}), 2)
}

// A verdict from lines that were struck waits for no hands: nothing but them said it.
func TestAVerdictByHandsEndsOnceTheyAreStruck(t *testing.T) {
	t.Parallel()
	b := hopped(t)
	b.mornings(1.0120, 1.0110, 1.0100, 1.0090)
	require.Equal(t, "+", b.of(Refermentation))
	for _, e := range InForce(b.tank.state.Acts.Lines) {
		if e.Name == "gravity" {
			b.log("strike", nil, map[string]string{"line": e.Line()})
		}
	}
	b.swim("hyd-3", 1.0500, 0, 5*24*time.Hour)
	assert.Equal(t, "+-", b.of(Refermentation))
}

// A slip of the pen that is put right ends at once what it said.
func TestAGravityPutRightEndsItsVerdict(t *testing.T) {
	t.Parallel()
	for by, name := range map[string]func(Event) string{"its short name": Event.Line, "its identity": Event.Identity} {
		b := hopped(t)
		b.mornings(1.0120, 1.0120, 1.0100, 1.0090)
		require.Equal(t, "+", b.of(Refermentation))
		for _, e := range InForce(b.tank.state.Acts.Lines) {
			if sg, _ := e.Amount("value"); e.Name == "gravity" && sg < 1.0115 {
				b.log("gravity", map[string]float64{"value": 1.0120}, map[string]string{"corrects": name(e)})
			}
		}
		assert.Equal(t, "+-", b.of(Refermentation), by)
	}
}

// What the log ends, it ends for the next verdict, too.
func TestALogThatEndsAVerdictByHandsForgetsThem(t *testing.T) {
	t.Parallel()
	b := hopped(t)
	b.mornings(1.0120, 1.0110, 1.0100, 1.0090)
	require.True(t, b.tank.state.Hands.Began)
	b.tank.endVerdict(b.now, "the log was put right")
	assert.False(t, b.tank.state.Hands.Began)
}

// swimsBy lets the float of a tank in doubt go on from 1.0100 by so much a day.
func (b *bench) swimsBy(perDay float64, length time.Duration) {
	for start := b.now; b.now.Before(start.Add(length)); b.pass(30 * time.Minute) {
		b.read("hyd-3", Gravity, 1.0100+perDay*b.now.Sub(start).Hours()/24)
		b.read("well-3", Temperature, 14.4)
	}
}

// A question stands while the float is heard and shows what made it ask; it is not taken back by the clock, to be asked again
// within the hour.
func TestAQuestionStandsWhileTheFloatShowsAFall(t *testing.T) {
	t.Parallel()
	b := doubting(t)
	f := b.tank.state.Floats["hyd-3"]
	for start := b.now; b.now.Before(start.Add(askStands + 10*time.Hour)); b.pass(time.Hour) {
		f.Block.Start, f.Score = b.now, b.tank.scoreNeeded()-askSooner // heard, and as much in doubt as ever
	}
	assert.Equal(t, "+", b.of(GravityCheck))
	b.pass(askHeard + time.Hour)
	assert.Equal(t, "+-", b.of(GravityCheck), "it is heard no more")
}

// A closed tank's gauge that stood all the while answers it.
func TestAGaugeThatStoodEndsAQuestion(t *testing.T) {
	t.Parallel()
	for name, depth := range map[string]float64{"it stood": 0, "it shows as much": 0.2} {
		b := doubting(t)
		f := b.tank.state.Floats["hyd-3"]
		f.Block.Start, f.Score, f.Fall = b.now, b.tank.gravityNeeded()-askSooner, gravityFall{Onset: b.now.Add(-24 * time.Hour), Depth: 0.2}
		require.True(t, b.tank.stillDoubts())
		b.tank.state.Gauges = map[string]*gauge{"head-3": {Stood: stood{Since: b.now.Add(-48 * time.Hour), Until: b.now, Depth: depth}}}
		assert.Equal(t, depth > 0, b.tank.stillDoubts(), name)
	}
}

// Nor does a fit take it back while gravity goes down by more than drift does.
func TestNoFitTakesAQuestionBackWhileGravityFalls(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		perDay float64
		want   string
	}{
		"it falls":                    {-0.0006, "+"},
		"no more than a float drifts": {-0.0001, "+-"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := doubting(t)
			b.swimsBy(tt.perDay, (askFalls+6)*time.Hour)
			b.tank.state.Verdict.Active = false
			b.tank.state.Hands.Asked = b.now
			f := b.tank.state.Floats["hyd-3"]
			f.Score = 0
			got := "+"
			if len(b.tank.perhapsAsk(Reading{Probe: "hyd-3", Time: b.now, Arrived: b.now})) > 0 {
				got += "-"
			}
			assert.Equal(t, tt.want, got)
		})
	}
}
