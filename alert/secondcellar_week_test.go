package alert_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"spile/alert"
	"spile/detect"
)

// secondWeek is a week of a second tank, from some hours before its hops.
type secondWeek struct {
	*secondTank
	probes   []secondProbe
	settings detect.Settings
	calls    []alert.Transition
	drifted  int // the first minute in which the beer is 1 K over its setpoint
	sucked   int // the first, a day after the hops and later, in which the head is below the air's pressure
}

// secondProbe says what it reads every so many seconds.
type secondProbe struct {
	name   string
	every  int
	values func() map[detect.Quantity]float64
}

var secondStart = time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)

func (t *secondTank) between(low, high float64) float64 { return low + (high-low)*t.Float64() }
func (t *secondTank) ratio(low, high float64) float64   { return low * math.Pow(high/low, t.Float64()) }

// later is a minute after the hops.
func (t *secondTank) later(low, high float64) int { return t.hopped + int(60*t.between(low, high)) }

func (t *secondTank) does(minute int, do func()) {
	t.acts = append(t.acts, secondAct{at: minute, do: do})
}

func (t *secondTank) logs(minute int, name string, amounts map[string]float64) {
	at := secondStart.Add(time.Duration(minute) * time.Minute)
	t.acts = append(t.acts, secondAct{at: minute, log: &detect.Event{Tank: "FV1", Name: name, Time: at, Arrived: at, Amounts: amounts}})
}

func nearest(x, step float64) float64 { return math.Round(x/step) * step }

// newSecondWeek draws a tank, and hops that go into it under an open hatch.
func newSecondWeek(seed uint64, float, gauge bool) *secondWeek {
	t := &secondTank{Rand: rand.New(rand.NewPCG(seed, 77)), barometer: outside, valve: outside + 103, celsius: 14.4, setpoint: 14.4}
	t.beer = t.ratio(800, 6000)
	t.head = t.beer * t.between(0.05, 0.20)
	t.room, t.glycol = t.between(16, 24), t.between(0.8, 2)
	t.lag = t.ratio(1, 40)
	t.quickLag = t.lag / []float64{1, 10}[t.IntN(2)]
	t.topUp(t.between(40, 80))
	t.grams = holds(t.celsius) * t.kPa() * t.between(0.95, 1.02)
	t.hopped = 30 + t.IntN(36*60)
	t.woken, t.ramp, t.fade = float64(t.hopped)/60+t.between(24, 72), t.between(10, 24), t.between(15, 60)
	w := &secondWeek{secondTank: t, settings: detect.Settings{
		BeerLiters: nearest(t.beer, 100), HeadspaceLiters: nearest(t.head, 50), ReliefKPa: 103, Sealed: true,
	}}
	w.probes = append(w.probes, secondProbe{"well", 60 * (1 + t.IntN(5)), w.well})
	if float {
		every := int(t.ratio(300, 3600))
		w.probes = append(w.probes, secondProbe{"float", every, w.float(t.between(0.0002, 0.001), every)})
	}
	if gauge {
		w.probes = append(w.probes, secondProbe{"gauge", []int{10, 30, 60, 60, 120}[t.IntN(5)], w.gauge(t.IntN(2) == 0)})
	}
	t.logs(2, "crash", map[string]float64{"setpoint": 14.4})
	t.logs(t.hopped, "vent", nil)
	t.does(t.hopped, func() { t.opened = true })
	t.logs(t.hopped+3, "dry-hop", map[string]float64{"mass": nearest(t.beer*t.between(4, 12), 100)})
	closed, air, fill := t.hopped+10+t.IntN(90), t.between(0, 0.25), nearest(t.between(15, 60), 1)
	t.does(closed, func() {
		all := t.co2 + t.air
		t.opened, t.air, t.co2 = false, all*air, all*(1-air)
		if gauge {
			t.topUp(fill)
		}
	})
	if gauge {
		t.logs(closed+1, "seal", nil)
		t.logs(closed+2, "gas", map[string]float64{"pressure": fill})
	} else {
		t.valve = outside + t.between(2, 8)
	}
	return w
}

func (w *secondWeek) well() map[detect.Quantity]float64 {
	return map[detect.Quantity]float64{detect.Temperature: nearest(w.celsius+0.05*w.NormFloat64(), 0.1)}
}

