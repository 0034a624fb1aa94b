package batch_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/batch"
)

// logged is a record with nothing but a log.
func logged(lines ...detect.Event) *batch.Record {
	r := batch.NewRecord("FV3", detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200}, batch.Limits{})
	for _, e := range lines {
		r.Log(e)
	}
	return r
}

func at(hours float64) time.Time { return noon.Add(time.Duration(hours * float64(time.Hour))) }

func TestVolumeFollowsTheLog(t *testing.T) {
	r := logged(
		line("pitch", at(0), map[string]float64{"volume": 1900}, nil),
		line("yeast-off", at(10), map[string]float64{"volume": 40}, nil),
		line("add", at(11), map[string]float64{"volume": 100}, map[string]string{"what": "kraeusen"}),
		line("sample", at(12), map[string]float64{"volume": 0.5}, nil),
		line("package", at(20), map[string]float64{"volume": 900}, nil),
		line("package", at(30), nil, nil),
	)
	for hours, liters := range map[float64]float64{1: 1900, 10.5: 1860, 12.5: 1959.5, 21: 1059.5, 31: 0} {
		assert.InDelta(t, liters, *r.At(at(hours)).Figures.BeerLiters, 0.01, "after %g h", hours)
	}
	assert.Equal(t, batch.Packaging, r.At(at(21)).Stage.Name)
	assert.Equal(t, batch.EmptyTank, r.At(at(31)).Stage.Name)
}

// 20 kg of sugar in 20 hL of 12 degP: (2097 kg x 0.12 + 20) / 2117 = 12.83 degP, worked by hand.
func TestAnAdditionReopensTheOriginalGravity(t *testing.T) {
	pitch := line("pitch", at(0), map[string]float64{"gravity": 1.0484, "volume": 2000, "expected": 1.010, "abv": 5.2}, nil)
	measured := line("gravity", at(50), map[string]float64{"value": 1.0100}, nil)
	og := func(amounts map[string]float64) batch.Batch {
		return logged(pitch, line("add", at(20), amounts, map[string]string{"what": "sugar"}), measured).At(at(51))
	}
	known := og(map[string]float64{"extract": 20_000})
	assert.InDelta(t, 1.0519, *known.Figures.OriginalGravity, 0.0002)
	assert.Nil(t, known.Figures.ExpectedGravity, "what was expected was expected of the wort alone")
	assert.Greater(t, *known.Figures.AlcoholByVolume, *logged(pitch, measured).At(at(51)).Figures.AlcoholByVolume+0.3)

	kraeusen := og(map[string]float64{"volume": 200, "gravity": 1.0484})
	assert.InDelta(t, 1.0484, *kraeusen.Figures.OriginalGravity, 0.0001, "the same wort changes nothing")

	untold := og(map[string]float64{"mass": 30_000})
	assert.Contains(t, untold.Figures.OriginalOpen, "sugar was added, and its extract is not logged")
	assert.Equal(t, batch.Unknown, condition(t, untold, batch.PackagePoint, "label").State())
}

