package alert

import (
	"encoding/json"
	"slices"
	"time"

	"spile/detect"
)

// Handover is what the spile that speaks lets another know, which watches the same cellar and stands by: the alarms
// that are open, and who was told what of them. With it the other goes on under the same ids.
type Handover struct {
	Alarms []HandedAlarm    `json:"alarms,omitempty"`
	Lines  map[string]*line `json:"lines,omitempty"` // by webhook
}

// HandedAlarm is one open alarm of the other spile.
type HandedAlarm struct {
	Transition                   // the newest step
	Raised     time.Time         `json:"raised"`
	Parties    map[string]*party `json:"parties,omitempty"` // by webhook
	Met        bool              `json:"met,omitempty"`     // it was found here too
}

// is tells whether two spiles mean the same alarm. What befalls one machine alone is not the other's.
func (h HandedAlarm) is(tank string, a detect.Alarm, probe string) bool {
	return h.Tank == tank && h.Alarm == a && h.Probe == probe
}

// theirsKept is for how long after the other fell silent an alarm that begins here is taken for the one it had open:
// two machines come to the same call some seconds apart, and by a reading or two at most.
const theirsKept = 10 * time.Minute

// otherSpile is why an alarm goes on under another id, and who did what was done there.
const otherSpile = "the other spile"

// Renamed begins the why of a step that ends an incident because it goes on under the other's id.
const Renamed = otherSpile + " calls it "

// IsOwn tells of a message that is about the machine that sends it, and not about the cellar: it is told whoever speaks.
func IsOwn(body []byte) bool {
	var m struct{ Alarm detect.Alarm }
	return json.Unmarshal(body, &m) == nil && own(m.Alarm)
}

// own tells of an alarm that is about this machine and not about the cellar.
func own(a detect.Alarm) bool {
	switch a {
	case WebhookFailing, JournalDisk, JournalStopped, JournalDamaged, InfluxBehind, InfluxMissed:
		return true
	}
	return false
}

// Handover gives what another spile needs to know to go on.
func (w *Watch) Handover() Handover {
	var h Handover
	for _, v := range w.all() {
		for _, c := range v.conditions {
			if c.ID == "" || own(c.Finding.Alarm) {
				continue
			}
			handed := HandedAlarm{Transition: c.last(v.name), Raised: c.Raised}
			handed.Summary, handed.Evidence = "", detect.Evidence{} // the other has its own, and these change all the time
			if th := w.annunciator.known(c.ID); th != nil {
				handed.Parties = th.Parties
			}
			h.Alarms = append(h.Alarms, handed)
		}
	}
	h.Lines = w.annunciator.state.Lines
	return h
}

// last is the state of an open alarm as a step that leads nowhere.
func (c *condition) last(tank string) Transition {
	t := c.incident(tank).transition()
	t.Time = c.Raised
	return t
}

// Adopt takes what another spile has handed over: the ids of its alarms, what people did there, and who was told.
// It is for the one that is silent; what that one was about to tell of these alarms is the other's to tell.
func (w *Watch) Adopt(h Handover, at time.Time) []Transition {
	out := w.Advance(at)
	w.annunciator.state.Theirs, w.annunciator.state.TheirsAt = slices.Clone(h.Alarms), w.at
	for i, handed := range h.Alarms {
		v := w.cellar
		if handed.Tank != "" {
			v = w.vessel(handed.Tank)
		}
		if c := v.find(handed.Alarm, handed.Probe); c != nil && c.ID != "" {
			w.annunciator.state.Theirs[i].Met = true
			out = append(out, w.take(v, c, handed)...)
		}
	}
	w.annunciator.overtake(h)
	return out
}

// take lets an open alarm go on under the other's id, and in the state that people there gave it.
func (w *Watch) take(v *vessel, c *condition, h HandedAlarm) []Transition {
	var out []Transition
	if c.ID != h.ID {
		out = w.rename(v, c, h)
	}
	switch state := c.Standing.State(); {
	case h.To == Acknowledged && (state == Unacknowledged || state == Returned):
		out = append(out, w.tell(w.step(v, c, Acknowledge, otherSpile, ""))...)
	case h.To == Shelved && state != Shelved && h.Until.After(w.at) && !c.Standing.Removed:
		if t, ok := c.move(c.Standing.After(Shelve), false, w.at, w.options.Site, v.name); ok {
			c.Until, c.Why = h.Until.UTC(), h.Why
			t.By, t.Why, t.Until = otherSpile, c.Why, c.Until
			out = append(out, w.tell([]Transition{t})...)
		}
	}
	w.annunciator.thread(c.last(v.name)).Parties = w.annunciator.kept(h.Parties)
	return out
}

// rename ends an incident in the record and begins it again under the other's id. Nobody is told.
func (w *Watch) rename(v *vessel, c *condition, h HandedAlarm) []Transition {
	before := c.last(v.name)
	before.Time, before.To, before.Why = w.at, Normal, Renamed+h.ID
	w.annunciator.forgetThread(c.ID)
	c.ID, c.Raised, c.Nth = h.ID, h.Raised, 0
	after := c.last(v.name)
	after.Time, after.From, after.Why = w.at, Normal, otherSpile+" calls it so"
	return []Transition{before, after}
}

