package batch

import (
	"fmt"
	"math"
	"time"

	"spile/detect"
	"spile/detect/beer"
	"spile/detect/stable"
)

// stable is the condition that gravity stands, by what was read since a moment.
func (s *story) stable(title string, since time.Time) (Condition, standing) {
	const name = "gravity-stable"
	st := s.stands(since)
	switch {
	case st.State == stable.Shown:
		return met(name, title, st.Said+"; it has stood since "+s.clock(st.Since)), st
	case st.State == stable.NotShown && st.Falling:
		return notMet(name, title, st.Said+": it still falls", "wait until it stands; a forced test tells how far it will go"), st
	case st.State == stable.NotShown:
		return notMet(name, title, st.Said+": not shown to stand", "wait, or read gravity by hand at least two days apart and log it"), st
	}
	if s.before != nil {
		if then := s.before.stands(since); then.State == stable.Shown {
			said := fmt.Sprintf("it stood as it left %s (%s); nobody has followed it since", s.before.tank, then.Said)
			return met(name, title, said), then
		}
	}
	settles := "two days of a float, or gravities by hand at least two days apart, logged"
	if hop, ok := s.hopped(); ok && !since.Before(hop.Time) {
		settles = "time, for hops settle on a float for a day or two; gravities by hand, two days apart since the hops, settle it sooner"
	}
	return unknown(name, title, st.Why, settles), st
}

// quiet is the condition that the watch holds no yeast to be at work again. An alarm takes its time to clear: where
// gravity has been shown to stand since its onset, that settles it.
func (s *story) quiet(st standing) Condition {
	const name, title = "no-refermentation", "No alarm of fermentation stands"
	if a, stands := s.standing(detect.Refermentation, s.at); stands {
		if st.State == stable.Shown && st.Since.After(a.Onset) {
			return met(name, title, fmt.Sprintf("the alarm of %s has not cleared yet, but gravity has stood since %s", s.clock(a.Raised), s.clock(st.Since)))
		}
		return notMet(name, title, s.own(a), "read the gauge, sample for gravity and diacetyl, and wait until it has worked itself out")
	}
	return met(name, title, "the watch has none on this tank")
}

// The range in which an end of fermentation is plausible where nobody said what to expect, % apparent attenuation
// (common practice).
const (
	leastAttenuation = 65
	mostAttenuation  = 90
)

// attenuated is the condition that gravity has come to where it was expected.
func (s *story) attenuated() Condition {
	const name, title = "attenuation", "Attenuation is where it was expected"
	f := s.figures()
	if f.Gravity == nil {
		return unknown(name, title, "no gravity is known", "read gravity by hand and log it")
	}
	said := "gravity " + s.gravity(*f.Gravity)
	if f.ApparentAttenuation != nil {
		said += fmt.Sprintf(", apparent attenuation %.0f %%", *f.ApparentAttenuation)
	}
	if f.ExpectedGravity != nil {
		over := (*f.Gravity - *f.ExpectedGravity) / point
		said += fmt.Sprintf(", expected %s (%s)", s.gravity(*f.ExpectedGravity), s.expectedHow())
		switch {
		case over > s.limits.AttenuationOver:
			return notMet(name, title, fmt.Sprintf("%s: %.1f points short", said, over), "wait, rouse or warm it; a forced fermentation test tells where it can end")
		case over < -s.under():
			return notMet(name, title, fmt.Sprintf("%s: %.1f points further", said, -over), "ask why before going on: a wild yeast, an enzyme, or an original gravity put wrong")
		}
		return met(name, title, said)
	}
	if f.ApparentAttenuation == nil {
		return unknown(name, title, said+", no original gravity and no expected end are logged", "log the pitch with gravity= and expected=, or a forced fermentation test")
	}
	if a := *f.ApparentAttenuation; a < leastAttenuation || a > mostAttenuation {
		return notMet(name, title, fmt.Sprintf("%s: outside the %d to %d %% of ordinary beers", said, leastAttenuation, mostAttenuation),
			"a forced fermentation test, or expected= at the pitch, tells whether it is right for this one")
	}
	return met(name, title, fmt.Sprintf("%s: within the %d to %d %% of ordinary beers; nobody logged what to expect of this one", said, leastAttenuation, mostAttenuation))
}

