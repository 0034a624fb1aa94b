package alert

import (
	"cmp"
	"slices"
	"time"

	"spile/detect"
)

// Options are what a Watch needs to know before it begins.
type Options struct {
	Site    string                     // part of every incident's id
	Default detect.Settings            // of a tank that the config does not name
	Tanks   map[string]detect.Settings // by name; these are there from the start, the others as they speak
	Tuning  map[detect.Alarm]Tuning    // what the brewer changed in the catalogue
	Policy  Policy                     // who is told
}

// Tuning changes one alarm's entry in the catalogue. What is nil stays as it is.
type Tuning struct {
	OnDelay      *time.Duration
	OffDelay     *time.Duration
	OutOfService bool // shown, never told
}

// Watch holds every tank and steps its alarms. Its methods take the arrival of what they are told, which never goes
// back; each first runs the minutes that have passed until then, as Advance does, so that a replay ticks as the live
// cellar did. Delays and shelvings end on a whole minute.
//
// A Watch is not safe for use by several goroutines at once.
type Watch struct {
	options Options
	newTank func(name string, s detect.Settings) tank
	at      time.Time // the newest time that was told; every minute up to it was run
	cellar  *vessel   // of no tank: holds link-lost and cooling-plant
	vessels []*vessel // by name

	cooling     cooling
	heads       trail // head pressure where gas is joined
	annunciator *annunciator
	met         []meeting // while a step is told: alarms that another spile has too
}

// NewWatch begins a watch over the tanks that the options name.
func NewWatch(o Options) *Watch {
	return newWatch(o, func(name string, s detect.Settings) tank { return detect.NewTank(name, s) })
}

func newWatch(o Options, newTank func(string, detect.Settings) tank) *Watch {
	w := &Watch{options: o, newTank: newTank, cellar: &vessel{}}
	w.cooling.Samples, w.heads = trail{}, trail{}
	w.annunciator = newAnnunciator(o.Policy, w.words())
	for name := range o.Tanks {
		w.vessel(name)
	}
	return w
}

// Take hears a reading. A late one shows its tank that the probe lives, and is judged no further.
func (w *Watch) Take(r detect.Reading) []Transition {
	out := w.Advance(r.Arrived)
	v := w.vessel(r.Tank)
	v.known.hear(r.Arrived)
	found := v.tank.Take(r)
	if w.settings(r.Tank).IsOutside(r.Probe) {
		w.spread(r, v)
	} else {
		v.still.take(r)
	}
	if len(found) == 0 {
		return out
	}
	v.hear(w.nameJoined(v, found), w.at)
	return append(out, w.tell(w.settle(v))...)
}

// spread lets the other tanks hear of the air outside.
func (w *Watch) spread(r detect.Reading, own *vessel) {
	for _, v := range w.vessels {
		if v != own {
			v.tank.Air(r)
		}
	}
}

// pour lets the tank that beer goes to hear of it.
func (w *Watch) pour(e detect.Event, own *vessel) {
	if i, found := w.place(e.Word("to")); found && w.vessels[i] != own {
		w.vessels[i].tank.Receive(e)
	}
}

// Log hears a line of the cellar log. One that takes the last of the beer out closes the batch's alarms.
func (w *Watch) Log(e detect.Event) []Transition {
	out := w.Advance(e.Arrived)
	v := w.vessel(e.Tank)
	v.known = acquaintance{Heard: passingMost, Said: e.Arrived} // what people log is no passing tank
	found := v.tank.Log(e)
	status := v.tank.Status()
	var steps []Transition
	switch left := batchLeft(e, status); {
	case left:
		steps = w.close(v, "the log says "+e.Name)
		w.annunciator.forget(e.Tank)
	case e.Name == "pitch":
		v.packaged = time.Time{}
		w.annunciator.forget(e.Tank)
	}
	if e.Name == "transfer" {
		w.pour(e, v)
	}
	if e.Name == "package" {
		v.packaged = detect.Later(v.packaged, e.Time)
	}
	w.annunciator.work(e, status, w.at)
	if e.Name == "tell" {
		w.annunciator.ask(e)
	}
	v.hear(w.nameJoined(v, found), w.at)
	return append(out, w.tell(append(steps, w.settle(v)...))...)
}

// Advance runs every whole minute up to and including to, once. The first call only sets the clock.
func (w *Watch) Advance(to time.Time) []Transition {
	to = to.UTC()
	if w.at.IsZero() {
		w.at = to
	}
	var out []Transition
	for next := w.nextMinute(); !next.After(to); next = w.nextMinute() {
		w.at = next
		for _, v := range w.vessels {
			v.hear(w.nameJoined(v, v.tank.Tick(next)), w.at)
		}
		if next.Equal(next.Truncate(samplePace)) {
			w.sample()
		}
		w.cool()
		out = append(out, w.tell(w.settleAll())...)
		w.remind()
		w.forgetPassing()
	}
	w.at = detect.Later(w.at, to)
	return out
}

