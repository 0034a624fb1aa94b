package webhook

import (
	"maps"
	"slices"
	"sync"
	"time"
)

// failingAfter is how long a queue may stick before its webhook counts as failing: long enough for a router that
// restarts, short beside a night (our choice).
const failingAfter = 15 * time.Minute

// Standing is how a webhook does.
type Standing struct {
	Webhook   string
	Waiting   int       // messages
	Oldest    time.Time // creation of the oldest that waits; zero: none does
	Delivered time.Time // of the newest delivery since the start; zero: none yet
	Since     time.Time // since when a queue sticks, or the webhook is dead; zero: neither
	Problem   string    // what came back then, in words without address or secret
	Dead      bool      // it answered that it wants no more messages: nothing is tried until the next start
	Failing   bool      // dead, or stuck for 15 minutes: somebody is to be told by another road
}

// trouble is why and since when a queue sticks.
type trouble struct {
	since   time.Time
	problem string
}

// record is what a lane notes of its webhook. Its methods may be called from any goroutine.
type record struct {
	mu        sync.Mutex // guards what follows
	waiting   int
	oldest    time.Time
	delivered time.Time
	stuck     map[string]trouble // by incident, since the start
	dead      *trouble
	looked    bool // into the outbox, once at least
	told      bool // that it fails or works
	failing   bool // as it was told
}

// see notes what lies in the outbox. An incident of which nothing waits here any more is stuck no more: another spile
// has told it, or is to.
func (r *record) see(queues []Queue) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.looked, r.waiting, r.oldest = true, 0, time.Time{}
	for i, q := range queues {
		r.waiting += q.Waiting
		if i == 0 {
			r.oldest = q.Created
		}
	}
	maps.DeleteFunc(r.stuck, func(incident string, _ trouble) bool {
		return !slices.ContainsFunc(queues, func(q Queue) bool { return q.Incident == incident })
	})
}

// note takes down how an attempt went.
func (r *record) note(incident string, a Attempt) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case a.Result == Delivered:
		r.delivered = a.At
		delete(r.stuck, incident)
	case a.Result == Dead && r.dead == nil:
		r.dead = &trouble{a.At, a.Problem}
	case a.Result == Retry:
		since := a.At
		if before, ok := r.stuck[incident]; ok {
			since = before.since
		}
		if r.stuck == nil {
			r.stuck = map[string]trouble{}
		}
		r.stuck[incident] = trouble{since, a.Problem}
	}
}

// isDead tells whether the webhook wants no more messages.
func (r *record) isDead() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.dead != nil
}

// standing is how the webhook does.
func (r *record) standing(name string, now time.Time) Standing {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.standingLocked(name, now)
}

func (r *record) standingLocked(name string, now time.Time) Standing {
	s := Standing{Webhook: name, Waiting: r.waiting, Oldest: r.oldest, Delivered: r.delivered}
	for _, t := range r.stuck {
		if s.Since.IsZero() || t.since.Before(s.Since) {
			s.Since, s.Problem = t.since, t.problem
		}
	}
	s.Failing = !s.Since.IsZero() && now.Sub(s.Since) >= failingAfter
	if r.dead != nil {
		s.Since, s.Problem, s.Dead, s.Failing = r.dead.since, r.dead.problem, true, true
	}
	return s
}

// turn tells whether the webhook has begun or ceased to fail since it was last told. That it works is known once
// nothing waits: neither a start alone nor a delivery of something else mends what is stuck.
func (r *record) turn(name string, now time.Time) (Standing, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := r.standingLocked(name, now)
	works := s.Since.IsZero() && r.looked && r.waiting == 0
	if !s.Failing && !works || r.told && r.failing == s.Failing {
		return s, false
	}
	r.told, r.failing = true, s.Failing
	return s, true
}
