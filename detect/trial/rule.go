package trial

import (
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// The simple rules stand for what a cellar does without a detector. Both are given their best chance: the hand is
// careful, the slope is taken over hourly medians and waits until most of a hop step is over.

// byHand is a hydrometer in a glass each morning at 8:00. It is noticed that gravity has fallen by 0.002 against the
// first morning after the hops.
func (r *run) byHand() (time.Duration, bool) {
	first := math.NaN()
	for at := time.Duration(0); at < r.end; at += 24 * time.Hour {
		if at < r.hopped+handWaits {
			continue
		}
		read, ok := r.reads(at, r.draw)
		if !ok {
			return 0, false
		}
		if math.IsNaN(first) {
			first = read
		}
		if first-read >= handFall-handStep/10 {
			return at, true
		}
	}
	return 0, false
}

// reads is a careful reading of a hydrometer in a degassed glass, by somebody who errs.
func (r *run) reads(at time.Duration, who draw) (sg float64, ok bool) {
	sg, err := beer.SG(max(0, r.truth.extract[r.truth.minute(at)]))
	return math.Round((sg+handNoise*who.NormFloat64())/handStep) * handStep, err == nil
}

// How gravity is read by hand (judgement).
const (
	handNoise = 0.0004         // SG
	handStep  = 0.0005         // SG, as the scale is read
	handFall  = 0.002          // SG
	handWaits = 2 * time.Hour  // after the hops
	handUsual = 48 * time.Hour // the same, up to which somebody reads unasked: whether beer stands is looked at anyway
)

// record is a slope that is steeper than all before it.
type record struct {
	at   time.Duration
	fall float64 // SG per day
}

const (
	slopeHours = 24
	slopeLeast = 12             // hours with readings among them
	slopeWaits = 36 * time.Hour // after the hops
)

// slopes lists the records of the float's fall over 24 h, by least squares.
func (r *run) slopes() []record {
	var out []record
	hourly := hourlyMedians(r.float)
	steepest := math.Inf(-1)
	for end := range hourly {
		at := hourly[end].at + time.Hour
		if at < r.hopped+slopeWaits {
			continue
		}
		begin := end
		for begin > 0 && hourly[end].at-hourly[begin-1].at < slopeHours*time.Hour {
			begin--
		}
		if end-begin+1 < slopeLeast {
			continue
		}
		if fall := -slope(hourly[begin : end+1]); fall > steepest {
			steepest = fall
			out = append(out, record{at, fall})
		}
	}
	return out
}

// hour is the median of a float's hour.
type hour struct {
	at time.Duration // its begin
	sg float64
}

// hourlyMedians needs readings in the order of their own time, as journal gives those that are not late.
func hourlyMedians(readings []detect.Reading) []hour {
	var out []hour
	var values []float64
	finish := func() {
		if n := len(values); n > 0 {
			slices.Sort(values)
			out[len(out)-1].sg = (values[n/2] + values[(n-1)/2]) / 2
			values = values[:0]
		}
	}
	for _, reading := range readings {
		at := reading.Time.Sub(begins()).Truncate(time.Hour)
		if len(out) == 0 || out[len(out)-1].at != at {
			finish()
			out = append(out, hour{at: at})
		}
		values = append(values, reading.Value)
	}
	finish()
	return out
}

// slope is the trend in SG per day.
func slope(hours []hour) float64 {
	var sx, sy, sxx, sxy float64
	for _, h := range hours {
		x := (h.at - hours[0].at).Hours() / 24
		y := h.sg - hours[0].sg
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	n := float64(len(hours))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}
