package detect

import (
	"math"
	"time"
)

// whitening is what one point's noise owes to the points before it. The noise
// of a float's hourly mean is white noise of its readings plus a first-order
// autoregression, that of a gauge's half hour plus a walk (gauge_fit.go); the
// innovations of its Kalman filter are white (Kalman, "A new approach to linear
// filtering and prediction problems", J. Basic Eng. 82 (1960) 35-45).
type whitening struct {
	keep  float64 // of the noise before that is left by now
	share float64 // of a surprise that is taken for lasting noise: the filter's gain
	scale float64 // one over the surprise's standard deviation
}

// whiten gives the innovations of a column, one at a time.
type whiten struct{ level float64 }

// next is the surprise in the next value, over what is to be expected of it.
func (w *whiten) next(g whitening, value float64) float64 {
	w.level *= g.keep
	surprise := value - w.level
	w.level += g.share * surprise
	return surprise * g.scale
}

// What runs on in a float's noise from hour to hour: bubbles, foam, hop matter
// that comes and goes (common practice; the size learns from the probe).
const lastingHours = 4.0 // its correlation time

// whitenings are the filter's gains for the points of a float.
func (f *float) whitenings() []whitening {
	out := make([]whitening, len(f.Points))
	lasting := f.Noise * f.Noise
	left, keep := lasting, 1.0
	var gap time.Duration // the newest between points, and what is kept over it
	for i := range f.Points {
		p := &f.Points[i]
		if i > 0 {
			if past := p.At.Sub(f.Points[i-1].At); past != gap {
				gap, keep = past, math.Exp(-past.Hours()/lastingHours)
			}
			left = keep*keep*left + lasting*(1-keep*keep)
		}
		total := left + f.white(p.N)
		share := left / total
		out[i] = whitening{keep: keep, share: share, scale: 1 / math.Sqrt(total)}
		left *= 1 - share
	}
	return out
}

// white is the variance of the white noise in a mean of n readings.
func (f *float) white(n int) float64 {
	return f.White*f.White/float64(max(n, 1)) + noiseFloor*noiseFloor
}
