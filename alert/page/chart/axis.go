package chart

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
)

// scale marks a value axis at round values, with as many digits as tell them apart: gravity moves in thousandths.
type scale struct{ most int }

// Ticks is of plot.Ticker.
func (s scale) Ticks(low, high float64) []plot.Tick {
	step := roundStep((high - low) / float64(max(s.most, 1)))
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	if scaled := step * math.Pow10(digits); scaled != math.Round(scaled) {
		digits++ // a step of 2.5
	}
	var ticks []plot.Tick
	for n := math.Ceil(low/step - 1e-9); n*step <= high+step*1e-9; n++ {
		ticks = append(ticks, plot.Tick{Value: n * step, Label: strconv.FormatFloat(n*step+0, 'f', digits, 64)})
	}
	return ticks
}

// roundStep is the least of 1, 2, 2.5 and 5 times a power of ten that is no less than a step.
func roundStep(step float64) float64 {
	if !(step > 0) || math.IsInf(step, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(step)))
	for _, m := range []float64{1, 2, 2.5, 5} {
		if m*power >= step*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// clock marks a time axis on the hours and days of a zone.
type clock struct {
	zone   *time.Location
	most   int
	silent bool // no words: another panel below has them
}

// hourSteps and daySteps are the distances that a person reads at a glance.
var (
	hourSteps = []int{1, 2, 3, 6, 12}
	daySteps  = []int{1, 2, 7, 14, 28, 91, 182, 365}
)

// Ticks is of plot.Ticker.
func (c clock) Ticks(low, high float64) []plot.Tick {
	from, to := moment(low).In(c.zone), moment(high).In(c.zone)
	hours := to.Sub(from).Hours()
	for _, step := range hourSteps {
		if hours/float64(step) <= float64(c.most) {
			return c.byHour(from, to, step)
		}
	}
	for _, step := range daySteps {
		if hours/24/float64(step) <= float64(c.most) {
			return c.byDay(from, to, step)
		}
	}
	return c.byDay(from, to, 2*daySteps[len(daySteps)-1])
}

// byHour marks hours by the clock on the wall, which a change of the clocks may leave out or have twice.
func (c clock) byHour(from, to time.Time, step int) []plot.Tick {
	var ticks []plot.Tick
	at := time.Date(from.Year(), from.Month(), from.Day(), from.Hour(), 0, 0, 0, c.zone)
	for ; !at.After(to); at = at.Add(time.Hour) {
		if at.Before(from) || at.Hour()%step != 0 {
			continue
		}
		words := at.Format("15:04")
		if at.Hour() == 0 {
			words = at.Format("Mon 2")
		}
		ticks = append(ticks, c.tick(at, words))
	}
	return ticks
}

func (c clock) byDay(from, to time.Time, step int) []plot.Tick {
	var ticks []plot.Tick
	at := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, c.zone)
	for ; !at.After(to); at = at.AddDate(0, 0, step) {
		if at.Before(from) {
			if step > 1 {
				at = at.AddDate(0, 0, 1-step) // the first whole day, then by steps
			}
			continue
		}
		ticks = append(ticks, c.tick(at, at.Format("2 Jan")))
	}
	return ticks
}

func (c clock) tick(at time.Time, words string) plot.Tick {
	if c.silent {
		words = " " // empty would make it a minor tick
	}
	return plot.Tick{Value: seconds(at), Label: words}
}

// seconds is a moment on the time axis: float64 holds these to the microsecond.
func seconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

func moment(s float64) time.Time { return time.UnixMilli(int64(s * 1000)) }
