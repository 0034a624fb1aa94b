package batch

import (
	"fmt"
	"time"

	"spile/detect/stable"
)

// At is the batch as it stood at a moment.
func (r *Record) At(at time.Time) Batch {
	s := r.story(at)
	b := Batch{
		Tank: r.tank, At: at, Began: s.began, Stage: s.stage(),
		HoldPoints: s.holdPoints(), Passed: s.passed(), Figures: s.fullFigures(), Proposals: s.proposals(), Outlook: s.outlook(),
	}
	b.Beer = s.beer()
	if s.before != nil {
		b.From = s.before.tank
	}
	if !s.ended.IsZero() {
		b.Ended = &s.ended
	}
	b.Open = s.todo(b)
	return b
}

// Beer is the name of the beer in the tank at a moment; empty where nobody gave one.
func (r *Record) Beer(at time.Time) string { return r.story(at).beer() }

func (s *story) beer() string {
	e, _ := s.last("pitch")
	return e.Word("beer")
}

// passed are the hold points as they stood just before people went on.
func (s *story) passed() []HoldPoint {
	out := []HoldPoint{}
	if s.before != nil {
		out = s.before.passed()
	}
	for _, e := range s.here() {
		before := s.asOf(e.Time.Add(-time.Millisecond))
		var p HoldPoint
		switch e.Name {
		case "crash":
			p = before.crashPoint()
		case "dry-hop":
			if e.Word("kind") == "active" {
				continue
			}
			p = before.dryHopPoint()
		case "package":
			p = before.packagePoint()
		default:
			continue
		}
		p.At = e.Time
		out = append(out, p)
	}
	return out
}

// todo lists what is still to be done or known before the next hold point, in words.
func (s *story) todo(b Batch) []string {
	out := []string{}
	for _, p := range b.HoldPoints {
		if !p.Next {
			continue
		}
		for _, c := range p.Conditions {
			if c.State() != Yes && c.Settles != "" {
				out = append(out, fmt.Sprintf("%s: %s", c.Title, c.Settles))
			}
		}
	}
	for _, p := range b.Proposals {
		out = append(out, p.Text)
	}
	return out
}

// stoodSince is since when gravity has stood, as far back as it was ever shown in this batch since a moment: a float that
// shifts as beer is cooled begins anew, the beer does not.
func (s *story) stoodSince(st standing, since time.Time) time.Time {
	if st.State != stable.Shown {
		return time.Time{}
	}
	stood := st.Since
	for _, e := range s.lines {
		if e.Name != "crash" || !e.Time.After(since) {
			continue
		}
		if then := s.asOf(e.Time).stands(since); then.State == stable.Shown && then.Since.Before(stood) {
			return then.Since
		}
	}
	return stood
}
