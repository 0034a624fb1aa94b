package batch

import (
	"fmt"
	"time"

	"spile/detect"
	"spile/detect/caution"
	"spile/detect/stable"
)

// holdPoints judges all three for the story's end; of an empty tank nobody asks.
func (s *story) holdPoints() []HoldPoint {
	if s.stage().Name == EmptyTank {
		return []HoldPoint{}
	}
	out := []HoldPoint{s.crashPoint(), s.dryHopPoint(), s.packagePoint()}
	next := s.next()
	for i := range out {
		out[i].At, out[i].Next = s.at, out[i].Name == next
	}
	return out
}

// next is the hold point that this stage leads to; empty where none does.
func (s *story) next() string {
	hop, _ := s.hopped()
	switch s.stage().Name {
	case OnHops:
		if crash, cooled := s.cooled(); cooled && crash.Time.After(hop.Time) {
			return PackagePoint // cooled with the hops still in
		}
		return CrashPoint
	case Fermenting, AtTerminal, Resting, FermentingAnew:
		return CrashPoint
	case Cooling, Cold:
		if !hop.Time.IsZero() {
			return PackagePoint
		}
		return DryHopPoint
	case Packaging:
		return PackagePoint
	case StageUnknown, EmptyTank:
	}
	return ""
}

// crashPoint asks whether the beer may be cooled. Before the hops that is about what primary fermentation left; after
// them it is the gate that spoils beer: diacetyl that creep has made and cold yeast cannot take up.
func (s *story) crashPoint() HoldPoint {
	p := HoldPoint{Name: CrashPoint, Question: "May this beer be cooled?", Caution: caution.PulledFlat}
	title, after := "Gravity has stood for two days", "gravity stood"
	since := s.worked()
	if hop, hopped := s.hopped(); hopped {
		p.Question = "May this beer be cooled, now that it has been on hops?"
		title, since, after = "Gravity has stood for two days since the hops", detect.Later(since, hop.Time), "gravity stood after the hops"
	}
	gravity, st := s.stable(title, since)
	p.Conditions = []Condition{gravity, s.quiet(st), s.attenuated(), s.diacetyl("A forced diacetyl test was passed since it stood", s.stoodSince(st, since), after)}
	p.Follows = s.cooledTo(coldestUsual)
	p.Verdict = verdict(p.Conditions)
	return p
}

// coldestUsual is where a cold crash usually ends, degC (common practice: 0 to 4).
const coldestUsual = 2.0

// dryHopPoint asks whether hops may go in cold.
func (s *story) dryHopPoint() HoldPoint {
	p := HoldPoint{Name: DryHopPoint, Question: "May this beer be hopped?", Caution: caution.Hops}
	gravity, st := s.stillStable()
	p.Conditions = []Condition{s.cold(), s.yeastOff(), gravity, s.quiet(st), s.open()}
	p.Follows = s.creepForced()
	p.Verdict = verdict(p.Conditions)
	return p
}

// stillStable is the condition that gravity stands on: shown over the last two days, or shown as it was cooled and not
// seen to fall since.
func (s *story) stillStable() (Condition, standing) {
	c, st := s.stable("Gravity stands still", s.worked())
	crash, cooled := s.cooled()
	if st.State == stable.Shown || st.Falling || !cooled {
		return c, st
	}
	before := s.asOf(crash.Time).stands(s.worked())
	if before.State != stable.Shown {
		return c, st
	}
	said := fmt.Sprintf("it stood as it was cooled (%s); no fall is seen since", before.Said)
	return met(c.Name, c.Title, said), before
}

// asOf is the same batch at an earlier moment, in the tank where it was then.
func (s *story) asOf(at time.Time) *story {
	if s.before != nil && at.Before(s.source.at) {
		return s.before.asOf(at)
	}
	return s.story(at)
}

// packagePoint asks whether the beer may go into its package.
func (s *story) packagePoint() HoldPoint {
	p := HoldPoint{Name: PackagePoint, Question: "May this beer be packaged?", Caution: caution.Packages}
	title, since, what := "Gravity has stood for two days", s.worked(), "gravity stood"
	if hop, hopped := s.hopped(); hopped {
		title, since, what = "Gravity has stood for two days since the hops", detect.Later(since, hop.Time), "gravity stood after the hops"
	}
	gravity, st := s.stableWarm(title, since)
	p.Conditions = []Condition{
		gravity, s.quiet(st), s.diacetyl("A forced diacetyl test was passed since yeast last worked", s.stoodSince(st, since), what),
		s.carbonated(), s.holds(st), s.labelled(),
	}
	p.Verdict = verdict(p.Conditions)
	return p
}
