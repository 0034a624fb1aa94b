package detect

import "time"

// Event is one line of the cellar log: what people did to a tank.
//
// Its identity is the ID its sender gave or, without one, (Tank, Name, Time,
// fields): the same event again is a repeat.
type Event struct {
	ID      string
	Tank    string
	Name    string // one of the logbook's, such as "dry-hop"
	Time    time.Time
	Arrived time.Time
	By      string             // who logged it, where known
	Amounts map[string]float64 // figures by field, in inside units
	Words   map[string]string  // texts by field
}

// Amount gives the figure of a field in its inside unit, and whether the event has it.
func (e Event) Amount(field string) (float64, bool) {
	v, ok := e.Amounts[field]
	return v, ok
}

// Word gives the text of a field, empty where the event lacks it.
func (e Event) Word(field string) string { return e.Words[field] }
