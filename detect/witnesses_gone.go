package detect

import (
	"fmt"
	"time"
)

// What an alarm says of a tank is over once the last probe that could take it back is out of the tank: nothing would ever
// end it. It says so, for the tank itself is no better for that.

// witnessesGone ends the alarms of a tank whose last gauge, or last thermometer, the log has just taken out.
func (t *Tank) witnessesGone(probe string, at time.Time) []Finding {
	out := t.gaugeless(at)
	if t.lastThermometer(probe, at) != "" {
		out = append(out, t.thermometerless(at)...)
	}
	return out
}

// gaugeless ends what head pressure has told, unless another gauge is in the tank.
func (t *Tank) gaugeless(at time.Time) []Finding {
	h := &t.state.Head
	if len(t.state.Balances) > 0 {
		return nil
	}
	told := []struct {
		alarm Alarm
		is    bool
	}{{OverPressure, h.Over}, {Vacuum, h.Under != airSafe}, {PressureRise, h.Rising}, {Leak, h.Leaking}}
	h.Over, h.Past, h.Under, h.Rising, h.Leaking = false, false, airSafe, false, false
	var out []Finding
	for _, one := range told {
		if one.is {
			out = append(out, Finding{Alarm: one.alarm, Time: at, Summary: t.name +
				": the last gauge is out of the tank (log: probe); " + headUnwatched})
		}
	}
	return out
}

// thermometerless ends what temperature has told.
func (t *Tank) thermometerless(at time.Time) []Finding {
	d := &t.state.Drift
	var out []Finding
	if d.Side != within {
		d.Side = within
		out = append(out, Finding{Alarm: CrashDrift, Time: at, Summary: t.name +
			": the last thermometer is out of the tank (log: probe); nobody watches its temperature, read it by hand"})
	}
	return append(out, t.freezesNoMore(at, "the last thermometer is out of the tank (log: probe)")...)
}

// freezesNoMore ends the warning of ice where nothing is left to say that it is over.
func (t *Tank) freezesNoMore(at time.Time, why string) []Finding {
	d := &t.state.Drift
	if !d.Freezing {
		return nil
	}
	d.Freezing = false
	return []Finding{{Alarm: FreezeRisk, Time: at, Summary: fmt.Sprintf("%s: no longer watched for ice: %s", t.name, why)}}
}