// gauge reads against the air, or against what was sealed behind it at the factory.
func (w *secondWeek) gauge(sealedBehind bool) func() map[detect.Quantity]float64 {
	noise, offset := w.between(0.05, 0.3), w.between(-0.8, 0.8)
	return func() map[detect.Quantity]float64 {
		behind := w.barometer
		if sealedBehind {
			behind = outside
		}
		return map[detect.Quantity]float64{detect.Pressure: nearest(w.kPa()-behind+offset+noise*w.NormFloat64(), 0.1)}
	}
}

// float swims: white and slow noise, an offset that drifts, a temperature coefficient, hops that hang on it, wild values.
func (w *secondWeek) float(white float64, every int) func() map[detect.Quantity]float64 {
	slow, keep := w.between(0, 0.0003), math.Exp(-float64(every)/3600/w.between(0.5, 6))
	zero, drift, perKelvin := w.between(1.005, 1.021), w.between(-0.0001, 0.0001), w.between(-0.00012, 0.00012)
	hops, settling, now := w.between(0, 0.0035), w.between(8, 30), 0.0
	return func() map[detect.Quantity]float64 {
		now = now*keep + slow*math.Sqrt(1-keep*keep)*w.NormFloat64()
		sg := zero - 0.0039*w.eaten + drift*float64(w.minute)/1440 + perKelvin*(w.celsius-14.4) + now + white*w.NormFloat64()
		if h := float64(w.minute-w.hopped) / 60; h > 0 {
			sg += hops * math.Exp(-h/settling)
		}
		if w.Float64() < 0.002 {
			sg += w.between(-0.03, 0.03)
		}
		return map[detect.Quantity]float64{detect.Gravity: nearest(sg, 0.0001), detect.Temperature: nearest(w.celsius+0.1*w.NormFloat64(), 0.1)}
	}
}

// play lets the week pass, and hears what is called.
func (w *secondWeek) play() {
	watch := alert.NewWatch(alert.Options{Site: "second", Tanks: map[string]detect.Settings{"FV1": w.settings}})
	watch.Started(secondStart)
	for minute := range 7 * 24 * 60 {
		at := secondStart.Add(time.Duration(minute) * time.Minute)
		w.hear(watch.Advance(at))
		for _, a := range w.acts {
			if a.at == minute && a.log != nil {
				w.hear(watch.Log(*a.log))
			}
		}
		w.pass()
		if w.drifted == 0 && w.celsius > w.setpoint+1 {
			w.drifted = minute
		}
		if w.sucked == 0 && w.kPa() < w.barometer && minute > w.hopped+24*60 {
			w.sucked = minute
		}
		for second := minute * 60; second < minute*60+60; second++ {
			for _, p := range w.probes {
				if second%p.every == 0 {
					w.say(watch, p, secondStart.Add(time.Duration(second)*time.Second))
				}
			}
		}
	}
}

func (w *secondWeek) say(watch *alert.Watch, p secondProbe, at time.Time) {
	values := p.values()
	for _, q := range detect.Quantities() {
		if v, ok := values[q]; ok {
			w.hear(watch.Take(detect.Reading{Tank: "FV1", Probe: p.name, Quantity: q, Time: at, Arrived: at, Value: v, Raw: v}))
		}
	}
}

func (w *secondWeek) hear(steps []alert.Transition) {
	for _, s := range steps {
		if s.To == alert.Unacknowledged {
			w.calls = append(w.calls, s)
		}
	}
}

// first is the hour of the week in which an alarm was first called.
func (w *secondWeek) first(a detect.Alarm) (h float64, ok bool) {
	i := slices.IndexFunc(w.calls, func(s alert.Transition) bool { return s.Alarm == a })
	if i < 0 {
		return 0, false
	}
	return w.calls[i].Time.Sub(secondStart).Hours(), true
}

// onlyCalls fails where another alarm above low priority was called.
func (w *secondWeek) onlyCalls(t *testing.T, alarms ...detect.Alarm) {
	t.Helper()
	for _, s := range w.calls {
		if s.Priority != detect.Low && !slices.Contains(alarms, s.Alarm) {
			t.Errorf("called at hour %.1f, the hops being in at %.1f: %s", s.Time.Sub(secondStart).Hours(), float64(w.hopped)/60, s.Summary)
		}
	}
}
