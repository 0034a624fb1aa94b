package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// standing is what all witnesses together say of whether gravity stands.
type standing struct {
	State   stable.State
	Falling bool
	Fall    *detect.Interval // points over two days
	Bound   float64          // points, one-sided 95 %
	Worst   float64          // the same, knowing that gravity does not rise by itself
	Since   time.Time        // where shown: since when it has stood
	Said    string           // the witness and what it says
	Why     string           // of Unknown: what is missing
}

// A reading by hand: a narrow hydrometer read with care, or a meter on the bench, twice in two days.
const (
	handNoise = 0.0002 // SG (judgement)
	handBack  = 6 * 24 * time.Hour
	handFresh = 30 * time.Hour
	handSpan  = 40 * time.Hour
	point     = 0.001 // SG
)

// stands asks every float that is not held faulty, and the hands, whether gravity stands at the story's end, by what
// was read since a moment.
func (s *story) stands(since time.Time) standing {
	hop, hopped := s.hopped()
	q := stable.Question{At: s.at, Since: since, Limit: s.limits.StablePoints * point}
	if hopped {
		q.Hopped = hop.Time
	}
	var best standing
	best.Why = "no float was heard, and no gravity is logged"
	curves := s.gravities(s.held(), s.at)
	for _, probe := range slices.Sorted(maps.Keys(curves)) {
		best = better(best, s.swims(probe, curves[probe], q))
	}
	return better(best, s.byHand(since))
}

// better is the witness that settles more: a fall that is sure comes first, then standing that is shown.
func better(a, b standing) standing {
	rank := func(s standing) int {
		switch {
		case s.State == stable.NotShown && s.Falling:
			return 3
		case s.State == stable.Shown:
			return 2
		case s.State == stable.NotShown:
			return 1
		}
		return 0
	}
	if rank(b) > rank(a) || rank(a) == 0 && rank(b) == 0 && a.Said == "" && b.Why != "" {
		return b
	}
	return a
}

// swims is what one float says.
func (s *story) swims(probe string, curve []stable.Point, q stable.Question) standing {
	if a, faulty := s.faulty(probe); faulty {
		return standing{Why: fmt.Sprintf("%s is held faulty: %s", probe, a.Summary), Said: probe}
	}
	if value, stuck := s.stuck(probe, q.At); stuck {
		return standing{Said: probe, Why: fmt.Sprintf("%s has said exactly %s for two days: stuck, or too coarse to show it", probe, s.gravity(value))}
	}
	v := longer(curve, q)
	out := standing{State: v.State, Falling: v.Falling, Bound: v.Bound / point, Worst: v.Worst / point, Why: v.Why, Said: probe}
	if v.State == stable.Unknown && v.High == 0 {
		return out
	}
	out.Fall = &detect.Interval{Value: v.Fall / point, Low: v.Low / point, High: v.High / point}
	out.Said = fmt.Sprintf("%s: %s; up to %.1f counts as standing", probe, moved(out.Fall.Value, out.Bound), s.limits.StablePoints)
	if v.Span > stable.Window+time.Hour {
		out.Said += fmt.Sprintf(" (judged by %s, for two days are too rough)", detect.Spell(v.Span))
	}
	if v.State == stable.Shown {
		out.Since = detect.Later(q.Since, detect.Earlier(q.At.Add(-v.Span), stable.Since(curve, q.At, q.Limit)))
	}
	return out
}

// longest is how far back a curve is looked at where two days of it are too rough.
const longest = 6 * 24 * time.Hour

// longer judges a curve by the last two days or, where their bound is too wide and they fell by no more than the limit,
// by a day more at a time. Each look back is another chance to err, so it must show more: 97.5 % instead of 95.
func longer(curve []stable.Point, q stable.Question) stable.Verdict {
	v := stable.Judge(curve, q)
	if v.State == stable.Shown || v.Falling || v.High == 0 || v.Fall > q.Limit {
		return v
	}
	for q.Back = stable.Window + 24*time.Hour; q.Back <= longest; q.Back += 24 * time.Hour {
		if more := stable.Judge(curve, q); more.State == stable.Shown && more.High <= q.Limit {
			return more
		}
	}
	return v
}

// faulty tells whether the watch holds a probe to be faulty or silent.
func (s *story) faulty(probe string) (Alarm, bool) {
	for _, a := range s.alarms {
		if a.Probe == probe && a.Alarm == detect.ProbeFault && !a.Raised.After(s.at) && (a.Ended.IsZero() || a.Ended.After(s.at)) {
			return a, true
		}
	}
	return Alarm{}, false
}

// stuck tells whether a float has said one and the same for two days, which no beer does to a fine float.
func (s *story) stuck(probe string, at time.Time) (value float64, stuck bool) {
	hours := s.curves[detect.Gravity][probe].until(at)
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, h := range slices.Backward(hours) {
		if h.Newest.Before(at.Add(-stable.Window)) {
			break
		}
		low, high, n = min(low, h.Low), max(high, h.High), n+1
	}
	return low, n > 24 && low == high
}

// byHand is what gravities in the log say: a line through those of the last days, each as good as a careful hand.
func (s *story) byHand(since time.Time) standing {
	var read []detect.Event
	from := detect.Later(since, s.at.Add(-handBack))
	for _, e := range s.lines {
		if e.Name == "gravity" && e.Time.After(from) {
			read = append(read, e)
		}
	}
	if len(read) < 2 || s.at.Sub(read[len(read)-1].Time) > handFresh || read[len(read)-1].Time.Sub(read[0].Time) < handSpan {
		return standing{Why: "no float was heard, and fewer than two gravities are logged two days apart"}
	}
	fall, deviation := handFall(read)
	bound := fall + 1.645*deviation
	out := standing{
		Fall:  &detect.Interval{Value: fall / point, Low: (fall - 1.96*deviation) / point, High: (fall + 1.96*deviation) / point},
		Bound: bound / point, Worst: max(bound, 1.96*deviation) / point, Falling: fall-1.645*deviation > 0, State: stable.NotShown,
	}
	out.Said = fmt.Sprintf("%d gravities by hand over %s: %s", len(read),
		detect.Spell(read[len(read)-1].Time.Sub(read[0].Time)), moved(out.Fall.Value, out.Bound))
	if bound <= s.limits.StablePoints*point {
		out.State, out.Since = stable.Shown, read[0].Time
	} else if !out.Falling {
		out.State, out.Why = stable.Unknown, "the gravities by hand do not bound it yet: read once more"
	}
	return out
}

// handFall is the fall over two days by least squares, and its standard error.
func handFall(read []detect.Event) (fall, deviation float64) {
	var t, v, tt, tv float64
	n := float64(len(read))
	for _, e := range read {
		value, _ := e.Amount("value")
		t += e.Time.Sub(read[0].Time).Hours() / n
		v += value / n
	}
	for _, e := range read {
		value, _ := e.Amount("value")
		h := e.Time.Sub(read[0].Time).Hours() - t
		tt += h * h
		tv += h * (value - v)
	}
	window := stable.Window.Hours()
	return -tv / tt * window, handNoise / math.Sqrt(tt) * window
}
