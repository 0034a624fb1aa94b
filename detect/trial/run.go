package trial

import (
	"math"
	"time"

	"spile/detect"
	"spile/detect/cellarsim"
)

// run is one tank on its way through its days.
type run struct {
	*scene
	truth   truth
	journal *journal
	tank    *detect.Tank
	gate    gate
	tick    time.Time
	calls   []*call
	float   []detect.Reading // on time, for the rules and the oracle
	heard   map[string]time.Time
	silent  map[string]time.Duration // how long the probe had been silent when its silence was called
	hands   time.Time
	asked   bool // for a gravity by hand
}

// newRun makes a scene ready to be run.
func (s *scene) newRun(telling map[detect.Alarm]Telling) *run {
	r := &run{
		scene: s, journal: newJournal(), tank: detect.NewTank(tankName, s.told), gate: gate{telling: telling},
		tick: begins(), heard: map[string]time.Time{}, silent: map[string]time.Duration{},
	}
	r.truth.scene = s
	s.plan.Observe = r.truth.observe
	return r
}

// play runs a scene and judges it.
func (s *scene) play(index int, telling map[detect.Alarm]Telling) (outcome, error) {
	r := s.newRun(telling)
	cellar, err := cellarsim.New(s.plan, s.Rand)
	if err != nil {
		return outcome{}, err
	}
	end := begins().Add(s.end)
	if err := cellar.Each(end, r.hear); err != nil {
		return outcome{}, err
	}
	r.advance(end)
	return r.outcome(index), nil
}

// hear takes one message as it arrives.
func (r *run) hear(a cellarsim.Arrival) error {
	r.advance(a.Arrived)
	told := a.Event != nil && a.Event.Name == "crash" // as spile is set up; of all else from before it hears nothing
	if a.Arrived.Before(begins().Add(r.comes)) && !told {
		return nil
	}
	if a.Event != nil {
		r.found(r.tank.Log(*a.Event), a.Arrived)
		r.hands = r.tank.Status().HandsOnUntil
	}
	for _, reading := range a.Readings {
		r.heard[reading.Probe] = a.Arrived
		r.misread(&reading)
		if !r.journal.commit(&reading) {
			continue
		}
		if reading.Quantity == detect.Gravity && !reading.Late {
			r.float = append(r.float, reading)
		}
		r.found(r.tank.Take(reading), a.Arrived)
	}
	return nil
}

// misread gives the well's thermometer its lag behind the beer.
func (r *run) misread(reading *detect.Reading) {
	if reading.Probe != wellName {
		return
	}
	value := reading.Value + r.truth.wellBehind(reading.Time.Sub(begins()))
	reading.Value = math.Round(value*10) / 10
	reading.Raw = reading.Value
}

// advance runs every whole minute before a time.
func (r *run) advance(to time.Time) {
	for ; r.tick.Before(to); r.tick = r.tick.Add(time.Minute) {
		r.found(r.tank.Tick(r.tick), r.tick)
		r.settle(r.tick)
		r.morning(r.tick)
	}
}

// morning is at 8:00: who reads by hand does so until two mornings after the hops, and then whenever it is asked for.
func (r *run) morning(now time.Time) {
	at := now.Sub(begins())
	if r.reader == nil || at < r.comes || at%(24*time.Hour) != 0 || at >= r.hopped && at < r.hopped+handWaits || at > r.hopped+handUsual && !r.asked {
		return
	}
	sg, ok := r.reads(at, *r.reader)
	if !ok {
		return
	}
	r.found(r.tank.Log(detect.Event{Tank: tankName, Name: "gravity", Time: now, Arrived: now, Amounts: map[string]float64{"value": sg}}), now)
}

// found takes what the tank found, and tells what has no delay.
func (r *run) found(f []detect.Finding, at time.Time) {
	if len(f) == 0 {
		return
	}
	for _, found := range f {
		if found.Alarm == detect.GravityCheck {
			r.asked = found.Active
		}
	}
	r.gate.hear(f)
	r.settle(at)
}

func (r *run) settle(at time.Time) {
	for _, c := range r.gate.settle(at, r.hands) {
		if c.finding.Alarm == detect.ProbeSilent {
			r.silent[c.finding.Probe] = at.Sub(r.heard[c.finding.Probe])
		}
		r.calls = append(r.calls, c)
	}
}
