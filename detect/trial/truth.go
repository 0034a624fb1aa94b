package trial

import (
	"math"
	"time"

	"spile/detect/cellarsim"
)

// truth is how a run's tank really was, minute by minute.
type truth struct {
	scene   *scene
	celsius []float64
	gauge   []float64 // kPa
	rate    []float64 // degP per day
	extract []float64 // degP
	lagged  []float64 // degC, that the thermometer in its well has come to
}

// observe notes one minute. It comes first for the first minute after the start.
func (t *truth) observe(now cellarsim.Truth) {
	lagged := now.Celsius
	if n := len(t.lagged); n > 0 && t.scene.wellLag > 0 {
		share := -math.Expm1(-1 / t.scene.wellLag.Minutes())
		lagged = t.lagged[n-1] + share*(now.Celsius-t.lagged[n-1])
	}
	t.celsius = append(t.celsius, now.Celsius)
	t.gauge = append(t.gauge, now.GaugeKPa)
	t.rate = append(t.rate, now.RatePlatoPerDay)
	t.extract = append(t.extract, now.ExtractPlato)
	t.lagged = append(t.lagged, lagged)
}

// minute is the place of a time in the record, held to what is recorded.
func (t *truth) minute(at time.Duration) int {
	return min(max(int(at/time.Minute)-1, 0), len(t.celsius)-1)
}

// wellBehind is how far the thermometer in its well is behind the beer, K.
func (t *truth) wellBehind(at time.Duration) float64 {
	if len(t.lagged) == 0 {
		return 0
	}
	i := t.minute(at)
	return t.lagged[i] - t.celsius[i]
}

// extremes are the least and the most of a curve from one time to another.
func (t *truth) extremes(of []float64, from, to time.Duration) (least, most float64) {
	i, j := t.minute(from), t.minute(to)
	least, most = of[i], of[i]
	for _, v := range of[i : j+1] {
		least, most = min(least, v), max(most, v)
	}
	return least, most
}

// setpointAt is the newest setpoint that was given by a time.
func (s *scene) setpointAt(at time.Duration) change {
	now := s.setpoint[0]
	for _, c := range s.setpoint {
		if c.at <= at {
			now = c
		}
	}
	return now
}

// Limits that are crossed. The allowance is the detector's default.
const (
	allowance   = 1.0  // K over the setpoint
	deepVacuum  = -1.0 // kPa: a tank that comes to this was cooled below the air's pressure
	handsOnGas  = 3.0  // kPa in a minute, which neither yeast nor weather moves
	comesSlowly = 45 * time.Minute
	liftDrop    = 0.05 // of the relief setting, and more, that a lift takes off
)

// warmed is when the beer passes its setpoint and the allowance after the cooling has failed. Beer that had not been
// cooled so far yet passes nothing.
func (t *truth) warmed() (time.Duration, bool) {
	s := t.scene
	if s.failed.to == 0 {
		return 0, false
	}
	limit := s.setpointAt(s.failed.from).celsius + allowance
	if t.celsius[t.minute(s.failed.from)] > limit {
		return 0, false
	}
	return t.first(s.failed.from, func(i int) bool { return t.celsius[i] > limit })
}

// lifted is when the head pressure reaches the relief setting by yeast, by warming, or by gas that comes to rest: not by hand.
func (t *truth) lifted() (time.Duration, bool) {
	at, ok := t.first(0, func(i int) bool { return t.gauge[i] >= t.scene.told.ReliefKPa })
	return at, ok && !t.jumped(at-comesSlowly, at)
}

// relieved is when the relief valve first lets gas off after a time. It shuts well below where it lifts.
func (t *truth) relieved(from time.Duration) (time.Duration, bool) {
	relief := t.scene.told.ReliefKPa
	return t.first(from, func(i int) bool { return i > 0 && t.gauge[i-1] >= relief && t.gauge[i-1]-t.gauge[i] > liftDrop*relief })
}

// sucked is when a closed tank that is being cooled falls below the air's pressure, if it goes on to a vacuum. One that
// was there before, because flat beer drinks the gas over it, was not cooled to it.
func (t *truth) sucked() (time.Duration, bool) {
	if len(t.scene.setpoint) < 2 {
		return 0, false
	}
	from := t.scene.setpoint[1].at
	if t.gauge[t.minute(from)] < 0 {
		return 0, false
	}
	deep, ok := t.first(from, func(i int) bool { return t.gauge[i] < deepVacuum })
	if !ok {
		return 0, false
	}
	at := deep
	for at > from && t.gauge[t.minute(at)] < 0 {
		at -= time.Minute
	}
	return at, true
}

// first is the first minute from a time on of which something is true.
func (t *truth) first(from time.Duration, is func(minute int) bool) (time.Duration, bool) {
	for i := t.minute(from); i < len(t.celsius); i++ {
		if is(i) {
			return time.Duration(i+1) * time.Minute, true
		}
	}
	return 0, false
}

// jumped tells whether hands moved the head pressure within a stretch.
func (t *truth) jumped(from, to time.Duration) bool {
	for i := max(t.minute(from), 1); i <= t.minute(to); i++ {
		if math.Abs(t.gauge[i]-t.gauge[i-1]) > handsOnGas {
			return true
		}
	}
	return false
}
