package batch

import "time"

// StageName is where in its life a batch is.
type StageName string

// The stages, in the order of a batch.
const (
	StageUnknown   StageName = "unknown"
	Fermenting     StageName = "fermenting"
	AtTerminal     StageName = "at-terminal-gravity"
	Resting        StageName = "diacetyl-rest"
	Cooling        StageName = "cooling"
	Cold           StageName = "cold"
	OnHops         StageName = "on-hops"
	FermentingAnew StageName = "fermenting-again"
	Packaging      StageName = "packaging"
	EmptyTank      StageName = "empty"
)

// Title is the stage in words, as everything that spile tells people of it has them.
func (n StageName) Title() string {
	switch n {
	case AtTerminal:
		return "at terminal gravity"
	case Resting:
		return "on its diacetyl rest"
	case Cooling:
		return "being cooled"
	case OnHops:
		return "on hops"
	case FermentingAnew:
		return "fermenting again"
	case Packaging:
		return "being packaged"
	case Fermenting, Cold, EmptyTank:
		return string(n)
	case StageUnknown:
	}
	return "stage not known"
}

// Stage is where a batch is, since when, and why spile thinks so.
type Stage struct {
	Name  StageName `json:"name"`
	Title string    `json:"title"` // for people: "on hops"
	Since time.Time `json:"since,omitzero"`
	Why   string    `json:"why"`
	Sure  bool      `json:"sure"` // the log says so; else it is read off the curves
}

// Proposal is a line that the log seems to lack: a guess, with the line that would confirm it.
type Proposal struct {
	Text  string            `json:"text"`  // "this looks like a crash begun at 02:10, setpoint about 14.5 degC; confirm?"
	Event string            `json:"event"` // what to log
	Time  time.Time         `json:"time"`
	Field map[string]string `json:"fields,omitempty"`
}
