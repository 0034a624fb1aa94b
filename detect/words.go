package detect

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"spile/detect/beer"
)

// clock writes a moment as people in the cellar say it.
func (t *Tank) clock(at time.Time) string { return at.In(t.settings.Zone).Format("Mon 15:04") }

// day writes a moment of which no more than the day is known, and which may be longer ago than a week.
func (t *Tank) day(at time.Time) string { return at.In(t.settings.Zone).Format("Mon 2 Jan") }

// nearlyNow is what is too near to be told by the clock (judgement).
const nearlyNow = 10 * time.Minute

// about writes when something is to be expected.
func (t *Tank) about(at, now time.Time) string {
	if at.Sub(now) < nearlyNow {
		return "within minutes"
	}
	return "about " + t.clock(at)
}

func (t *Tank) temperature(celsius float64) string {
	return printed(celsius, t.settings.Display.Temperature, beer.KindTemperature)
}

func (t *Tank) difference(kelvin float64) string {
	return printed(kelvin, t.settings.Display.Temperature, beer.KindDifference)
}

func (t *Tank) gravity(sg float64) string {
	return printed(sg, t.settings.Display.Gravity, beer.KindGravity)
}

func (t *Tank) pressure(kPa float64) string {
	return printed(kPa, t.settings.Display.Pressure, beer.KindPressure)
}

// printed writes a figure in the unit that people read, or else in the inside unit.
func printed(value float64, unit string, kind beer.Kind) string {
	if text, err := beer.Print(value, unit, kind); err == nil {
		return text
	}
	return fmt.Sprintf("%.2f %s", value, beer.InsideUnit(kind))
}

// Spell writes a length of time as people say it: "40 s", "75 min", "1.5 h", "36 h", "2.5 days".
func Spell(d time.Duration) string {
	tenths := func(value float64) string { return strings.TrimSuffix(strconv.FormatFloat(value, 'f', 1, 64), ".0") }
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 90*time.Minute:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return tenths(d.Hours()) + " h"
	}
	return tenths(d.Hours()/24) + " days"
}

// Roughly writes a length of time of which nobody asks for the minutes where it is long, such as an age or a forecast.
func Roughly(d time.Duration) string {
	if d > 10*time.Hour {
		d = d.Round(time.Hour)
	}
	return Spell(d)
}

// Age writes how long ago something was.
func Age(d time.Duration) string {
	if d < 2*time.Second {
		return "just now"
	}
	return Roughly(d) + " ago"
}
