package influx

import (
	"log/slog"
	"sync"
	"time"
)

// State is how the copying stands.
type State struct {
	Problem  string    // what keeps it from going on, empty where nothing does
	Since    time.Time // when that began
	Position int64     // the last entry of the journal that is dealt with
}

// standing is the State while it is written by one and read by many.
type standing struct {
	clock func() time.Time
	log   *slog.Logger

	mu    sync.Mutex // guards what follows
	state State
	note  string // the last word of a store that takes the lines
}

func (s *standing) get() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state
}

// trouble notes what keeps the copying from going on. It is logged when it
// begins and when it becomes another, not at every attempt.
func (s *standing) trouble(problem string, next time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if problem == s.state.Problem {
		return
	}
	if s.state.Problem == "" {
		s.state.Since = s.clock()
	}
	s.state.Problem = problem
	s.log.Warn("readings wait for InfluxDB", "problem", problem, "position", s.state.Position, "next", next)
}

// moved notes progress, and the end of any trouble.
func (s *standing) moved(position int64, note string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.state.Problem != "" {
		s.log.Info("readings go to InfluxDB again", "after", s.clock().Sub(s.state.Since), "position", position)
	}
	if note != "" && s.note == "" {
		s.log.Warn("InfluxDB takes the readings, but says", "note", note)
	}
	s.state = State{Position: position}
	s.note = note
}
