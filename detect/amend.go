package detect

import (
	"fmt"
	"slices"
	"time"
)

// acts are the lines of the log since this batch began, kept so that one that
// comes late, or puts another right, finds its place.
type acts struct {
	Opening book    // as the first of them found it
	Lines   []Event `json:",omitempty"` // in the order heard
}

// What a line that comes late may still explain (common practice).
const (
	actsKept   = 400             // of one batch; of older ones only what they said of the tank
	lateAfter  = 5 * time.Minute // from the act to its line: written after the fact
	nearOnset  = 3 * time.Hour   // of an act to what it explains
	beforehand = time.Hour       // by which a late line may be off
)

// keep notes a line. A pitch begins anew, for what was before it is another beer's.
func (a *acts) keep(e Event, before book) {
	if len(a.Lines) == 0 || e.Name == "pitch" && !a.behind(e) {
		a.Opening, a.Lines = before, nil
	}
	a.Lines = append(a.Lines, e)
}

// forget lets the oldest line go where there are too many; what it said of the
// tank is then how the others found it.
func (t *Tank) forget() {
	a := &t.state.Acts
	if len(a.Lines) <= actsKept {
		return
	}
	oldest := a.Lines[0]
	if slices.ContainsFunc(InForce(a.Lines), func(e Event) bool { return e.Name == oldest.Name && e.Time.Equal(oldest.Time) }) {
		a.Opening = t.written(oldest)
	}
	a.Lines = slices.Delete(a.Lines, 0, 1)
}

// written is the book that such lines make of what the first of those kept found.
func (t *Tank) written(lines ...Event) book {
	shadow := NewTank(t.name, t.settings)
	shadow.state.Book, shadow.state.Hops.AskedFor = t.state.Acts.Opening, t.state.Hops.AskedFor
	for _, act := range lines {
		shadow.record(act)
	}
	return shadow.state.Book
}

// behind tells whether something was logged already that was done after this.
func (a *acts) behind(e Event) bool {
	return slices.ContainsFunc(a.Lines, func(other Event) bool { return other.Time.After(e.Time) })
}

// amend takes in a line that puts another out of force, or that was done before
// others that are logged already: the book is written anew in the order of what
// was done. What was told is not taken back; what no longer holds returns now,
// with the log as its reason.
func (t *Tank) amend(e Event) []Finding {
	was := t.state.Book
	inForce := InForce(t.state.Acts.Lines)
	slices.SortStableFunc(inForce, func(a, b Event) int { return a.Time.Compare(b.Time) })
	t.state.Book = t.written(inForce...)
	out := append(t.probesPutRight(e, inForce), t.amended(e, was)...)
	if e.Name == "gravity" {
		out = append(out, t.readByHand(e)...)
	}
	return append(out, t.handsPutRight(e)...)
}

// probesPutRight moves the probe that a line is about, and the one that it was about until it was put right, to where the
// newest of the lines in force has it.
func (t *Tank) probesPutRight(e Event, inForce []Event) []Finding {
	var out []Finding
	for _, line := range t.state.Acts.Lines {
		if line.Name != "probe" { // a line's name costs two hashes
			continue
		}
		itself := line.Line() == e.Line()
		if !itself && (e.replaces() == "" || !e.means(line)) {
			continue
		}
		now := Event{Name: "probe", Arrived: e.Arrived, Words: map[string]string{"id": line.Word("id"), "state": "in"}}
		for _, other := range inForce {
			if other.Name == "probe" && other.Word("id") == line.Word("id") {
				now.Words["state"] = other.Word("state")
			}
		}
		p := t.state.Probes[line.Word("id")]
		if itself || p != nil && p.Out != (now.Word("state") == "out") {
			out = append(out, t.moveProbe(now)...)
		}
	}
	return out
}

// amended lets begin anew what the book's change touches.
func (t *Tank) amended(e Event, was book) []Finding {
	b, why := t.state.Book, "the log was put right: "+e.Name
	var out []Finding
	if b.HasSetpoint != was.HasSetpoint || b.Setpoint != was.Setpoint {
		out = append(out, t.noSetpoint()...)
		if b.HasSetpoint {
			out = append(out, t.setpoint(b.Setpoint, b.SetAt)...)
		}
	}
	if !b.Since.Equal(was.Since) || b.Empty != was.Empty || b.Working && !was.Working {
		out = append(append(out, t.handAnswered(e.Arrived, why)...), t.endVerdict(e.Arrived, why)...)
		t.state.Hands = hands{}
	}
	if !b.Hopped.Equal(was.Hopped) {
		t.hopFloats(was)
	}
	if b.Gas != was.Gas || b.HeldKPa != was.HeldKPa || b.Empty != was.Empty || movesGas(e.Name) {
		t.restartBalances()
		t.movedGas(e)
	}
	if f := t.state.Finish; !f.Since.IsZero() && !slices.ContainsFunc(InForce(t.state.Acts.Lines), func(act Event) bool { return act.Name == f.Act && act.Time.Equal(f.Since) }) {
		out = append(out, t.finished(e.Arrived, why)...)
	}
	return out
}

// explained ends what a line about gas, written after the fact, explains: a
// rise of pressure that begins about when the gas was moved. It must be asked
// before the line is taken in. What goes on without it is called again.
func (t *Tank) explained(e Event) []Finding {
	switch e.Name {
	case "gas", "seal", "rouse", "vent":
	default:
		return nil
	}
	if e.Arrived.Sub(e.Time) < lateAfter || !t.risesFrom(e.Time) {
		return nil
	}
	why := fmt.Sprintf("log: %s at %s", e.Name, t.clock(e.Time))
	var out []Finding
	if t.state.Head.Rising {
		t.state.Head.Rising = false
		out = append(out, Finding{Alarm: PressureRise, Time: e.Arrived, Summary: fmt.Sprintf("%s: the rise of head pressure is explained (%s)", t.name, why)})
	}
	for name, f := range t.state.Floats {
		if !t.faulty(name) && f.Score >= t.gravityNeeded() {
			return out // a float saw it too
		}
	}
	return append(out, t.verdictOver(e.Arrived, why)...)
}

// risesFrom tells whether some gauge's surplus of CO2 began about a moment.
func (t *Tank) risesFrom(at time.Time) bool {
	for _, b := range t.state.Balances {
		if made, since := b.made(); made > 0 && at.After(since.Add(-nearOnset)) && at.Before(since.Add(beforehand)) {
			return true
		}
	}
	for _, c := range t.state.Gauges {
		began := c.Rise.Onset.Add(-gaugeBehind)
		if c.Rise.Depth > 0 && at.After(began.Add(-nearOnset)) && at.Before(began.Add(beforehand)) {
			return true
		}
	}
	return false
}
