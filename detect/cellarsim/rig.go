package cellarsim

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"time"

	"spile/detect"
)

// rig is a Tank at work: its vessel, its probes, and the acts still to come.
type rig struct {
	tank    string
	start   time.Time
	vessel  vessel
	sensors []*sensor
	script  []Act
	before  view // the vessel where its step began
	post    *post
	scratch []detect.Reading
}

// view is what a probe can see of a vessel.
type view struct {
	extract, celsius, absolute, atmosphere float64
}

func (v *vessel) view() view { return view{v.extract, v.celsius, v.head.absolute(), v.atmosphere} }

// between is the view at a share of the way from a to b.
func (a view) between(b view, share float64) view {
	mix := func(x, y float64) float64 { return x + share*(y-x) }
	return view{
		mix(a.extract, b.extract), mix(a.celsius, b.celsius), mix(a.absolute, b.absolute), mix(a.atmosphere, b.atmosphere),
	}
}

// newRig sets a tank up and tells its history. The tank has been checked.
func newRig(t Tank, plan Plan, weather *rand.Rand, rng *rand.Rand, p *post) *rig {
	midnight := plan.Start.Sub(plan.Start.Truncate(24 * time.Hour))
	r := &rig{tank: t.Name, start: plan.Start, post: p}
	r.vessel = t.vessel(newBarometer(plan.Weather, weather), midnight)
	for _, probe := range t.Probes {
		r.sensors = append(r.sensors, newSensor(probe, child(rng)))
	}
	r.script = slices.Clone(t.Script)
	slices.SortStableFunc(r.script, func(a, b Act) int { return cmp.Compare(a.At, b.At) })
	r.act(0)
	return r
}

// advance runs the tank to the end of a step: what the probes see on the way, then the acts.
func (r *rig) advance(to time.Duration) {
	from := r.vessel.now
	r.vessel.advance(to)
	after := r.vessel.view()
	for _, s := range r.sensors {
		for ; s.due < to; s.due += s.Interval {
			if s.due < s.silentTill {
				continue
			}
			share := float64(s.due-from) / float64(to-from)
			s.sample(r.before.between(after, share), s.due)
			r.send(s)
		}
	}
	r.act(to)
}

// act does what the script says up to a moment, and keeps the view from which the next step begins.
func (r *rig) act(to time.Duration) {
	for len(r.script) > 0 && r.script[0].At <= to {
		a := r.script[0]
		r.script = r.script[1:]
		if a.At >= 0 {
			a.Do.do(r)
		}
		r.tell(a)
	}
	r.before = r.vessel.view()
}

// tell posts the log line of an act.
func (r *rig) tell(a Act) {
	e := a.Do.entry()
	if e == nil || a.Unlogged {
		return
	}
	at := max(0, a.At+a.Told)
	arrived := r.moment(at)
	r.post.put(at, Arrival{Arrived: arrived, Event: e.event(r.tank, r.moment(a.At), arrived)})
}

// send posts what a probe has just measured, in as many messages as its shape and its radio make of it.
func (r *rig) send(s *sensor) {
	arrivals, n := s.radio.send(s.due)
	own := r.moment(s.due + s.Clock)
	r.scratch = s.readings(r.tank, own, r.scratch[:0])
	for _, at := range arrivals[:n] {
		a := Arrival{Arrived: r.moment(at), Readings: r.scratch, Shape: s.Shape, Battery: s.Battery, Signal: s.Signal}
		if s.Shape != BareNumber {
			r.post.put(at, a)
			continue
		}
		for i := range r.scratch {
			r.scratch[i].Time = a.Arrived
			a.Readings = r.scratch[i : i+1]
			r.post.put(at, a)
		}
	}
}

// moment turns a time of the model into the world's, in whole milliseconds.
func (r *rig) moment(at time.Duration) time.Time { return r.start.Add(at.Truncate(time.Millisecond)) }

// sensor finds a probe by its name; the script has been checked against the names.
func (r *rig) sensor(name string) *sensor {
	for _, s := range r.sensors {
		if s.Name == name {
			return s
		}
	}
	panic("cellarsim: no probe " + name + " in tank " + r.tank)
}
