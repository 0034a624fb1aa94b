package batch

import (
	"fmt"
	"math"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// clock writes a moment on the cellar's clock, with the day.
func (r *Record) clock(at time.Time) string { return at.In(r.settings.Zone).Format("Mon 2 Jan 15:04") }

// shown writes a figure in the unit that people here read.
func (r *Record) shown(value float64, kind beer.Kind) string {
	unit := ""
	switch kind {
	case beer.KindGravity:
		unit = r.settings.Display.Gravity
	case beer.KindTemperature, beer.KindDifference:
		unit = r.settings.Display.Temperature
	case beer.KindPressure:
		unit = r.settings.Display.Pressure
	}
	text, err := beer.Print(value, unit, kind)
	if err != nil {
		return beer.Both(value, kind)
	}
	return text
}

func (r *Record) gravity(sg float64) string   { return r.shown(sg, beer.KindGravity) }
func (r *Record) celsius(c float64) string    { return r.shown(c, beer.KindTemperature) }
func (r *Record) pressure(kPa float64) string { return r.shown(kPa, beer.KindPressure) }

// moved says how far gravity fell or rose in two days, in points, and the one bound that a hold point asks for: to the
// hundredth where it lies near the limit.
func moved(fall, bound float64) string {
	did, digits := "fell", 1
	if tenth(fall) < 0 {
		did, fall = "rose", -fall
	}
	if bound < 1 {
		digits = 2
	}
	return fmt.Sprintf("%s %.1f points in two days, and a fall of more than %.*f is ruled out with 95 %% confidence",
		did, tenth(fall), digits, max(0, bound))
}

// points writes an interval of points of gravity.
func points(in detect.Interval) string {
	return fmt.Sprintf("%.1f points (%.1f to %.1f)", tenth(in.Value), tenth(in.Low), tenth(in.High))
}

// tenth rounds to a tenth, and has no sign on zero.
func tenth(v float64) float64 { return math.Round(v*10)/10 + 0 }

func pointer[T any](v T) *T { return &v }
