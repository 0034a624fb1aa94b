package detect

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
)

// Line is the short name of a line of the log, by which a later one corrects it or strikes it out.
func (e Event) Line() string {
	sum := sha256.Sum256([]byte(e.Tank + "\n" + e.Identity()))
	return hex.EncodeToString(sum[:4])
}

// replaces is the line that an event puts out of force, by its short name or its id; empty: none.
func (e Event) replaces() string {
	if e.Name == "strike" {
		return e.Word("line")
	}
	return e.Word("corrects")
}

// Struck lists the lines of a tank's log, by their short names, that a later one corrects or strikes out. They stay in
// the journal and are shown, and they count no more. A strike that is struck out itself strikes nothing.
func Struck(log []Event) map[string]bool {
	if !slices.ContainsFunc(log, func(e Event) bool { return e.replaces() != "" }) {
		return nil
	}
	written := slices.Clone(log)
	slices.Reverse(written)
	slices.SortStableFunc(written, func(a, b Event) int { return b.Arrived.Compare(a.Arrived) })
	struck := map[string]bool{}
	for i, e := range written { // the newest first
		if e.replaces() == "" || struck[e.Line()] {
			continue
		}
		if j := slices.IndexFunc(written[i+1:], func(old Event) bool { return e.means(old) }); j >= 0 {
			struck[written[i+1+j].Line()] = true
		}
	}
	return struck
}

// means tells whether an older line is the one that e puts out of force.
func (e Event) means(old Event) bool {
	name := e.replaces()
	return name == old.Line() || name == old.ID || name == old.Identity()
}

// Replaced finds the line of a log that an event means to put out of force. An event that puts none out of force needs
// none.
func Replaced(log []Event, e Event) (Event, error) {
	name := e.replaces()
	if name == "" {
		return Event{}, nil
	}
	for _, old := range log {
		if e.means(old) {
			return old, nil
		}
	}
	return Event{}, refused(ReasonBadField, "%s: no line %q stands in the log of %s: its lines and their names stand in `spile report %s`",
		e.Name, shortened(name), e.Tank, e.Tank)
}

// InForce is a log without the lines that were struck out and without the strikes themselves.
func InForce(log []Event) []Event {
	struck := Struck(log)
	counts := func(e Event) bool { return len(struck) == 0 || !struck[e.Line()] } // a line's name costs two hashes
	out := make([]Event, 0, len(log))
	for _, e := range log {
		if e.Name != "strike" && counts(e) {
			out = append(out, e)
		}
	}
	return out
}