// theirs finds the other's alarm that one which begins here is. It is meant once.
func (w *Watch) theirs(tank string, c *condition) (HandedAlarm, bool) {
	s := &w.annunciator.state
	for i, h := range s.Theirs {
		if h.is(tank, c.Finding.Alarm, c.Finding.Probe) && !h.Met {
			s.Theirs = slices.Clone(s.Theirs)
			s.Theirs[i].Met = true
			return h, true
		}
	}
	return HandedAlarm{}, false
}

// begin gives a step that raises an alarm the other's id where that one has raised it already.
func (w *Watch) begin(v *vessel, c *condition, t Transition) Transition {
	h, known := w.theirs(v.name, c)
	if !known {
		return t
	}
	c.ID, c.Raised, c.Nth = h.ID, h.Raised, 0
	t.ID = h.ID
	w.met = append(w.met, meeting{v, c, h})
	return t
}

// meeting is an alarm that began here after the other had it.
type meeting struct {
	vessel    *vessel
	condition *condition
	handed    HandedAlarm
}

// meet takes over what the other knows of alarms that have just begun here.
func (w *Watch) meet() []Transition {
	var out []Transition
	met := w.met
	w.met = nil
	for _, m := range met {
		if !w.Speaks() || m.handed.To != Unacknowledged {
			out = append(out, w.take(m.vessel, m.condition, m.handed)...)
		}
	}
	return out
}

// Speak says whether this spile is the one that tells people. One that is silent judges all the same and keeps what it
// would tell, until it may or until it is overtaken.
func (w *Watch) Speak(yes bool, at time.Time) []Transition {
	out := w.Advance(at)
	s := &w.annunciator.state
	if s.Silent == !yes {
		return out
	}
	s.Silent = !yes
	s.TheirsAt = w.at
	w.annunciator.flush(w.at, false)
	return out
}

// Lease notes a number that both spiles know and that is another after each loss of the broker. That the broker is lost
// is told by both, since neither can ask the other, and this makes it one alarm.
func (w *Watch) Lease(number string, at time.Time) []Transition {
	out := w.Advance(at)
	w.annunciator.state.Lease = number
	return out
}

// agreed gives an alarm that neither can ask the other about an id that both come to.
func (w *Watch) agreed(c *condition, t Transition) Transition {
	lease := w.annunciator.state.Lease
	if lease == "" || c.Finding.Alarm != detect.LinkLost {
		return t
	}
	c.ID = derive(w.options.Site, string(detect.LinkLost), "lease", lease)
	t.ID = c.ID
	return t
}

// Speaks tells whether this spile tells people.
func (w *Watch) Speaks() bool { return !w.annunciator.state.Silent }

// known finds the thread of an incident, nil where there is none.
func (a *annunciator) known(id string) *thread {
	i := slices.IndexFunc(a.state.Threads, func(th *thread) bool { return th.Last.ID == id })
	if i < 0 {
		return nil
	}
	return a.state.Threads[i]
}

func (a *annunciator) forgetThread(id string) {
	a.state.Threads = slices.DeleteFunc(a.state.Threads, func(th *thread) bool { return th.Last.ID == id })
}

// kept copies what the other told, as far as there are such webhooks here.
func (a *annunciator) kept(theirs map[string]*party) map[string]*party {
	out := map[string]*party{}
	for _, hook := range a.policy.Webhooks {
		if p := theirs[hook.Name]; p != nil {
			q := *p
			out[hook.Name] = &q
		}
	}
	return out
}

// overtake lets what the other has told, or still holds, take the place of what waits here.
func (a *annunciator) overtake(h Handover) {
	for _, hook := range a.policy.Webhooks {
		if l := h.Lines[hook.Name]; l != nil {
			q := *l
			a.state.Lines[hook.Name] = &q
		}
	}
	a.hush()
}

// tells tells whether this spile is the one that tells of an incident: where another speaks, of its own machine's alone.
func (a *annunciator) tells(th *thread) bool { return !a.state.Silent || own(th.Last.Alarm) }

// hush drops what nobody needs to be told any more, where this spile is silent: what began and ended meanwhile, and what
// the other has told the end of.
func (a *annunciator) hush() {
	a.state.Threads = slices.DeleteFunc(a.state.Threads, func(th *thread) bool {
		return th.Last.To == Normal && !own(th.Last.Alarm) && !slices.ContainsFunc(a.state.Theirs, func(h HandedAlarm) bool { return h.ID == th.Last.ID })
	})
}

// age forgets what the other had open, once it cannot be meant any more by what begins here.
func (a *annunciator) age(at time.Time) {
	if !a.state.Silent && len(a.state.Theirs) > 0 && at.Sub(a.state.TheirsAt) > theirsKept {
		a.state.Theirs = nil
	}
}
