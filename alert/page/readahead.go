package page

import (
	"context"
	"sync"
	"time"
)

const (
	aheadEvery  = time.Hour        // for one tank: what is kept of its curves grows by itself
	aheadWithin = 30 * time.Second // or it is given up
)

// readAhead folds the long stretches of a tank while a person looks at the short one: a month takes a second on a small
// machine, and the next tap asks for it. One tank at a time. It is safe for concurrent use.
type readAhead struct {
	clock func() time.Time
	read  func(ctx context.Context, tank string) error
	fault func(tank string, err error)
	ended <-chan struct{} // closed when the server shuts down

	mu   sync.Mutex // guards what follows
	busy bool
	done map[string]time.Time
}

// begin reads ahead for a tank in the background, unless that was done a while ago or another is being read.
func (r *readAhead) begin(tank string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.clock()
	if last, known := r.done[tank]; r.busy || known && now.Sub(last).Abs() < aheadEvery {
		return
	}
	if r.done == nil {
		r.done = map[string]time.Time{}
	}
	r.busy, r.done[tank] = true, now
	go r.run(tank)
}

func (r *readAhead) run(tank string) {
	ctx, cancel := beside(r.ended, aheadWithin)
	defer cancel()
	if err := r.read(ctx, tank); err != nil && ctx.Err() == nil {
		r.fault(tank, err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.busy = false
}

// beside is for work that outlives the page which asked for it: it lasts so long at most, and ends with the server.
func beside(ended <-chan struct{}, within time.Duration) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	go func() {
		select {
		case <-ended:
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, cancel
}

// foldAhead reads what the longer stretches of a tank need.
func (s *Server) foldAhead(ctx context.Context, tank string) error {
	for _, longer := range stretches[1:] {
		if _, err := s.drawn(ctx, tank, longer, s.Clock()); err != nil {
			return err
		}
	}
	return nil
}
