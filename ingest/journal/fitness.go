package journal

import (
	"fmt"
	"math"
	"time"

	"spile/detect"
)

// flaw says why an entry cannot be kept, empty where it can. The decoder has
// refused more, and with better words; this is the last line before the disk,
// since one bad entry must not fail the batch of all the others for ever.
func flaw(e Entry) string {
	if n := kinds(e); n != 1 {
		return fmt.Sprintf("an entry is one of reading, event, act, mark; this is %d of them", n)
	}
	if why := timeFlaw("arrived", e.Arrived); why != "" {
		return why
	}
	switch {
	case e.Reading != nil:
		return readingFlaw(*e.Reading)
	case e.Event != nil:
		return eventFlaw(*e.Event)
	}
	return ""
}

func kinds(e Entry) (n int) {
	for _, is := range []bool{e.Reading != nil, e.Event != nil, e.Act != nil, e.Mark != nil} {
		if is {
			n++
		}
	}
	return n
}

func readingFlaw(r detect.Reading) string {
	if r.Tank == "" || r.Probe == "" {
		return fmt.Sprintf("a reading of tank %q, probe %q lacks a name", r.Tank, r.Probe)
	}
	for _, v := range []float64{r.Value, r.Raw} {
		if why := valueFlaw(r.Quantity, v); why != "" {
			return why
		}
	}
	return timeFlaw("time", r.Time)
}

func eventFlaw(e detect.Event) string {
	if e.Tank == "" || e.Name == "" {
		return fmt.Sprintf("an event %q of tank %q lacks a name", e.Name, e.Tank)
	}
	for field, v := range e.Amounts {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Sprintf("%s=%v is no number", field, v)
		}
	}
	return timeFlaw("time", e.Time)
}

// valueFlaw knows only what no vessel of a brewery can hold: wort is below SG
// 1.2, caustic cleaning below 100 degC, and vessels below 10 bar.
func valueFlaw(q detect.Quantity, v float64) string {
	var low, high float64
	switch q {
	case detect.Gravity:
		low, high = 0.5, 2
	case detect.Temperature:
		low, high = -100, 250
	case detect.Pressure:
		low, high = -110, 10000
	default:
		return fmt.Sprintf("the quantity %q is not known", q)
	}
	if !(v >= low && v <= high) { // NaN included
		return fmt.Sprintf("%s=%v is not within %v to %v %s", q, v, low, high, q.Unit())
	}
	return ""
}

// earliest is when the journal's milliseconds begin. A clock that was never set
// starts there; such entries are kept, and Check tells of them.
const earliest = 0

// latest is 2200-01-01: a clock beyond it, or one in the wrong unit, is no clock.
const latest = 7258118400000

func timeFlaw(what string, t time.Time) string {
	if t.IsZero() {
		return what + " is not set"
	}
	if ms := t.UnixMilli(); ms < earliest || ms >= latest {
		return fmt.Sprintf("%s %s is not between 1970 and 2200", what, t.UTC().Format(time.RFC3339))
	}
	return ""
}
