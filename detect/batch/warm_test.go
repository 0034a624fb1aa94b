package batch_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"spile/detect"
	"spile/detect/batch"
)

// Beer that fermented as it was cooled stands in the tank and may burst its package. Hours count from the noon of 9 March; temperature is
// read every hour, gravity by hand.
func TestColdBeerStoodWarmBeforeItIsPackaged(t *testing.T) {
	type sent struct{ hours, celsius float64 }
	gravity := func(hours, sg float64) detect.Event {
		return line("gravity", at(hours), map[string]float64{"value": sg}, nil)
	}
	crash := func(hours float64) detect.Event {
		return line("crash", at(hours), map[string]float64{"setpoint": 2}, nil)
	}
	hops := func(hours float64) detect.Event {
		return line("dry-hop", at(hours), map[string]float64{"mass": 16000}, map[string]string{"kind": "cold"})
	}
	warm := []detect.Event{gravity(-240, 1.0110), gravity(-190, 1.0110)}
	falls := []detect.Event{gravity(-240, 1.0135), gravity(-190, 1.0110)}
	cold := []detect.Event{gravity(-60, 1.0110), gravity(-1, 1.0110)}
	tests := []struct {
		name  string
		lines [][]detect.Event
		beer  []sent
		want  batch.Verdict
		says  string
	}{
		{"stood, then cooled", [][]detect.Event{{hops(-300)}, warm, {crash(-180)}, cold}, []sent{{-400, 14}, {-180, 2}},
			batch.Yes, "and it stood when it was cooled on Mon 2 Mar"},
		{"cooled in the midst of it", [][]detect.Event{{hops(-300)}, falls, {crash(-180)}, cold}, []sent{{-400, 14}, {-180, 2}},
			batch.Unknown, "but it was cooled on Mon 2 Mar"},
		{"cooled in the midst of it, and nobody logged it", [][]detect.Event{{hops(-300)}, falls, cold}, []sent{{-400, 14}, {-100, 2}},
			batch.Unknown, "before it was shown to stand"},
		{"no curve from before", [][]detect.Event{{hops(-300)}, {crash(-180)}, cold}, []sent{{-400, 14}, {-180, 2}}, batch.Unknown, "wakes in a warm package"},
		{"a forced test with its hops ended here", [][]detect.Event{{hops(-300)}, falls, {crash(-180), line("forced", at(-20), map[string]float64{"hops": 1.0108}, nil)}, cold},
			[]sent{{-400, 14}, {-180, 2}}, batch.Yes, "ended here"},
		{"a forced test says that there is more", [][]detect.Event{{hops(-300)}, falls, {crash(-180), line("forced", at(-20), map[string]float64{"hops": 1.0090}, nil)}, cold},
			[]sent{{-400, 14}, {-180, 2}}, batch.Unknown, "before it was shown to stand"},
		{"a forced test without the hops", [][]detect.Event{{hops(-300)}, falls, {crash(-180), line("forced", at(-20), map[string]float64{"limit": 1.0110}, nil)}, cold},
			[]sent{{-400, 14}, {-180, 2}}, batch.Unknown, "before it was shown to stand"},
		{"something was added after the forced test", [][]detect.Event{{hops(-300)}, falls, {
			line("forced", at(-200), map[string]float64{"hops": 1.0108}, nil), line("add", at(-195), nil, map[string]string{"what": "fruit"}), crash(-180),
		}, cold}, []sent{{-400, 14}, {-180, 2}}, batch.Unknown, "before it was shown to stand"},
		{"warmed again until it stood", [][]detect.Event{{hops(-500), crash(-400), line("rest", at(-300), map[string]float64{"setpoint": 18}, nil)}, warm, {crash(-180)}, cold},
			[]sent{{-600, 14}, {-400, 2}, {-300, 18}, {-180, 2}}, batch.Yes, "and it stood when it was cooled on Mon 2 Mar"},
		{"sent from cold to colder", [][]detect.Event{{hops(-400), crash(-300)}, warm, {crash(-180)}, cold}, []sent{{-500, 14}, {-300, 3}, {-180, 1}},
			batch.Unknown, "before it was shown to stand"},
		{"sent down in two steps", [][]detect.Event{{hops(-400), crash(-300)}, warm, {crash(-180)}, cold}, []sent{{-500, 14}, {-300, 12}, {-179, 2}},
			batch.Yes, "and it stood when it was cooled on Mon 2 Mar"},
		{"hopped in the cold", [][]detect.Event{warm, {crash(-180), hops(-120)}, cold}, []sent{{-400, 14}, {-180, 2}}, batch.Unknown, "was not seen to stand warm"},
		{"never cooled since the hops", [][]detect.Event{{hops(-300)}, cold}, []sent{{-400, 14}}, batch.Yes, "it has stood since"},
		{"it falls still", [][]detect.Event{{hops(-300)}, warm, {crash(-180), gravity(-60, 1.0110), gravity(-1, 1.0090)}}, []sent{{-400, 14}, {-180, 2}},
			batch.No, "it still falls"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := logged(line("pitch", at(-700), map[string]float64{"gravity": 1.0594}, nil))
			for i, b := range tt.beer {
				end := 0.0
				if i+1 < len(tt.beer) {
					end = tt.beer[i+1].hours
				}
				for h := b.hours; h < end; h++ {
					r.Take(detect.Reading{Tank: "FV3", Probe: "well-3", Quantity: detect.Temperature, Time: at(h), Value: b.celsius})
				}
			}
			for _, lines := range tt.lines {
				for _, e := range lines {
					r.Log(e)
				}
			}
			c := condition(t, r.At(at(0)), batch.PackagePoint, "gravity-stable")
			assert.Equal(t, tt.want, c.State(), c.Evidence)
			assert.Contains(t, c.Evidence, tt.says)
		})
	}
}

