package detect

import (
	"fmt"
	"slices"
	"time"
)

// probeState is how a probe speaks.
type probeState struct {
	HeardAt time.Time // arrival of its newest message
	Habit   time.Duration
	Heard   int
	Outage  time.Duration // the newest gap, where it was told as silence
	Silent  bool
	Out     bool // taken out of the tank by the log

	Celsius gate // its own temperature, where it measures one
}

// How long a probe may keep silent: so many times its own habit, and never
// less than the floor, for steel eats radio (common practice).
const (
	silentHabits = 3
	silentFloor  = 45 * time.Minute
	habitKnown   = 3 // messages until a habit can be told ...
	habitLearned = 6 // ... and until the widest gap is no longer taken for it, ...
	habitYoung   = 2 // ... until then a probe may be silent so many times longer: one of those may have come twice
)

// heard notes that a probe spoke, late or not.
func (t *Tank) heard(r Reading) []Finding {
	p := t.state.Probes[r.Probe]
	if p == nil {
		p = &probeState{}
		t.state.Probes[r.Probe] = p
	}
	// Several quantities of one message arrive together and say nothing of the habit.
	if gap := r.Arrived.Sub(p.HeardAt); p.Heard == 0 || gap > 0 {
		p.learn(gap)
		p.HeardAt = r.Arrived
	}
	if !p.Silent {
		return nil
	}
	p.Silent = false
	return []Finding{{
		Alarm: ProbeSilent, Probe: r.Probe, Time: r.Arrived,
		Summary:  t.ofProbe(r.Probe, "is heard again"),
		Evidence: Evidence{Probe: r.Probe, Outside: t.settings.IsOutside(r.Probe)},
	}}
}

// learn follows the usual gap between messages: quickly up, for a false cry
// costs more than an hour, slowly down. The first few may have been sent twice,
// or late, so that the widest gap counts. An outage is no habit, but two in a
// row, with no word between, are how the probe speaks.
func (p *probeState) learn(gap time.Duration) {
	p.Heard++
	before := p.Outage
	p.Outage = 0
	switch {
	case p.Heard < 2 || gap > 24*time.Hour:
	case p.Silent:
		p.Outage = gap
		if before > 0 {
			p.Habit = max(p.Habit, min(gap, before))
		}
	case p.Heard <= habitLearned:
		p.Habit = max(p.Habit, gap)
	case gap > p.Habit:
		p.Habit += (gap - p.Habit) / 4
	default:
		p.Habit -= (p.Habit - gap) / 64
	}
}

// allowed is how long the probe may keep silent.
func (p *probeState) allowed() time.Duration {
	usually := max(silentHabits*p.Habit, silentFloor)
	if p.Heard <= habitLearned {
		return habitYoung * usually
	}
	return usually
}

// speaks tells whether the probe is in the tank and not missed.
func (p *probeState) speaks() bool { return !p.Silent && !p.Out }

// silence finds the probes that should have spoken.
func (t *Tank) silence(at time.Time) []Finding {
	var overdue []string // few, if any: so they alone are put in order
	for name, p := range t.state.Probes {
		if p.speaks() && p.Heard >= habitKnown && at.Sub(p.HeardAt) > p.allowed() {
			overdue = append(overdue, name)
		}
	}
	slices.Sort(overdue)
	for _, name := range overdue { // before any is told: the last thermometers may fall silent together
		t.state.Probes[name].Silent = true
	}
	var out []Finding
	for _, name := range overdue {
		since := t.state.Probes[name].HeardAt
		out = append(out, Finding{
			Alarm: ProbeSilent, Probe: name, Active: true, Time: at, Onset: since,
			Summary:  t.missed(name, at),
			Evidence: Evidence{Probe: name, Outside: t.settings.IsOutside(name), SilentSince: &since},
		})
	}
	return out
}