// condition finds one condition of a hold point.
func condition(t *testing.T, b batch.Batch, of, name string) batch.Condition {
	t.Helper()
	for _, c := range point(t, b, of).Conditions {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no condition %s in %s", name, of)
	return batch.Condition{}
}

func TestABatchFollowsItsBeer(t *testing.T) {
	from := logged(
		line("pitch", at(0), map[string]float64{"gravity": 1.0594, "volume": 2000}, map[string]string{"beer": "Rope Walk IPA"}),
		line("crash", at(200), map[string]float64{"setpoint": 2}, nil),
		line("vdk", at(190), nil, map[string]string{"result": "pass"}),
		line("transfer", at(300), map[string]float64{"volume": 1500}, map[string]string{"to": "BT1"}),
	)
	to := batch.NewRecord("BT1", detect.Settings{BeerLiters: 1800}, batch.Limits{})
	to.Log(detect.Event{Tank: "BT1", Name: "pitch", Time: at(-900), Arrived: at(-900), Words: map[string]string{"beer": "another"}})
	to.Log(detect.Event{Tank: "BT1", Name: "empty", Time: at(-700), Arrived: at(-700)})
	to.From(from, at(300), 1500)
	to.Log(detect.Event{Tank: "BT1", Name: "package", Time: at(310), Arrived: at(310), Amounts: map[string]float64{"volume": 300}})

	assert.Equal(t, batch.EmptyTank, to.At(at(299)).Stage.Name)
	b := to.At(at(311))
	assert.Equal(t, "Rope Walk IPA", b.Beer)
	assert.Equal(t, "FV3", b.From)
	assert.Equal(t, at(0), b.Began)
	assert.InDelta(t, 1200, *b.Figures.BeerLiters, 0.01)
	require.Len(t, b.Passed, 2, "the crash over there and the packaging here")
	assert.Equal(t, batch.CrashPoint, b.Passed[0].Name)
	assert.Len(t, to.Report(at(311)).Log, 4, "what was done over there before, and here")
	assert.InDelta(t, 500, *from.At(at(311)).Figures.BeerLiters, 0.01)
}

func TestTheLogPutsALineRight(t *testing.T) {
	wrong := line("vdk", at(10), nil, map[string]string{"result": "pass"})
	strike := line("strike", at(12), nil, map[string]string{"line": wrong.Line()})
	r := logged(line("pitch", at(0), nil, nil), wrong, strike)
	assert.Equal(t, "no forced diacetyl test is logged", condition(t, r.At(at(13)), batch.CrashPoint, "diacetyl").Evidence)
	lines := r.Report(at(13)).Log
	require.Len(t, lines, 3, "it is shown all the same")
	assert.True(t, lines[1].Struck)
}

// Two readings two days apart show it, by a careful hand; a third that is lower shows the contrary.
func TestGravitiesByHandSettleIt(t *testing.T) {
	hand := func(hours, sg float64) detect.Event {
		return line("gravity", at(hours), map[string]float64{"value": sg}, nil)
	}
	pitch := line("pitch", at(0), map[string]float64{"gravity": 1.050}, nil)
	state := func(until float64, lines ...detect.Event) batch.Verdict {
		return condition(t, logged(append(lines, pitch)...).At(at(until)), batch.CrashPoint, "gravity-stable").State()
	}
	assert.Equal(t, batch.Unknown, state(120, hand(118, 1.0110)))
	assert.Equal(t, batch.Yes, state(170, hand(118, 1.0110), hand(168, 1.0110)))
	assert.Equal(t, batch.No, state(170, hand(118, 1.0120), hand(168, 1.0110)))
	assert.Equal(t, batch.Unknown, state(230, hand(118, 1.0110), hand(168, 1.0110)), "that was two days ago")
}

// Beer that falls 0.3 points a day under half a point of noise is not done, a flat one is, and a thin curve says nothing.
func TestTheFloatsAnswerAtTheHoldPoint(t *testing.T) {
	swim := func(perDay float64, hours int, seed uint64) batch.Verdict {
		rng := rand.New(rand.NewPCG(seed, 5))
		r := batch.NewRecord("FV3", detect.Settings{}, batch.Limits{})
		r.Log(line("pitch", at(-100), map[string]float64{"gravity": 1.050}, nil))
		for minutes := -60 * hours; minutes <= 0; minutes += 10 {
			sg := 1.012 - perDay*float64(minutes)/1440 + 0.0005*rng.NormFloat64()
			r.Take(detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: noon.Add(time.Duration(minutes) * time.Minute), Value: sg})
		}
		return condition(t, r.At(noon), batch.CrashPoint, "gravity-stable").State()
	}
	yes := 0
	for seed := range uint64(40) {
		assert.Equal(t, batch.No, swim(0.0003, 60, seed), "seed %d", seed)
		assert.Equal(t, batch.Unknown, swim(0, 30, seed), "seed %d", seed)
		if swim(0, 60, seed) == batch.Yes {
			yes++
		}
	}
	assert.GreaterOrEqual(t, yes, 38, "flat beer, of 40")
}