// What was seen where the beer came from counts, and so do the liters that its hops went into.
func TestABeerStoodInTheTankItCameFrom(t *testing.T) {
	gravity := func(hours float64) detect.Event {
		return line("gravity", at(hours), map[string]float64{"value": 1.0110}, nil)
	}
	crash := line("crash", at(-180), map[string]float64{"setpoint": 2}, nil)
	for where, moved := range map[string]float64{"cooled there": -100, "cooled here": -185} {
		from := logged(
			line("pitch", at(-700), map[string]float64{"gravity": 1.0594, "volume": 2000}, nil),
			line("dry-hop", at(-300), map[string]float64{"mass": 16000}, map[string]string{"kind": "cold"}),
			line("transfer", at(moved), map[string]float64{"volume": 1500}, map[string]string{"to": "BT1"}),
		)
		rng := rand.New(rand.NewPCG(3, 5))
		for h := -260.0; h < moved && h < -180; h += 0.25 {
			from.Take(detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: at(h), Value: 1.0110 + 0.0003*rng.NormFloat64()})
		}
		to := batch.NewRecord("BT1", detect.Settings{BeerLiters: 1800}, batch.Limits{})
		if moved > -180 {
			from.Log(crash)
		} else {
			crash.Tank = "BT1"
			to.Log(crash)
		}
		to.From(from, at(moved), 1500)
		for _, e := range []detect.Event{gravity(-60), gravity(-1)} {
			e.Tank = "BT1"
			to.Log(e)
		}
		b := to.At(at(0))
		c := condition(t, b, batch.PackagePoint, "gravity-stable")
		assert.Equal(t, batch.Yes, c.State(), "%s: %s", where, c.Evidence)
		assert.Contains(t, c.Evidence, "and it stood when it was cooled", where)
		assert.InDelta(t, 8, *b.Figures.HopGramsPerLiter, 0.01, where)
	}
}

// Two gravities by hand bound a fall to half a point in two days, which is too much for 14 warm days in a can; a fall of 0.8
// is too much by itself.
func TestThePackageTellsDoubtFromFall(t *testing.T) {
	fell := func(fall float64) batch.Condition {
		return condition(t, logged(
			line("pitch", at(-300), map[string]float64{"gravity": 1.0484}, nil),
			line("gravity", at(-49), map[string]float64{"value": 1.0100 + fall}, nil),
			line("gravity", at(-1), map[string]float64{"value": 1.0100}, nil),
			line("co2", at(-1), map[string]float64{"value": 2.55 * 1.9635}, nil),
		).At(at(0)), batch.PackagePoint, "package-pressure")
	}
	still, falls := fell(0), fell(0.0008)
	assert.Equal(t, batch.Unknown, still.State(), still.Evidence)
	assert.Contains(t, still.Evidence, "it is the doubt of the curve that is too much, not what it fell")
	assert.Contains(t, still.Settles, "a forced test")
	assert.Equal(t, batch.No, falls.State(), falls.Evidence)
}
