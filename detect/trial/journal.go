package trial

import (
	"time"

	"spile/detect"
)

// journal gives a tank its readings as a journal would: a repeat is dropped, and one that is older than the newest of
// its probe and quantity is marked late.
type journal struct {
	series map[seriesKey]*series
}

type seriesKey struct {
	probe    string
	quantity detect.Quantity
}

// series remembers the newest own time, and the last few heard, in which a repeat must be found again: it comes within a
// minute of the first, and no probe here sends more than six in a minute.
type series struct {
	newest time.Time
	recent [32]time.Time
	next   int
}

func newJournal() *journal { return &journal{series: map[seriesKey]*series{}} }

// commit marks a reading and tells whether it is new.
func (j *journal) commit(r *detect.Reading) bool {
	key := seriesKey{r.Probe, r.Quantity}
	s := j.series[key]
	if s == nil {
		s = &series{}
		j.series[key] = s
	}
	switch {
	case r.Time.After(s.newest):
		s.newest = r.Time
	case s.knows(r.Time):
		return false
	default:
		r.Late = true
	}
	s.recent[s.next] = r.Time
	s.next = (s.next + 1) % len(s.recent)
	return true
}

func (s *series) knows(at time.Time) bool {
	for _, t := range s.recent {
		if t.Equal(at) {
			return true
		}
	}
	return false
}