func TestAFloatThatSticksShowsNothing(t *testing.T) {
	r := batch.NewRecord("FV3", detect.Settings{}, batch.Limits{})
	for minutes := -3600; minutes <= 0; minutes += 10 {
		r.Take(detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: noon.Add(time.Duration(minutes) * time.Minute), Value: 1.012})
	}
	c := condition(t, r.At(noon), batch.CrashPoint, "gravity-stable")
	assert.Equal(t, batch.Unknown, c.State())
	assert.Contains(t, c.Evidence, "exactly 1.0120 SG for two days")
}

// A forced test says how far the beer can go: less than the bound of the curve, and what is left of the attenuation.
func TestAForcedTestIsUsed(t *testing.T) {
	lines := []detect.Event{
		line("pitch", at(-300), map[string]float64{"gravity": 1.0594, "expected": 1.0140}, nil),
		line("gravity", at(-60), map[string]float64{"value": 1.0115}, nil),
		line("gravity", at(-1), map[string]float64{"value": 1.0115}, nil),
		line("co2", at(-1), map[string]float64{"value": 2.5 * 1.9635}, nil),
	}
	without := logged(lines...).At(at(0))
	assert.Contains(t, condition(t, without, batch.PackagePoint, "package-pressure").Evidence, "for 14 days, the 95 % bound of now")
	with := logged(append(lines, line("forced", at(-20), map[string]float64{"limit": 1.0110}, nil))...).At(at(0))
	assert.Contains(t, condition(t, with, batch.PackagePoint, "package-pressure").Evidence, "at worst 0.5 points more (down to where the forced test of")
	assert.InDelta(t, 1.0110, *with.Figures.ExpectedGravity, 1e-9)
}

// With the hops in it the same test says what they will free; 3.5 points are 0.89 degP, 3.5 g/L or 1.8 volumes of CO2, and
// 0.46 % of alcohol in a wort of 14.6 degP (Balling's balance, worked by hand).
func TestAForcedTestWithHopsIsUsed(t *testing.T) {
	lines := []detect.Event{
		line("pitch", at(-300), map[string]float64{"gravity": 1.0594, "expected": 1.0120}, nil),
		line("gravity", at(-1), map[string]float64{"value": 1.0115}, nil),
		line("forced", at(-40), map[string]float64{"limit": 1.0112}, nil),
		line("forced", at(-20), map[string]float64{"hops": 1.0080}, nil),
	}
	before := logged(lines...).At(at(0))
	assert.InDelta(t, 1.0112, *before.Figures.ExpectedGravity, 1e-9)
	follows := point(t, before, batch.DryHopPoint).Follows
	require.Len(t, follows, 1)
	assert.Contains(t, follows[0], "by 3.5 points more, which makes 1.7")
	hopped := logged(append(lines, line("dry-hop", at(-0.5), nil, map[string]string{"kind": "cold"}))...).At(at(0))
	assert.InDelta(t, 1.0080, *hopped.Figures.ExpectedGravity, 1e-9)
}

// 2.6 volumes at 100 degF are 56 to 61 psi by the brewers' chart carried on; 90 psi, where cans buckle, comes with 1.1 to
// 1.25 volumes more.
func TestAPackageAtItsWorst(t *testing.T) {
	still := func(fall float64) batch.Condition {
		return condition(t, logged(
			line("pitch", at(-300), map[string]float64{"gravity": 1.0484}, nil),
			line("gravity", at(-60), map[string]float64{"value": 1.0100 + fall}, nil),
			line("gravity", at(-1), map[string]float64{"value": 1.0100}, nil),
			line("co2", at(-1), map[string]float64{"value": 2.55 * 1.9635}, nil),
			line("forced", at(-20), map[string]float64{"limit": 1.0100 - fall}, nil),
		).At(at(0)), batch.PackagePoint, "package-pressure")
	}
	assert.Equal(t, batch.Yes, still(0).State(), still(0).Evidence)
	assert.Equal(t, batch.No, still(0.0026).State(), still(0.0026).Evidence)
}