// creepMost is how far creep was measured to take a beer, points: 1.3 degP in five days at 20 degC (Kirkpatrick and
// Shellhammer, J. Agric. Food Chem. 2018, doi 10.1021/acs.jafc.8b03563; the figure in degP is derived).
const creepMost = 5.0

// under is how far below its expected end a beer may lie: hops take it further.
func (s *story) under() float64 {
	if _, hopped := s.hopped(); hopped {
		return s.limits.AttenuationUnder + creepMost
	}
	return s.limits.AttenuationUnder
}

// diacetyl is the condition that a forced test was passed since a moment and that none failed after it.
func (s *story) diacetyl(title string, since time.Time, what string) Condition {
	const name = "diacetyl"
	e, tested := s.last("vdk")
	switch {
	case !tested:
		return unknown(name, title, "no forced diacetyl test is logged", "a forced test, logged as vdk result=pass or result=fail")
	case e.Word("result") == "fail":
		return notMet(name, title, "the newest test, of "+s.clock(e.Time)+", failed", "let the yeast take it up, then test again")
	case since.IsZero():
		return unknown(name, title, "a test was passed on "+s.clock(e.Time)+", but that "+what+" is not shown", "when it is shown, a test after it")
	case e.Time.Before(since):
		return notMet(name, title, fmt.Sprintf("the test passed on %s came before %s (%s)", s.clock(e.Time), what, s.clock(since)), "test again")
	}
	return met(name, title, "passed on "+s.clock(e.Time))
}

// coldSlack is the error of an ordinary thermometer, K (common practice).
const coldSlack = 0.3

// cold is the condition that the beer is at or under the temperature for hops.
func (s *story) cold() Condition {
	limit := s.limits.DryHopCelsius
	name, title := "cold", "The beer is at or under "+s.celsius(limit)
	celsius, when, probe, ok := s.reading(detect.Temperature, s.held(), s.at)
	if ok && s.at.Sub(when) <= 2*time.Hour {
		said := fmt.Sprintf("%s reads %s", probe, s.celsius(celsius))
		if celsius <= limit+coldSlack {
			return met(name, title, said)
		}
		return notMet(name, title, said, "cool it first: yeast that is still awake works on what hops set free")
	}
	if e, logged := s.last("temperature"); logged && s.at.Sub(e.Time) <= 6*time.Hour {
		value, _ := e.Amount("value")
		if said := "by hand " + s.celsius(value) + " on " + s.clock(e.Time); value <= limit+coldSlack {
			return met(name, title, said)
		}
		return notMet(name, title, "by hand "+s.celsius(value), "cool it first: yeast that is still awake works on what hops set free")
	}
	return unknown(name, title, "no fresh temperature of the beer", "read it by hand and log it")
}

// yeastOff is the condition that yeast was taken off since the last cooling.
func (s *story) yeastOff() Condition {
	const name, title = "yeast-off", "The yeast is off"
	e, ok := s.last("yeast-off")
	crash, cooled := s.cooled()
	switch {
	case !ok:
		return unknown(name, title, "no yeast is logged off", "dump or harvest it, and log yeast-off")
	case cooled && e.Time.Before(crash.Time):
		return unknown(name, title, "taken off on "+s.clock(e.Time)+", before the cooling that let more of it settle", "take off what has settled, and log yeast-off")
	case !cooled:
		return unknown(name, title, "taken off on "+s.clock(e.Time)+", and no cooling is logged: more will settle", "cool it, take off what settles, log both")
	}
	return met(name, title, "logged on "+s.clock(e.Time))
}

// freshPressure is how old a gauge's word may be where somebody opens a port on it.
const freshPressure = 15 * time.Minute

