package batch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// Brew is an earlier batch of the same beer, in a line.
type Brew struct {
	Tank                string    `json:"tank"`
	Began               time.Time `json:"began"`
	OriginalGravity     *float64  `json:"original_gravity,omitempty"`
	FinalGravity        *float64  `json:"final_gravity,omitempty"` // as it left the tank
	AlcoholByVolume     *float64  `json:"alcohol_by_volume,omitempty"`
	ApparentAttenuation *float64  `json:"apparent_attenuation,omitempty"`
	DaysToTerminal      *float64  `json:"days_to_terminal,omitempty"` // from the pitch until gravity stood
	WarmestCelsius      *float64  `json:"warmest_celsius,omitempty"`
	HopContactHours     *float64  `json:"hop_contact_hours,omitempty"`
	GravityAtAge        *float64  `json:"gravity_at_age,omitempty"` // as old as the batch it is held against is now
}

// Brews are the batches of a beer that were pitched in this tank and have ended before a moment, oldest first; each is
// also read at an age.
func (r *Record) Brews(name string, before time.Time, age time.Duration) []Brew {
	var out []Brew
	pitches := slices.DeleteFunc(r.effective(before), func(e detect.Event) bool { return e.Name != "pitch" })
	for i, e := range pitches {
		end := before
		if i+1 < len(pitches) {
			end = pitches[i+1].Time.Add(-time.Millisecond)
		}
		s := r.story(end)
		if e.Word("beer") != name || s.ended.IsZero() && i+1 == len(pitches) {
			continue
		}
		if !s.ended.IsZero() {
			s = r.story(s.ended.Add(-time.Millisecond))
		}
		out = append(out, s.brew(age))
	}
	return out
}

// brew sums a batch up.
func (s *story) brew(age time.Duration) Brew {
	f := s.fullFigures()
	b := Brew{
		Tank: s.tank, Began: s.began, OriginalGravity: f.OriginalGravity, FinalGravity: f.Gravity, AlcoholByVolume: f.AlcoholByVolume,
		ApparentAttenuation: f.ApparentAttenuation, HopContactHours: f.HopContactHours,
	}
	if days, ok := s.terminal(); ok {
		b.DaysToTerminal = &days
	}
	for _, celsius := range s.warmHours() {
		if b.WarmestCelsius == nil || celsius > *b.WarmestCelsius {
			b.WarmestCelsius = &celsius
		}
	}
	if sg, ok := s.readAt(s.began.Add(age)); ok {
		b.GravityAtAge = &sg
	}
	return b
}

// terminal is how many days after the pitch gravity first stood: before the first cooling, or by now.
func (s *story) terminal() (days float64, ok bool) {
	end := s.at
	for _, e := range s.lines {
		if e.Name == "crash" {
			end = e.Time
			break
		}
	}
	st := s.asOf(end).stands(s.began)
	if st.State != stable.Shown {
		return 0, false
	}
	return st.Since.Sub(s.began).Hours() / 24, true
}

// readAt is a float's gravity about a moment.
func (s *story) readAt(at time.Time) (float64, bool) {
	for _, points := range s.gravities(s.held(), s.at) {
		for _, p := range points {
			if p.At.Sub(at).Abs() <= 2*time.Hour {
				return p.Value, true
			}
		}
	}
	return 0, false
}

// Compare holds a report's batch against earlier ones of the same beer and fills in where it deviates from them.
func (r *Record) Compare(rep *Report, earlier []Brew) {
	rep.Earlier = earlier
	s := r.story(rep.At)
	now := s.brew(rep.At.Sub(rep.Began))
	say := func(what, unit string, slack float64, decimals int, of func(Brew) *float64) {
		if text := outside(what, unit, slack, decimals, of(now), earlier, of); text != "" {
			rep.Deviates = append(rep.Deviates, text)
		}
	}
	say("original gravity", "SG", 0.002, 4, func(b Brew) *float64 { return b.OriginalGravity })
	say("days until gravity stood", "days", 1, 1, func(b Brew) *float64 { return b.DaysToTerminal })
	say("warmest beer", "degC", 1.5, 1, func(b Brew) *float64 { return b.WarmestCelsius })
	if rep.Stage.Name == Fermenting {
		now.GravityAtAge = now.FinalGravity
		say("gravity at this age", "SG", 0.003, 4, func(b Brew) *float64 { return b.GravityAtAge })
		return
	}
	say("gravity", "SG", 0.002, 4, func(b Brew) *float64 { return b.FinalGravity })
	say("apparent attenuation", "%", 2, 1, func(b Brew) *float64 { return b.ApparentAttenuation })
	if rep.Figures.HopContactHours != nil && rep.Stage.Name != OnHops {
		say("hop contact", "h", 24, 0, func(b Brew) *float64 { return b.HopContactHours })
	}
}

// outside says that a figure lies outside what earlier batches had by more than some slack; empty where it does not, or
// where nobody can tell.
func outside(what, unit string, slack float64, decimals int, now *float64, earlier []Brew, of func(Brew) *float64) string {
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, b := range earlier {
		if v := of(b); v != nil {
			low, high, n = min(low, *v), max(high, *v), n+1
		}
	}
	if now == nil || n == 0 || *now >= low-slack && *now <= high+slack {
		return ""
	}
	return fmt.Sprintf("%s %.*f %s; the %d before had %.*f to %.*f", what, decimals, *now, unit, n, decimals, low, decimals, high)
}
