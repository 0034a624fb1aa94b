package scenario

import (
	"fmt"
	"strings"

	"spile/detect"
)

// Expectation is one thing that should come of a scenario, or should not.
type Expectation struct {
	Line  int
	Tank  string          // empty: whichever
	Alarm detect.Alarm    // empty: any
	Probe string          // empty: whichever
	Never bool            // it is not called
	Else  bool            // alarms that another line names do not count
	Least detect.Priority // calls below it do not count; empty: all do

	from, to, returns moment
}

// coolingPlant is the alarm of package alert that stands for tanks which warm together.
const coolingPlant = "cooling-plant"

// alarms are those that a file can speak of: a tank's, and the cellar's that a scenario or a capture can bring about.
func alarms() []string {
	return []string{
		string(detect.Refermentation), string(detect.CrashDrift), string(detect.PressureRise), string(detect.OverPressure),
		string(detect.Vacuum), string(detect.Leak), string(detect.FreezeRisk), string(detect.NotFinished),
		string(detect.ProbeSilent), string(detect.ProbeFault), string(detect.HopCharge), string(detect.GravityCheck),
		string(detect.LinkLost), coolingPlant,
	}
}

// readExpectation reads an expect line.
func (r *reader) readExpectation(s statement) error {
	e := Expectation{Line: s.line, Tank: s.about}
	if e.Tank != "" && len(r.out.Tanks) > 0 {
		if _, err := r.tank(s.line, e.Tank); err != nil {
			return err
		}
	}
	if e.Tank != "" && !detect.ValidName(e.Tank) {
		return faultAt(s.line, "expect %s: %s", quoted(e.Tank), detect.NameRule)
	}
	rest, err := e.takeAlarm(words(s.phrases[0].text))
	if err == nil {
		rest, err = e.takeNarrower(rest)
	}
	if err == nil {
		err = e.takeWindow(rest)
	}
	if err == nil {
		err = e.takeReturn(s.phrases[1:])
	}
	if err == nil && e.from.set && e.to.set && !e.from.at(r.dayOne).Before(e.to.at(r.dayOne)) {
		err = fmt.Errorf("the second time is not after the first: swap them")
	}
	if err != nil {
		return faultAt(s.line, "expect: %s", err)
	}
	r.out.Expectations = append(r.out.Expectations, e)
	return nil
}

// takeAlarm reads "ALARM", "no ALARM", "nothing" or "nothing else".
func (e *Expectation) takeAlarm(from []string) ([]string, error) {
	word, from := next(from)
	switch word {
	case "nothing":
		e.Never = true
		if w, rest := next(from); w == "else" {
			e.Else, from = true, rest
		}
		return from, nil
	case "no":
		e.Never = true
		word, from = next(from)
	}
	for _, a := range alarms() {
		if a == word {
			e.Alarm = detect.Alarm(a)
			return from, nil
		}
	}
	if near := nearest(strings.ToLower(word), alarms()); near != "" {
		return nil, fmt.Errorf("%s is no alarm: did you mean %q?", quoted(word), near)
	}
	return nil, fmt.Errorf("%s is no alarm: write one of %s, or \"nothing else\"", quoted(word), strings.Join(alarms(), ", "))
}

// takeNarrower reads "on PROBE", "as PRIORITY" and "above PRIORITY".
func (e *Expectation) takeNarrower(from []string) ([]string, error) {
	for {
		word, rest := next(from)
		what, behind := next(rest)
		switch {
		case word == "on" && e.Alarm != "" && e.Probe == "":
			if !detect.ValidName(what) {
				return nil, fmt.Errorf("on %s: %s", quoted(what), detect.NameRule)
			}
			e.Probe = what
		case word == "as" && !e.Never && e.Least == "":
			if detect.Priority(what).Rank() == 0 {
				return nil, fmt.Errorf("as %s: write low, medium, high or critical", quoted(what))
			}
			e.Least = detect.Priority(what)
		case word == "above" && e.Never && e.Least == "":
			above := map[string]detect.Priority{"low": detect.Medium, "medium": detect.High, "high": detect.Critical}
			if above[what] == "" {
				return nil, fmt.Errorf("above %s: write low, medium or high", quoted(what))
			}
			e.Least = above[what]
		default:
			return from, nil
		}
		from = behind
	}
}

// takeWindow reads "by TIME", "after TIME" and "between TIME and TIME".
func (e *Expectation) takeWindow(from []string) (err error) {
	word, rest := next(from)
	switch word {
	case "":
		return nil
	case "by":
		e.to, rest, err = takeMoment(rest)
	case "after":
		e.from, rest, err = takeMoment(rest)
	case "between":
		e.from, rest, err = takeMoment(rest)
		if err != nil {
			return err
		}
		and, behind := next(rest)
		if and != "and" {
			return fmt.Errorf("between takes two times: write \"between day 3 04:00 and day 3 20:00\"")
		}
		e.to, rest, err = takeMoment(behind)
	default:
		return fmt.Errorf("%s is not known here: write %s", quoted(word), e.goesOn())
	}
	if err == nil && len(rest) > 0 {
		return fmt.Errorf("%s is too much behind the time", quoted(strings.Join(rest, " ")))
	}
	return err
}

// goesOn says what may stand behind the alarm.
func (e *Expectation) goesOn() string {
	if e.Never {
		return "above PRIORITY, by TIME, after TIME or between TIME and TIME"
	}
	return "on PROBE, as PRIORITY, by TIME, after TIME or between TIME and TIME"
}

// takeReturn reads "returns by TIME".
func (e *Expectation) takeReturn(phrases []phrase) error {
	if len(phrases) == 0 {
		return nil
	}
	said := words(phrases[0].text)
	if len(phrases) > 1 || len(said) < 3 || said[0] != "returns" || said[1] != "by" || e.Never {
		return fmt.Errorf("%s is not known here: behind a comma stands \"returns by day 3 04:00\", after an alarm that should come", quoted(phrases[0].text))
	}
	m, rest, err := takeMoment(said[2:])
	if err == nil && len(rest) > 0 {
		return fmt.Errorf("%s is too much behind the time", quoted(strings.Join(rest, " ")))
	}
	e.returns = m
	return err
}

// next takes a word off the front; at the end it is empty.
func next(from []string) (string, []string) {
	if len(from) == 0 {
		return "", nil
	}
	return from[0], from[1:]
}
