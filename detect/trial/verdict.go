package trial

import (
	"time"

	"spile/detect"
)

// verdict is whether a call was true.
type verdict string

const (
	trueCall  verdict = "true"
	falseCall verdict = "false"
	unjudged  verdict = "not judged" // the truth cannot tell: a definition, not a fact
)

// How exactly a call must agree with the truth.
const (
	nearRelief   = 3.0              // kPa: what a gauge may be off
	nearVacuum   = 2.5              // kPa: the same, with the weather on it, in a tank that is cooled
	vacuumItself = -0.5             // kPa: no open tank comes to it
	nearLimit    = 0.35             // K: what a thermometer may be off
	soon         = 90 * time.Minute // a projection says "within the hour"
	coolingAhead = 40 * time.Hour   // a vacuum that a logged cooling will bring may be told when it is logged: so long after the setpoint is down
	projected    = 24 * time.Hour   // beer without cooling may take that long to its limit
	silence      = 40 * time.Minute
	reliefShare  = 0.90
	freezingNear = 0.5 // degC
)

// judge holds a call against the truth.
func (r *run) judge(c *call) verdict {
	at := c.at.Sub(begins())
	switch c.finding.Alarm {
	case detect.Refermentation:
		return verdictOf(r.working(at))
	case detect.PressureRise:
		return verdictOf(r.working(at) || r.gasUnlogged(at))
	case detect.CrashDrift:
		return verdictOf(r.leftSetpoint(at))
	case detect.OverPressure:
		_, most := r.truth.extremes(r.truth.gauge, at-5*time.Minute, at+soon)
		return verdictOf(most >= reliefShare*r.told.ReliefKPa-nearRelief)
	case detect.Vacuum:
		ahead := soon
		if r.cooled(at) { // while CO2 can be put on
			ahead = coolingAhead + r.setpointAt(at).over
		}
		least, _ := r.truth.extremes(r.truth.gauge, at-5*time.Minute, at+ahead)
		return verdictOf(least < vacuumItself || least < nearVacuum && r.cooled(at))
	case detect.Leak:
		return verdictOf(r.leaks > 0 && at >= r.leakFrom)
	case detect.FreezeRisk:
		least, _ := r.truth.extremes(r.truth.celsius, at, at+soon)
		return verdictOf(least < freezingNear)
	case detect.NotFinished:
		if !r.class.Gravity || r.working(at) {
			return unjudged
		}
		return falseCall
	case detect.ProbeSilent:
		return verdictOf(r.silent[c.finding.Probe] >= r.allowedSilence(c.finding.Probe))
	case detect.ProbeFault:
		return verdictOf(c.finding.Probe == floatName && at >= r.stuck.from && at < r.stuck.to+12*time.Hour)
	case detect.HopCharge, detect.GravityCheck: // a question is neither true nor false
		return unjudged
	case detect.LinkLost:
	}
	return falseCall
}

func verdictOf(is bool) verdict {
	if is {
		return trueCall
	}
	return falseCall
}

// working tells whether yeast has been at work by a time.
func (s *scene) working(at time.Duration) bool { return !s.class.Quiet() && at >= s.onset }

// uncooled tells whether cooling has failed by a time.
func (s *scene) uncooled(at time.Duration) bool { return s.failed.to > 0 && at >= s.failed.from }

// gasUnlogged tells whether CO2 is on, or was on within the last hours, that nobody wrote down.
func (s *scene) gasUnlogged(at time.Duration) bool {
	for _, g := range s.gasOn {
		if at >= g.from && at < g.to+6*time.Hour {
			return true
		}
	}
	return false
}

// leftSetpoint tells whether the beer is off its setpoint, or on its way there, for want of cooling: doors, thermostats
// and a logged cooling on its way are no reason. Beer that has no cooling and has left its thermostat's band is on its
// way, whether the room is warm enough to bring it there or not; so it is while cooling that is back has not yet turned it.
func (r *run) leftSetpoint(at time.Duration) bool {
	if !r.uncooled(at) {
		return false
	}
	setpoint := r.setpointAt(at).celsius
	uncooled := r.truth.celsius[r.truth.minute(min(at, r.failed.to))]
	if at < r.failed.to+soon && uncooled > setpoint+r.scene.tank.Cooling.Band/2 {
		return true
	}
	limit := setpoint + allowance - nearLimit
	_, most := r.truth.extremes(r.truth.celsius, at-soon, at+projected)
	return most >= limit
}

// cooled tells whether a logged cold crash is behind the tank.
func (s *scene) cooled(at time.Duration) bool { return len(s.setpoint) > 1 && at >= s.setpoint[1].at }

// allowedSilence is how long a probe must have been silent to be called so.
func (s *scene) allowedSilence(name string) time.Duration {
	p := s.probe(name)
	if p == nil {
		return forGood
	}
	return max(silence, 5*p.Interval/2)
}