// A thin log is still served: beer that was cooled with nothing in the log.
func TestACrashThatNobodyLoggedIsProposed(t *testing.T) {
	r := batch.NewRecord("FV3", detect.Settings{}, batch.Limits{})
	for h := -96.0; h <= 0; h += 0.25 {
		celsius := 19.0
		if h > -30 {
			celsius = 14.5 + 4.5*math.Exp(-(h+30)/4)
		}
		r.Take(detect.Reading{Tank: "FV3", Probe: "well-3", Quantity: detect.Temperature, Time: at(h), Value: celsius})
	}
	b := r.At(at(0))
	require.Len(t, b.Proposals, 1)
	p := b.Proposals[0]
	assert.Equal(t, "crash", p.Event)
	assert.InDelta(t, -30, p.Time.Sub(noon).Hours(), 1.5)
	assert.Equal(t, "14.5 degC", p.Field["setpoint"])
	assert.Contains(t, p.Text, "this looks like a crash begun on Sun 8 Mar 0")
	r.Log(line("crash", at(-29), map[string]float64{"setpoint": 14.4}, nil))
	assert.Empty(t, r.At(at(0)).Proposals)
}

// Three tenths of a per cent either side of the label is the rule of 27 CFR 7.65 for malt beverages.
func TestTheLabelsTolerance(t *testing.T) {
	state := func(label float64) batch.Verdict {
		return condition(t, logged(
			line("pitch", at(-300), map[string]float64{"gravity": 1.0484, "abv": label}, nil),
			line("gravity", at(-1), map[string]float64{"value": 1.0099}, nil),
		).At(at(0)), batch.PackagePoint, "label").State()
	}
	// 12 degP down to 2.5: 5.1 % by volume, worked by hand from Balling's formula.
	assert.Equal(t, batch.Yes, state(5.2))
	assert.Equal(t, batch.Yes, state(4.9))
	assert.Equal(t, batch.No, state(5.6))
	assert.Equal(t, batch.No, state(4.6))
}

// The hold points come in their order, twice the cooling where the beer is hopped cold.
func TestWhichHoldPointComesNext(t *testing.T) {
	pitch := line("pitch", at(-300), nil, nil)
	soft := line("crash", at(-200), map[string]float64{"setpoint": 14.4}, nil)
	hops := line("dry-hop", at(-150), map[string]float64{"mass": 9000}, map[string]string{"kind": "cold"})
	cold := line("crash", at(-50), map[string]float64{"setpoint": 2}, nil)
	off := line("hops-off", at(-30), nil, nil)
	gone := line("empty", at(-1), nil, nil)
	for _, tt := range []struct {
		lines []detect.Event
		want  string
	}{
		{[]detect.Event{pitch}, batch.CrashPoint},
		{[]detect.Event{pitch, soft}, batch.DryHopPoint},
		{[]detect.Event{pitch, soft, hops}, batch.CrashPoint},
		{[]detect.Event{pitch, soft, hops, cold}, batch.PackagePoint},
		{[]detect.Event{pitch, soft, hops, cold, off}, batch.PackagePoint},
		{[]detect.Event{pitch, soft, hops, cold, off, gone}, ""},
	} {
		next := ""
		for _, p := range logged(tt.lines...).At(at(0)).HoldPoints {
			if p.Next {
				next = p.Name
			}
		}
		assert.Equal(t, tt.want, next, "after %d lines", len(tt.lines))
	}
}
