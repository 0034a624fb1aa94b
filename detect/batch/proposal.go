package batch

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"time"

	"spile/detect"
)

// proposals are the lines that the log seems to lack.
func (s *story) proposals() []Proposal {
	out := []Proposal{}
	if p, ok := s.unloggedCrash(); ok {
		out = append(out, p)
	}
	return out
}

// What a cooling looks like that nobody logged.
const (
	crashFall   = 3.0 // K, that no night and no thermostat brings about
	crashBack   = 7 * 24 * time.Hour
	crashReach  = 36 * time.Hour // of the fall itself
	crashNear   = 24 * time.Hour // a line of the log within it explains the fall
	levelWithin = 0.4            // K over the newest hours: it has come to where it was sent
)

// unloggedCrash looks for beer that was cooled with nothing in the log.
func (s *story) unloggedCrash() (Proposal, bool) {
	hours := s.beerHours(s.at.Add(-crashBack))
	begun, end := fallOf(hours)
	if begun < 0 {
		return Proposal{}, false
	}
	when := hours[begun].Newest
	for _, e := range s.lines {
		switch e.Name {
		case "crash", "rest", "transfer", "empty", "pitch":
			if d := e.Time.Sub(when).Abs(); d < crashNear {
				return Proposal{}, false
			}
		}
	}
	if crash, ok := s.cooled(); ok && crash.Time.Before(when) {
		if setpoint, _ := crash.Amount("setpoint"); hours[end].Value >= setpoint-coolEnough {
			return Proposal{}, false // it goes where it was sent
		}
	}
	p := Proposal{Event: "crash", Time: when, Field: map[string]string{}}
	target := ""
	if level, ok := levelOf(hours[:end+1]); ok {
		target = ", setpoint about " + s.celsius(level)
		p.Field["setpoint"] = strconv.FormatFloat(math.Round(level*10)/10, 'f', 1, 64) + " degC"
	}
	p.Text = fmt.Sprintf("this looks like a crash begun on %s%s; confirm?", s.clock(when), target)
	return p, true
}

// beerHours are the hours of the beer's temperature since a moment, of the thermometer with the most of them.
func (s *story) beerHours(since time.Time) []hour {
	var best []hour
	for _, probe := range slices.Sorted(maps.Keys(s.curves[detect.Temperature])) {
		if s.settings.At[probe] == detect.Head {
			continue
		}
		var hours []hour
		for _, h := range s.curves[detect.Temperature][probe].until(s.at) {
			if !h.Start.Before(since) && !h.Start.Before(s.held().Truncate(time.Hour)) {
				hours = append(hours, h)
			}
		}
		if len(hours) > len(best) {
			best = hours
		}
	}
	return best
}

// fallOf finds the newest fall of temperature that is a cooling: where it begins and where it ends; -1: none.
func fallOf(hours []hour) (begun, end int) {
	for end := len(hours) - 1; end > 0; end-- {
		top := end
		for i := end - 1; i >= 0 && hours[end].Newest.Sub(hours[i].Newest) <= crashReach; i-- {
			if hours[i].Value > hours[top].Value {
				top = i
			}
		}
		if hours[top].Value-hours[end].Value < crashFall {
			continue
		}
		for top < end && hours[top+1].Value > hours[top].Value-levelWithin {
			top++ // it stood a while before it began to fall
		}
		return top, end
	}
	return -1, -1
}

// levelOf is where the temperature has come to stand; not ok while it still falls.
func levelOf(hours []hour) (level float64, ok bool) {
	const newest = 3
	if len(hours) < newest {
		return 0, false
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, h := range hours[len(hours)-newest:] {
		low, high = min(low, h.Value), max(high, h.Value)
		level += h.Value / newest
	}
	return level, high-low <= levelWithin
}
