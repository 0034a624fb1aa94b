package webhook

import (
	"context"
	"slices"
	"time"
)

// lane is one webhook's way out, with all its queues.
type lane struct {
	target *target
	wake   chan struct{}
	record record
}

// run sends what waits for one webhook, until run ends.
func (s *Sender) run(run, work context.Context, l *lane) {
	busy := underWay{}
	finished := make(chan string, abreast) // room for all, so that none waits to be heard
	for run.Err() == nil {
		wait := s.takeUp(run, work, l, busy, finished)
		timer := time.NewTimer(wait)
		select {
		case <-timer.C:
		case <-l.wake:
		case incident := <-finished:
			delete(busy, incident)
		case <-run.Done():
		}
		timer.Stop()
	}
}

// takeUp looks into the outbox, begins to send what is due and tells how long to wait before the next look.
func (s *Sender) takeUp(run, work context.Context, l *lane, busy underWay, finished chan<- string) time.Duration {
	queues, err := s.outbox.Queues(run, l.target.name)
	if err != nil {
		if run.Err() == nil {
			s.log.Error("outbox cannot be read", "webhook", l.target.name, "error", err)
		}
		return outboxWait
	}
	if s.gate != nil && !s.gate.Speaks() {
		queues = slices.DeleteFunc(queues, func(q Queue) bool { return !q.Own })
	}
	l.record.see(queues)
	s.turn(l)
	if l.record.isDead() {
		return idle
	}
	chosen, wait := pick(queues, busy, s.clock())
	for _, m := range chosen {
		busy[m.Incident] = m.Attempts > 0
		s.done.Go(func() {
			s.deliver(work, l, m)
			finished <- m.Incident
		})
	}
	if wait == 0 || wait > idle {
		return idle
	}
	return wait
}

// turn tells whoever asked that a webhook has begun or ceased to fail.
func (s *Sender) turn(l *lane) {
	standing, turned := l.record.turn(l.target.name, s.clock())
	if !turned {
		return
	}
	if standing.Failing {
		s.log.Error("webhook fails", "webhook", standing.Webhook, "since", standing.Since, "dead", standing.Dead, "problem", standing.Problem)
	}
	s.turned(standing)
}

// deliver tries one message and settles it. When work ends first it is still in the outbox.
func (s *Sender) deliver(work context.Context, l *lane, m Message) {
	if s.gate != nil && !m.Own && !s.gate.May(work) {
		rest(work, gateWait)
		return
	}
	s.sending.Add(1)
	defer s.sending.Add(-1)
	answer, err := s.send(work, l.target, m.ID, m.Body)
	if work.Err() != nil && err != nil {
		return
	}
	attempt := s.outcome(m, answer, err, s.clock())
	s.metrics.count(l.target.name, attempt.Result)
	s.report(l, m, attempt)
	if s.settle(work, l, m.ID, attempt) {
		l.record.note(m.Incident, attempt)
	}
}

// settle notes an attempt in the outbox, again and again until it takes it: a message must not go out twice because
// the disk was busy.
func (s *Sender) settle(work context.Context, l *lane, id string, a Attempt) bool {
	for {
		err := s.outbox.Settle(work, id, a)
		if err == nil {
			return true
		}
		s.log.Error("outbox cannot be written", "webhook", l.target.name, "message", id, "error", err)
		if !rest(work, outboxWait) {
			return false
		}
	}
}

// report logs an attempt.
func (s *Sender) report(l *lane, m Message, a Attempt) {
	log := s.log.With("webhook", l.target.name, "message", m.ID, "incident", m.Incident, "attempt", m.Attempts+1)
	switch a.Result {
	case Delivered:
		log.Info("notification delivered", "after", a.At.Sub(m.Created).Round(time.Millisecond))
	case Retry:
		log.Warn("notification not delivered yet", "problem", a.Problem, "next", a.Next)
	case Dead:
		log.Error("webhook is dead, its messages wait for a better address", "problem", a.Problem)
	}
}

// rest waits. False means that ctx ended.
func rest(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
