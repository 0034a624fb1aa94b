package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"
)

const (
	streamPace  = 500 * time.Millisecond // between looks at the cellar
	streamAlive = 15 * time.Second       // after so long without a change a comment shows that the line holds
	streamsMost = 64                     // more than the screens of a brewery, fewer than what is felt
)

// news is what a stream tells: which tanks look otherwise than before; "" is the cellar as a whole. It carries no
// figures: who listens reads the page again.
type news struct {
	Tanks []string `json:"tanks"`
}

// changesStream tells a page, by server-sent events, that it is old. A page without a script renews itself instead.
func (s *Server) changesStream(w http.ResponseWriter, r *http.Request) error {
	if r.Method == http.MethodHead {
		w.Header().Set("Content-Type", "text/event-stream")
		return nil
	}
	if s.streams.Add(1) > streamsMost {
		s.streams.Add(-1)
		w.Header().Set("Retry-After", "10")
		return &problem{http.StatusServiceUnavailable, fmt.Sprintf("%d pages are being kept fresh, no more can be: reload this one by hand", streamsMost)}
	}
	defer s.streams.Add(-1)
	w.Header().Set("Content-Type", "text/event-stream")
	out := stream{w: w, control: http.NewResponseController(w)}
	// The limit on reading a request would end a stream; a writer without one needs none.
	_ = out.control.SetReadDeadline(time.Time{})
	seen := s.pulse.look(time.Now()) // before the client knows that it is heard: what comes from then on is told
	if err := out.send(": what changed since now\nretry: 2000\n\n"); err != nil {
		return nil // the client has gone: nobody is left to tell
	}
	s.follow(r, out, seen)
	return nil
}

// follow tells of changes from what was seen until the client goes or the server ends.
func (s *Server) follow(r *http.Request, out stream, seen map[string]uint64) {
	ticks := time.NewTicker(streamPace)
	defer ticks.Stop()
	told := time.Now()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-s.closing:
			return
		case now := <-ticks.C:
			var text string
			marks := s.pulse.look(now)
			switch tanks := changed(seen, marks); {
			case len(tanks) > 0:
				body, err := json.Marshal(news{tanks})
				if err != nil {
					s.Log.Error("a change was not told", "error", err)
					return
				}
				text = "event: change\ndata: " + string(body) + "\n\n"
			case now.Sub(told) >= streamAlive:
				text = ": all is as it was\n\n"
			default:
				continue
			}
			if out.send(text) != nil {
				return
			}
			seen, told = marks, now
		}
	}
}

// stream writes events at once, each within the write limit.
type stream struct {
	w       http.ResponseWriter
	control *http.ResponseController
}

func (s stream) send(text string) error {
	_ = s.control.SetWriteDeadline(time.Now().Add(writeTimeout))
	if _, err := s.w.Write([]byte(text)); err != nil {
		return err
	}
	return s.control.Flush()
}
