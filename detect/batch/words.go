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

// moved says how far gravity fell or rose, in points, with the bounds of a fall.
func moved(fall detect.Interval) string {
	if fall.Value < 0 {
		return fmt.Sprintf("rose %.1f points (a fall of %.1f to %.1f)", tenth(-fall.Value), tenth(fall.Low), tenth(fall.High))
	}
	return "fell " + points(fall)
}

// points writes an interval of points of gravity.
func points(in detect.Interval) string {
	return fmt.Sprintf("%.1f points (%.1f to %.1f)", tenth(in.Value), tenth(in.Low), tenth(in.High))
}

// tenth rounds to a tenth, and has no sign on zero.
func tenth(v float64) float64 { return math.Round(v*10)/10 + 0 }

func pointer[T any](v T) *T { return &v }
