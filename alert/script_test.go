package alert

import (
	"encoding/json"
	"maps"
	"time"

	"spile/detect"
)

// scripted is a tank that finds what its readings tell it to find: a reading's quantity names the alarm, its value the
// rank of the priority, 0 meaning over. It judges the silence of its thermometer, after 45 minutes, as a real tank does.
type scripted struct {
	Name   string
	Hands  time.Time
	Gone   bool
	Heard  time.Time
	Silent bool
	Ticks  int
	Last   map[detect.Quantity]detect.Latest // of what is measured, not found
	Hopped time.Time
	Relief float64
	Aired  float64 // the air outside, as another tank's probe last told it
	From   string  // the tank whose beer came here
}

func newScripted(name string, s detect.Settings) tank {
	return &scripted{Name: name, Relief: s.ReliefKPa}
}

func (s *scripted) Take(r detect.Reading) []detect.Finding {
	switch r.Quantity {
	case detect.Temperature:
		s.Heard = r.Arrived
		return s.speak(r.Arrived)
	case detect.Gravity, detect.Pressure:
		if s.Last == nil {
			s.Last = map[detect.Quantity]detect.Latest{}
		}
		s.Last[r.Quantity] = detect.Latest{Value: r.Value, Time: r.Time, Probe: r.Probe}
		return nil
	}
	if r.Late {
		return nil
	}
	priority := map[float64]detect.Priority{1: detect.Low, 2: detect.Medium, 3: detect.High, 4: detect.Critical}[r.Value]
	return []detect.Finding{{
		Alarm: detect.Alarm(r.Quantity), Probe: r.Probe, Active: r.Value > 0, Priority: priority,
		Time: r.Arrived, Onset: r.Time, Summary: r.Tank + " " + string(r.Quantity),
	}}
}

func (s *scripted) Log(e detect.Event) []detect.Finding {
	switch e.Name {
	case "work":
		hours, _ := e.Amount("for")
		s.Hands = e.Arrived.Add(time.Duration(hours * float64(time.Hour)))
	case "pitch":
		s.Gone = false
	case "dry-hop":
		s.Hopped = e.Arrived
	case "empty":
		s.Gone = true
	case "transfer":
		volume, part := e.Amount("volume")
		s.Gone = !part || volume >= 2000
	case "package":
		s.Gone = true
		return []detect.Finding{{Alarm: detect.NotFinished, Active: true, Time: e.Arrived}}
	}
	return nil
}

func (s *scripted) Tick(at time.Time) []detect.Finding {
	s.Ticks++
	return s.speak(at)
}

// speak tells whether the probe's silence begins or ends.
func (s *scripted) speak(at time.Time) []detect.Finding {
	silent := !s.Heard.IsZero() && at.Sub(s.Heard) >= 45*time.Minute
	if silent == s.Silent {
		return nil
	}
	s.Silent = silent
	return []detect.Finding{{Alarm: detect.ProbeSilent, Probe: "hyd-1", Active: silent, Time: at, Onset: s.Heard}}
}

func (s *scripted) Air(r detect.Reading) { s.Aired = r.Value }

func (s *scripted) Receive(e detect.Event) { s.From = e.Tank }

func (s *scripted) Away(from, to time.Time) {
	if !s.Heard.IsZero() {
		s.Heard = s.Heard.Add(to.Sub(from))
	}
}

func (s *scripted) Status() detect.Status {
	return detect.Status{Tank: s.Name, HandsOnUntil: s.Hands, Empty: s.Gone, Last: maps.Clone(s.Last), HoppedSince: s.Hopped, ReliefKPa: s.Relief}
}

func (s *scripted) MarshalJSON() ([]byte, error) {
	type plain scripted
	return json.Marshal((*plain)(s))
}

func (s *scripted) UnmarshalJSON(body []byte) error {
	type plain scripted
	return json.Unmarshal(body, (*plain)(s))
}