// open is the condition that the head is near zero before anybody opens a port.
func (s *story) open() Condition {
	const name, title = "pressure", "The head is blown down before a port is opened"
	kPa, when, probe, ok := s.reading(detect.Pressure, s.held(), s.at)
	switch {
	case !ok:
		return unknown(name, title, "no gauge is heard", "bring it to zero at the tank, and prove it there")
	case s.at.Sub(when) > freshPressure:
		return unknown(name, title, fmt.Sprintf("%s was last heard on %s, at %s", probe, s.clock(when), s.pressure(kPa)), "bring it to zero at the tank, and prove it there")
	case kPa > s.limits.OpenKPa:
		return notMet(name, title, fmt.Sprintf("%s reads %s%s", probe, s.pressure(kPa), s.carbonation()), "blow it down slowly, and prove zero at the tank")
	}
	return met(name, title, fmt.Sprintf("%s reads %s; a gauge or its line may be blocked, so prove zero at the tank%s", probe, s.pressure(kPa), s.carbonation()))
}

// carbonation says what the beer holds, for those about to drop something into it.
func (s *story) carbonation() string {
	if f := s.figures(); f.CO2Volumes != nil {
		return fmt.Sprintf("; the beer holds about %.1f volumes of CO2", f.CO2Volumes.Value)
	}
	return ""
}

// carbonated is the condition that the CO2 in the beer is what the package wants.
func (s *story) carbonated() Condition {
	const name, title = "co2", "The CO2 in the beer is within its target"
	f, target := s.figures(), s.targetVolumes()
	switch {
	case f.CO2Volumes == nil && target == 0:
		return unknown(name, title, "neither the CO2 in the beer nor its target is known", "measure it and log co2, and log the pitch with co2=")
	case f.CO2Volumes == nil:
		return unknown(name, title, fmt.Sprintf("the target is %.2f volumes; nothing tells what the beer holds", target), "measure it and log co2")
	case target == 0:
		return unknown(name, title, fmt.Sprintf("%.2f volumes (%s); no target is known", f.CO2Volumes.Value, f.CO2How), "log the pitch with co2=, as co2=2.5vol")
	}
	said := fmt.Sprintf("%.2f volumes (%s), target %.2f", f.CO2Volumes.Value, f.CO2How, target)
	low, high := target-s.limits.VolumesSlack, target+s.limits.VolumesSlack
	const hand = "measure it and log co2"
	switch {
	case f.CO2Volumes.Low >= low && f.CO2Volumes.High <= high:
		return met(name, title, said)
	case f.CO2Volumes.High < low || f.CO2Volumes.Low > high:
		return notMet(name, title, fmt.Sprintf("%s: outside its %.2f to %.2f", said, low, high), "carbonate or let down, then measure")
	}
	return unknown(name, title, fmt.Sprintf("%s, give or take %.2f: too wide to tell", said, f.CO2Volumes.High-f.CO2Volumes.Value), hand)
}

// labelled is the condition that the alcohol is what the label says.
func (s *story) labelled() Condition {
	const name, title = "label", "Alcohol is what the label says"
	f, label := s.figures(), s.labelABV()
	switch {
	case label == 0:
		return unknown(name, title, "no label is known", "log the pitch with abv=")
	case f.OriginalOpen != "":
		return unknown(name, title, fmt.Sprintf("the label says %.1f %%; %s", label, f.OriginalOpen), "log what was added with extract=, or with gravity= and volume=; or a laboratory's alcohol")
	case f.AlcoholByVolume == nil:
		return unknown(name, title, fmt.Sprintf("the label says %.1f %%; original or present gravity is not known", label), "log the pitch with gravity=, and a gravity by hand")
	}
	abv := *f.AlcoholByVolume
	said := fmt.Sprintf("%.2f %% by gravity, give or take 0.2; the label says %.1f", abv, label)
	if math.Abs(abv-label) <= s.limits.LabelSlack {
		return met(name, title, said)
	}
	return notMet(name, title, fmt.Sprintf("%s, and %.1f points either side are common (27 CFR 7.65); local law decides", said, s.limits.LabelSlack),
		"a laboratory's alcohol, or another label")
}

// targetVolumes is the CO2 wanted in the package.
func (s *story) targetVolumes() float64 {
	if e, ok := s.last("pitch"); ok {
		if grams, given := e.Amount("co2"); given {
			return beer.Volumes(grams)
		}
	}
	return s.limits.TargetVolumes
}

// labelABV is the alcohol on the label.
func (s *story) labelABV() float64 {
	if e, ok := s.last("pitch"); ok {
		if abv, given := e.Amount("abv"); given {
			return abv
		}
	}
	return s.limits.LabelABV
}