// nextMinute is the first whole minute that was not run.
func (w *Watch) nextMinute() time.Time { return w.at.Truncate(time.Minute).Add(time.Minute) }

// Started says that spile starts at this time, having heard nothing since the last call. No tick is made up for that
// stretch, no probe's silence and no delay runs through it; shelvings end as promised.
func (w *Watch) Started(at time.Time) []Transition {
	at = at.UTC()
	if w.at.IsZero() || !at.After(w.at) {
		return w.Advance(at)
	}
	from := w.at
	w.at = at
	for _, v := range w.all() {
		if v.tank != nil {
			v.tank.Away(from, at)
		}
		for _, c := range v.conditions {
			if c.Holds || c.Standing.Active {
				c.Changed = c.Changed.Add(at.Sub(from)) // neither a delay nor a lost link counts the time away
			}
		}
	}
	return w.tell(w.settleAll())
}

// LinkLost says that the probes are out of reach since this time. The detail goes into the alarm's words.
func (w *Watch) LinkLost(at time.Time, detail string) []Transition {
	out := w.Advance(at)
	f := detect.Finding{Alarm: detect.LinkLost, Active: true, Time: w.at, Onset: w.at}
	if c := w.cellar.find(detect.LinkLost, ""); c != nil && c.Holds {
		f.Onset = c.Finding.Onset
	}
	f.Summary = "no probe can be heard since " + w.clock(f.Onset)
	if detail != "" {
		f.Summary += ": " + detail
	}
	w.cellar.hear([]detect.Finding{f}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// LinkFound says that the probes are within reach again. The time between was nobody's silence.
func (w *Watch) LinkFound(at time.Time) []Transition {
	out := w.Advance(at)
	c := w.cellar.find(detect.LinkLost, "")
	if c == nil || !c.Holds {
		return out
	}
	for _, v := range w.vessels {
		v.tank.Away(c.Changed, w.at)
	}
	w.cellar.hear([]detect.Finding{{Alarm: detect.LinkLost, Time: w.at}}, w.at)
	return append(out, w.tell(w.settleAll())...)
}

// LinkDown tells whether the link to the broker is held to be lost, told or not.
func (w *Watch) LinkDown() bool {
	c := w.cellar.find(detect.LinkLost, "")
	return c != nil && c.Holds
}

// Notices gives what is to be told by the policy since it was last asked. They belong to the transitions given meanwhile
// and are to be committed with them.
func (w *Watch) Notices() []Notice { return w.annunciator.take() }

// tell lets the policy hear of steps that happen now.
func (w *Watch) tell(steps []Transition) []Transition {
	w.annunciator.hear(w.at, steps)
	return append(steps, w.meet()...)
}

// remind lets the policy look at the clock.
func (w *Watch) remind() {
	w.annunciator.tick(w.at, w.newest)
	for _, v := range w.vessels {
		if w.annunciator.waitsFor(v.name) {
			status := v.tank.Status()
			w.annunciator.answer(status, v.still, w.at)
			w.annunciator.inquire(status, w.at)
		}
	}
	w.annunciator.report(w.at, w.View)
}

// newest is a step with the figures of now.
func (w *Watch) newest(t Transition) Transition {
	if _, c, err := w.open(t.ID); err == nil {
		t.Summary, t.Evidence = c.Finding.Summary, c.Finding.Evidence
	}
	return t
}

// words are those of the cellar's clock and units.
func (w *Watch) words() Words {
	return Words{Zone: w.options.Default.Zone, Display: w.options.Default.Display}
}

// vessel finds a tank by name, or begins to watch it.
func (w *Watch) vessel(name string) *vessel {
	i, found := w.place(name)
	if found {
		return w.vessels[i]
	}
	v := &vessel{name: name, tank: w.newTank(name, w.settings(name))}
	w.vessels = slices.Insert(w.vessels, i, v)
	return v
}

// place is where a tank stands by its name, or would, and whether it is there.
func (w *Watch) place(name string) (int, bool) {
	return slices.BinarySearchFunc(w.vessels, name, func(v *vessel, name string) int { return cmp.Compare(v.name, name) })
}

// settings are those of the config, or the default.
func (w *Watch) settings(name string) detect.Settings {
	if s, ok := w.options.Tanks[name]; ok {
		return s
	}
	return w.options.Default
}

// all is every vessel, the cellar first because its alarms stand for those of the tanks.
func (w *Watch) all() []*vessel { return append([]*vessel{w.cellar}, w.vessels...) }
