package alert

import (
	"fmt"
	"time"

	"spile/detect"
)

// settleAll brings every alarm up to the moment. What happens in one minute is heard together.
func (w *Watch) settleAll() []Transition {
	var out []Transition
	for _, v := range w.all() {
		out = append(out, w.settle(v)...)
	}
	return out
}

// settle brings the alarms of one tank up to the moment.
func (w *Watch) settle(v *vessel) []Transition {
	var out []Transition
	for _, c := range v.conditions {
		f := front{removed: w.options.Tuning[c.Finding.Alarm].OutOfService, presses: w.presses(v, c)}
		if c.Holds || c.Standing.Active {
			f.explained = w.explained(v, c)
		}
		before := c.Standing
		to, call := c.settle(w.at, w.delays(c.Finding.Alarm), f)
		t, ok := c.move(to, call, w.at, w.options.Site, v.name)
		if c.Standing.Suppressed && f.explained != "" {
			c.Why = f.explained
		}
		if ok && t.From == Normal {
			t = w.begin(v, c, w.agreed(c, t))
		}
		if ok {
			t.Why = why(before, t, call, f)
			out = append(out, t)
		}
	}
	return out
}

// grewWorse is why a person is called again.
const grewWorse = "it grew worse"

// why says what led to a transition where it was not the condition itself.
func why(before Standing, t Transition, worse bool, f front) string {
	switch {
	case t.To == Suppressed:
		return f.explained
	case worse:
		return grewWorse
	case before.Shelved && t.From == Shelved:
		return "the quiet time is over"
	case t.From == Suppressed && t.To == Unacknowledged:
		return "nothing explains it any longer"
	}
	return ""
}

// delays are an alarm's timers, the catalogue's or the brewer's.
func (w *Watch) delays(a detect.Alarm) delays {
	d, _ := Define(a)
	out := delays{on: d.OnDelay, off: d.OffDelay}
	if a == CoolingPlant { // it stands for the drifts until the last of them is over
		out.off = max(out.off, w.delays(detect.CrashDrift).off)
	}
	tuned := w.options.Tuning[a]
	if tuned.OnDelay != nil {
		out.on = *tuned.OnDelay
	}
	if tuned.OffDelay != nil {
		out.off = *tuned.OffDelay
	}
	return out
}

// explained says why a condition may stay quiet by design, empty where it may not.
func (w *Watch) explained(v *vessel, c *condition) string {
	d, _ := Define(c.Finding.Alarm)
	for _, parent := range d.SuppressedBy {
		if parent == CoolingPlant && c.Holds && !isWarm(c.Finding.Evidence) {
			continue // a tank that is too cold is another matter
		}
		for _, of := range []*vessel{w.cellar, v} {
			if p := of.find(parent, ""); p != nil && p.stands(w.at, w.delays(parent)) {
				return "explained by " + string(parent)
			}
		}
	}
	if why := w.toldByAnother(v, c); why != "" {
		return why
	}
	if d.Scope != Batch {
		return ""
	}
	if why := w.leftAlone(v); why != emptyTank || !d.Lasting {
		return why
	}
	return ""
}

// emptyTank is why the alarms of a tank without beer wait for the next batch.
const emptyTank = "the tank is empty"

// leftAlone says why the batch's alarms of a tank wait, empty where they do not.
func (w *Watch) leftAlone(v *vessel) string {
	switch status := v.tank.Status(); {
	case w.at.Before(status.HandsOnUntil):
		return fmt.Sprintf("hands on the tank until %s", w.clock(status.HandsOnUntil))
	case status.Empty:
		return emptyTank
	}
	return ""
}

// presses is the priority that a condition asks for: the finding's or the catalogue's, and that of a refermentation by
// what is near where the brewer chose so.
func (w *Watch) presses(v *vessel, c *condition) detect.Priority {
	p := c.presses()
	if c.Finding.Alarm != detect.Refermentation || w.options.Policy.Wake != WakeNear || !p.AtLeast(detect.High) || !c.Holds {
		return p
	}
	if w.isNear(v, c) {
		return p
	}
	return detect.Medium
}

// isNear tells whether beer that ferments again may do harm before the morning: the relief setting is near, or cans of
// it stand in the house. Where neither a valve nor the open air holds the pressure, and it or the relief
// setting is not known, it is taken for near.
func (w *Watch) isNear(v *vessel, c *condition) bool {
	if !v.packaged.IsZero() && w.at.Sub(v.packaged) <= packagingNear {
		return true
	}
	if f := c.Finding.Evidence.Forecast; f != nil && f.LimitReached != nil && f.LimitReached.Low.Sub(w.at) <= reliefNear {
		return true
	}
	s := v.tank.Status()
	if s.Gas == detect.GasOpen || s.Gas == detect.GasHeldAbove {
		return false
	}
	_, gauged := s.Last[detect.Pressure]
	return s.ReliefKPa == 0 || !gauged
}

// clock writes a time of day as the cellar's clock shows it.
func (w *Watch) clock(t time.Time) string {
	zone := w.options.Default.Zone
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format("15:04")
}

// close ends the batch's alarms of a tank. What its detector holds true beyond that, such as a probe that is silent
// still, waits as suppressed for the next batch.
func (w *Watch) close(v *vessel, why string) []Transition {
	var out []Transition
	for _, c := range v.conditions {
		d, _ := Define(c.Finding.Alarm)
		if d.Scope != Batch {
			continue
		}
		step := Close
		if d.Lasting {
			step, c.Holds, c.Changed = Clear, false, w.at
		}
		if t, ok := c.move(c.Standing.After(step), false, w.at, w.options.Site, v.name); ok {
			t.Why = why
			out = append(out, t)
		}
	}
	return out
}
