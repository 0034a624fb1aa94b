package batch

import (
	"strings"
	"time"
)

// Verdict answers a hold point: go on, do not, or nobody can tell yet.
type Verdict string

// The verdicts.
const (
	Yes     Verdict = "yes"
	No      Verdict = "no"
	Unknown Verdict = "unknown"
)

// The hold points.
const (
	CrashPoint   = "crash"
	DryHopPoint  = "dry-hop"
	PackagePoint = "package"
)

// HoldPoint is a place where a brewer stops and asks before going on.
type HoldPoint struct {
	Name       string      `json:"name"`     // one of the three
	Question   string      `json:"question"` // as a person asks it: "May this beer be cooled?"
	Verdict    Verdict     `json:"verdict"`  // yes where every condition is met, no where one is not
	Next       bool        `json:"next"`     // it is the one that comes next in this stage
	At         time.Time   `json:"at"`       // the moment it is judged for
	Conditions []Condition `json:"conditions"`
	Follows    []string    `json:"follows,omitempty"` // what going on would lead to, in words
	Caution    string      `json:"caution,omitempty"` // to be read before anybody acts on it
}

// Condition is one thing that must hold before going on.
type Condition struct {
	Name     string `json:"name"`              // short and fixed: "gravity-stable"
	Title    string `json:"title"`             // for people: "Gravity has stood for two days"
	Met      *bool  `json:"met"`               // nil: unknown
	Evidence string `json:"evidence"`          // what was read, in words
	Settles  string `json:"settles,omitempty"` // what would settle it, where it is not met or unknown
}

// State is Met as a word: yes, no or unknown.
func (c Condition) State() Verdict {
	switch {
	case c.Met == nil:
		return Unknown
	case *c.Met:
		return Yes
	}
	return No
}

// met, notMet and unknown make the three kinds of condition.
func met(name, title, evidence string) Condition {
	yes := true
	return Condition{Name: name, Title: title, Met: &yes, Evidence: evidence}
}

func notMet(name, title, evidence, settles string) Condition {
	no := false
	return Condition{Name: name, Title: title, Met: &no, Evidence: evidence, Settles: settles}
}

func unknown(name, title, evidence, settles string) Condition {
	return Condition{Name: name, Title: title, Evidence: evidence, Settles: settles}
}

// Lacking names the conditions that are not met or not known, in words; empty where all are met.
func (p HoldPoint) Lacking() string {
	var no, open []string
	for _, c := range p.Conditions {
		switch c.State() {
		case No:
			no = append(no, lower(c.Title))
		case Unknown:
			open = append(open, lower(c.Title))
		case Yes:
		}
	}
	var out []string
	if len(no) > 0 {
		out = append(out, "Not met: "+strings.Join(no, "; ")+".")
	}
	if len(open) > 0 {
		out = append(out, "Not known: "+strings.Join(open, "; ")+".")
	}
	return strings.Join(out, " ")
}

// verdict is yes where all is met, no where something is not, else unknown.
func verdict(conditions []Condition) Verdict {
	out := Yes
	for _, c := range conditions {
		switch c.State() {
		case No:
			return No
		case Unknown:
			out = Unknown
		case Yes:
		}
	}
	return out
}
