package standby

import (
	"bytes"
	"context"
	"encoding/json"
	"time"
)

// give hands over what has changed, and tells whether something had. One that
// does not speak hands over once it is told to, and then what it still told.
func (s *Standby) give(ctx context.Context) bool {
	body, err := s.options.Handover(ctx)
	if err != nil {
		if ctx.Err() == nil {
			s.log.Error("nothing can be handed over", "error", err)
		}
		return false
	}
	now := handed{Lease: s.machine.lease.Number, Speaks: s.machine.speaking, Body: body}
	if now.Lease == s.given.Lease && now.Speaks == s.given.Speaks && bytes.Equal(now.Body, s.given.Body) {
		return false
	}
	text, err := json.Marshal(now)
	if err != nil {
		s.log.Error("nothing can be handed over", "error", err)
		return false
	}
	if s.publish(s.topics.handover, text, qos, true) {
		s.given, s.owed = now, false
	}
	return true
}

// consider takes what the other handed over, as far as it is news. The other
// knows best while it speaks, and when it ceases to because this one claims.
func (s *Standby) consider(ctx context.Context) {
	h, m := s.theirs, s.machine
	if h == nil || !m.linked {
		return
	}
	s.theirs = nil
	if h.Speaks {
		m.see(Lease{h.Lease, s.options.Role.Other()})
	}
	speaksThere := h.Speaks && m.lease == Lease{h.Lease, s.options.Role.Other()}
	yields := !h.Speaks && m.holds() && h.Lease == m.lease.Number && !m.claimed.IsZero()
	whole := !m.speaking && (speaksThere || yields)
	s.work(ctx, func() { s.options.Adopt(ctx, h.Body, whole) })
	if yields {
		s.work(ctx, func() { s.then(ctx, func() { m.hand(h.Lease) }) }) // once it is adopted
	}
}

// hear takes a message of the agreement.
func (s *Standby) hear(ctx context.Context, topic string, payload []byte, retained bool) {
	var err error
	switch topic {
	case s.topics.lease:
		var l Lease
		if err = json.Unmarshal(payload, &l); err == nil {
			before := s.machine.lease
			s.machine.see(l)
			s.owed = s.owed || s.machine.lease != before && l.Holder != s.options.Role
		}
	case s.topics.otherPresence:
		var p presence
		if err = json.Unmarshal(payload, &p); err == nil {
			s.meet(p, retained)
		}
	case s.topics.otherHandover:
		var h handed
		if err = json.Unmarshal(payload, &h); err == nil {
			s.theirs = &h
			s.consider(ctx)
		}
	case s.topics.otherDone:
		s.work(ctx, func() { s.options.Done(ctx, payload) })
	case s.topics.echo:
		var e echo
		if err = json.Unmarshal(payload, &e); err == nil {
			s.echoed(ctx, e)
		}
	}
	if err != nil {
		s.log.Warn("what another says of standing by cannot be read", "topic", topic, "problem", err)
	}
}

// presence is a sign of life, or the broker's word that there will be no more.
type presence struct {
	Alive bool `json:"alive"`
}

func (p presence) json() []byte {
	if p.Alive {
		return []byte(`{"alive":true}`)
	}
	return []byte(`{"alive":false}`)
}

// meet notes whether the other is there. One that the broker has kept may be of
// any age.
func (s *Standby) meet(p presence, retained bool) {
	switch {
	case !p.Alive:
		s.machine.lost(time.Now())
	case !retained:
		s.machine.alive(time.Now())
	}
}

// echo is a message of this one to itself. What the broker sent before it has
// been heard when it comes back.
type echo struct {
	Number uint64 `json:"number"`
	Of     string `json:"of"` // this run of this process
}

// echoed notes that the broker has been heard up to an echo.
func (s *Standby) echoed(ctx context.Context, e echo) {
	if e.Of != s.topics.run {
		return // of a run before
	}
	now := time.Now()
	if e.Number >= s.linkEcho && !s.machine.linked && s.client != nil {
		s.machine.link(true, now)
		s.log.Info("the other spile is within reach of this one's broker", "lease", s.machine.lease.Number, "holder", s.machine.lease.Holder)
		s.given = handed{} // whatever the broker kept
		s.consider(ctx)    // before this one claims
		s.tick(ctx)
		s.again(ctx)
	}
	s.checked = now
	s.settle(func(q question) bool { return q.echo <= e.Number })
}