// ofProbe is a sentence about a probe; one that is outside has no tank to begin with.
func (t *Tank) ofProbe(name, what string) string {
	if t.settings.IsOutside(name) {
		return fmt.Sprintf("barometer %s (%s) %s", name, t.name, what)
	}
	return fmt.Sprintf("%s: probe %s %s", t.name, name, what)
}

// missed says since when a probe is silent, and what that comes to.
func (t *Tank) missed(name string, at time.Time) string {
	p := t.state.Probes[name]
	if t.settings.IsOutside(name) {
		return t.ofProbe(name, "has said nothing since "+t.clock(p.HeardAt)+"; the tanks are watched on, without it")
	}
	return fmt.Sprintf("%s: nothing heard from probe %s since %s; it usually speaks every %s%s",
		t.name, name, t.clock(p.HeardAt), Spell(p.Habit), t.unwatched(name, at))
}

// unwatched says what nobody sees while a probe is silent.
func (t *Tank) unwatched(probe string, at time.Time) string {
	return t.lastGauge(probe) + t.lastThermometer(probe, at)
}

// lastGauge says so where no other gauge tells the head pressure: nothing is known of over-pressure and vacuum then.
func (t *Tank) lastGauge(probe string) string {
	if t.state.Balances[probe] == nil {
		return ""
	}
	for name := range t.state.Balances {
		if p := t.state.Probes[name]; p != nil && p.speaks() {
			return ""
		}
	}
	return "; no other gauge is heard: " + headUnwatched
}

// headUnwatched is what it comes to that no gauge is heard.
const headUnwatched = "nobody watches the head pressure, read it at the tank"

// lastThermometer says so where no other one is heard.
func (t *Tank) lastThermometer(probe string, at time.Time) string {
	if !t.state.Probes[probe].Celsius.Seen || t.settings.At[probe] == Head {
		return ""
	}
	for name, p := range t.state.Probes {
		if _, heard := p.Celsius.asOf(at, thermometerLost); heard && p.speaks() && t.settings.At[name] != Head {
			return ""
		}
	}
	return "; no other thermometer is heard: read this tank's by hand"
}

// taken says that nobody waits for a probe's word.
func (t *Tank) taken(name string) string {
	if t.settings.IsOutside(name) {
		return t.ofProbe(name, "was taken away (log: probe)")
	}
	return t.ofProbe(name, "is out of the tank (log: probe)")
}

// moveProbe follows a probe in or out of the tank. One that is out is judged
// by nobody until it is put in again.
func (t *Tank) moveProbe(e Event) []Finding {
	name := e.Word("id")
	p := t.state.Probes[name]
	if p == nil {
		p = &probeState{}
		t.state.Probes[name] = p
	}
	was, out := *p, t.leaveLone(name, e.Arrived)
	switch p.Out = e.Word("state") == "out"; {
	case p.Out && was.Silent: // nobody waits for its word any more
		p.Silent = false
		out = append(out, Finding{
			Alarm: ProbeSilent, Probe: name, Time: e.Arrived, Summary: t.taken(name),
			Evidence: Evidence{Probe: name, Outside: t.settings.IsOutside(name)},
		})
	case was.Out && !p.Out: // it need not have spoken in its box
		p.HeardAt = Later(p.HeardAt, e.Arrived)
	}
	delete(t.state.Floats, name)
	delete(t.state.Drift.Aside, name)  // it may hang elsewhere now
	if t.state.Balances[name] != nil { // a gauge's zero is its own
		t.state.Head.Zero, t.state.Head.Aired = 0, 0
	}
	if name == t.state.Head.Gone.Probe {
		out = append(out, t.goneAnswered(e.Arrived, "log: probe "+name)...)
	}
	delete(t.state.Balances, name)
	delete(t.state.Gauges, name) // one that is out bears no float out, and contradicts none
	if p.Out {
		out = append(out, t.witnessesGone(name, e.Arrived)...)
	}
	return out
}
