package detect

import (
	"fmt"
	"math"
	"time"

	"spile/detect/beer"
)

// hopCharge is the question whether hops went in that nobody wrote down: what a dry-hop does to a tank was seen, and the
// log has none. Nothing is judged otherwise for it; until somebody answers, the watch goes on as it was.
type hopCharge struct {
	Blown    bool      // as of the reading before
	BlownAt  time.Time // when the tank was last blown down
	Stepped  time.Time // the newest step of a float that was looked at
	Asked    time.Time // arrival of the question; zero: none stands
	AskedFor time.Time // the step that the newest question is about; zero: none, or the log has an answer
}

// When the question is put (common practice).
const (
	hopsAround   = 6 * time.Hour  // between the step and the opening; hops that are logged so near one another are one charge
	hopsQuestion = 48 * time.Hour // that it stands; later nobody remembers
	hopsAlone    = 0.25           // degP that a float must jump where no gauge tells of an opening
)

// perhapsHops asks about hops after each reading.
func (t *Tank) perhapsHops(r Reading) []Finding {
	q, blown := &t.state.Hops, t.state.Head.Blown
	if blown && !q.Blown {
		q.BlownAt = r.Time
	}
	q.Blown = blown
	if r.Quantity != Gravity {
		return nil
	}
	f := t.state.Floats[r.Probe]
	if f == nil || len(f.Points) < 2 || !f.Stepped.After(q.Stepped) || !f.Points[len(f.Points)-1].At.Equal(f.Stepped) {
		return nil
	}
	q.Stepped = f.Stepped
	if !q.Asked.IsZero() || !t.armed() || t.faulty(r.Probe) || t.hoppedAround(f.Stepped) {
		return nil
	}
	jump := f.Points[len(f.Points)-1].Plato - f.Points[len(f.Points)-2].Plato
	opened := !q.BlownAt.IsZero() && f.Stepped.Sub(q.BlownAt).Abs() < hopsAround
	if !opened && (len(t.state.Balances) > 0 || math.Abs(jump) < hopsAlone) {
		return nil
	}
	q.Asked, q.AskedFor = r.Arrived, f.Stepped
	saw := fmt.Sprintf("%s: gravity jumped by %.2f degP (%.1f points) in the hour of %s", r.Probe, jump, jump/beer.PlatoPerPoint, t.clock(f.Stepped))
	seen := []string{saw}
	if opened {
		seen = append(seen, "blown down at "+t.clock(q.BlownAt))
	}
	return []Finding{{
		Alarm: HopCharge, Active: true, Priority: Low, Time: r.Arrived, Onset: f.Stepped,
		Evidence: Evidence{Witnesses: seen},
		Summary:  fmt.Sprintf("%s: hops in about %s? The float jumped; log the dry-hop if so", t.name, t.clock(f.Stepped)),
	}}
}

// asked tells whether somebody was asked about hops that went in between two moments, and did not answer.
func (q *hopCharge) asked(after, until time.Time) bool {
	return q.AskedFor.After(after) && q.AskedFor.Before(until)
}

// hoppedAround tells whether the log has a dry-hop after a time, or so short before it that its hops may sink now.
func (t *Tank) hoppedAround(at time.Time) bool {
	hopped := t.state.Book.Hopped
	return !hopped.IsZero() && at.Sub(hopped) < unsettled*2
}

// hopsAnswered takes the question back: somebody logged what was done, or nobody will any more.
func (t *Tank) hopsAnswered(at time.Time, why string) []Finding {
	q := &t.state.Hops
	if q.Asked.IsZero() {
		return nil
	}
	q.Asked = time.Time{}
	return []Finding{{Alarm: HopCharge, Time: at, Summary: fmt.Sprintf("%s: no longer asked about hops (%s)", t.name, why)}}
}
