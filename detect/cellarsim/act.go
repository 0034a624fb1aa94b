package cellarsim

import (
	"fmt"
	"time"

	"spile/detect"
)

// Act is something that happens to a tank at a time after the cellar's start.
//
// An act takes effect at the end of the step in which it falls. One before the start is history: the tank already
// stands as it left it, so it is only told, and its log message arrives at the start.
type Act struct {
	At       time.Duration
	Do       Deed
	Unlogged bool          // nobody writes it down
	Told     time.Duration // how long after the act its log message comes
}

// Deed is what an act does. The deeds of people come with the line that they write into the cellar log; what befalls a
// tank by itself (Creep, CoolingFails, ProbeSticks and others) has none.
type Deed interface {
	do(r *rig)
	entry() *entry
}

// entry is the log line of a deed.
type entry struct {
	name    string
	amounts map[string]float64
	words   map[string]string
}

// silent is part of every deed that leaves no line in the log.
type silent struct{}

func (silent) entry() *entry { return nil }

// noted is part of every deed that leaves the tank as it is.
type noted struct{}

func (noted) do(*rig) {}

// line begins a log line. Figures that are zero are left out: nobody measured them.
func line(name string, amounts map[string]float64) *entry {
	for field, value := range amounts {
		if value == 0 {
			delete(amounts, field)
		}
	}
	return &entry{name: name, amounts: amounts, words: map[string]string{}}
}

// say adds a word to the line; an empty one is left out.
func (e *entry) say(field, word string) *entry {
	if word != "" {
		e.words[field] = word
	}
	return e
}

// event is the log line as the cellar tells it.
func (e *entry) event(tank string, at, arrived time.Time) *detect.Event {
	return &detect.Event{Tank: tank, Name: e.name, Time: at, Arrived: arrived, Amounts: e.amounts, Words: e.words}
}

// aimed is a deed that befalls one probe.
type aimed interface{ probe() string }

// figured is a deed with figures that can be wrong. A flaw says which and what would do; empty is none.
type figured interface{ flaw() string }

// check says why an act cannot be.
func (a Act) check(probes map[string]bool) error {
	if a.Do == nil {
		return fmt.Errorf("it does nothing; give it a deed")
	}
	if a.Told < 0 {
		return fmt.Errorf("it is told %s before it happens", -a.Told)
	}
	if f, ok := a.Do.(figured); ok && f.flaw() != "" {
		return fmt.Errorf("%T: %s", a.Do, f.flaw())
	}
	if at, ok := a.Do.(aimed); ok && !probes[at.probe()] {
		return fmt.Errorf("the tank has no probe %q", at.probe())
	}
	return nil
}
