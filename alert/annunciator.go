package alert

import (
	"errors"
	"slices"
	"time"
)

// annunciator carries out the policy: it remembers who was told what of each incident, and so what is still owed to
// whom. What a webhook is owed waits until it may be used; what has been overtaken by then is not told.
//
// Its state is the part that a snapshot holds.
type annunciator struct {
	policy Policy
	words  Words
	state  telling
	out    []Notice // since the last take
}

// telling is everything that an annunciator remembers.
type telling struct {
	Threads  []*thread            `json:"threads,omitempty"` // incidents that are open or still owed, in the order raised
	Lines    map[string]*line     `json:"lines,omitempty"`   // by webhook
	Night    []*happening         `json:"night,omitempty"`   // for the morning reports
	Requests map[string][]request `json:"requests,omitempty"`
	Hands    map[string]*handsOn  `json:"hands,omitempty"` // both by tank

	Silent   bool          `json:"silent,omitempty"`   // another spile tells people
	Theirs   []HandedAlarm `json:"theirs,omitempty"`   // what that one had open
	TheirsAt time.Time     `json:"theirs_at,omitzero"` // when it said so, or fell silent
	Lease    string        `json:"lease,omitempty"`    // the newest that both know
}

// thread is what was told of one incident.
type thread struct {
	Last    Transition        `json:"last"`
	Parties map[string]*party `json:"parties,omitempty"` // by webhook
}

// party is what one webhook has heard of an incident.
type party struct {
	Owed    *Message  `json:"owed,omitempty"` // what it is still to be told
	Called  bool      `json:"called,omitempty"`
	Invited bool      `json:"invited,omitempty"` // hears of it whatever its priority, because another did not answer
	Ringing time.Time `json:"ringing,omitzero"`  // since it was called in vain; zero: nobody is waited for
	Rung    time.Time `json:"rung,omitzero"`     // the newest call
	Repeats int       `json:"repeats,omitempty"`
	Sent    int       `json:"sent,omitempty"`    // messages so far
	Passed  bool      `json:"passed,omitempty"`  // another was called because this one did not answer
	Counted bool      `json:"counted,omitempty"` // among the new alarms of a flood
}

// line is what there is to know of a webhook apart from incidents.
type line struct {
	Waiting  []Message   `json:"waiting,omitempty"` // of no incident, held until it may be used
	Recent   []time.Time `json:"recent,omitempty"`  // of its new alarms
	Flood    bool        `json:"flood,omitempty"`
	FloodAt  time.Time   `json:"flood_at,omitzero"` // when it began
	NextSum  time.Time   `json:"next_sum,omitzero"` // in it
	Reported time.Time   `json:"reported,omitzero"` // the morning up to which it had its report
}

func newAnnunciator(p Policy, w Words) *annunciator {
	return &annunciator{policy: p, words: w, state: telling{
		Lines: map[string]*line{}, Requests: map[string][]request{}, Hands: map[string]*handsOn{},
	}}
}

// take gives what is to be told since the last time.
func (a *annunciator) take() []Notice {
	out := a.out
	a.out = nil
	return out
}

// local is a time by the cellar's clock.
func (a *annunciator) local(at time.Time) time.Time {
	if a.words.Zone == nil {
		return at.UTC()
	}
	return at.In(a.words.Zone)
}

// line finds what is known of a webhook.
func (a *annunciator) line(name string) *line {
	l := a.state.Lines[name]
	if l == nil {
		l = &line{}
		a.state.Lines[name] = l
	}
	return l
}

// thread finds the thread of an incident, or begins it.
func (a *annunciator) thread(t Transition) *thread {
	for _, th := range a.state.Threads {
		if th.Last.ID == t.ID {
			th.Last = t
			return th
		}
	}
	th := &thread{Last: t, Parties: map[string]*party{}}
	a.state.Threads = append(a.state.Threads, th)
	return th
}

// party finds what a webhook has heard, or begins it.
func (th *thread) party(webhook string) *party {
	p := th.Parties[webhook]
	if p == nil {
		p = &party{}
		th.Parties[webhook] = p
	}
	return p
}

// hear takes the steps that happened at one time, and tells who may be told at once.
func (a *annunciator) hear(at time.Time, steps []Transition) {
	if len(steps) == 0 {
		return
	}
	for _, t := range steps {
		a.note(t)
		if len(a.policy.Webhooks) == 0 {
			continue
		}
		th := a.thread(t)
		for _, hook := range a.policy.Webhooks {
			a.owe(th, hook, t)
		}
	}
	a.flush(at, false)
}

// owe notes what a step means to one webhook.
func (a *annunciator) owe(th *thread, hook Webhook, t Transition) {
	p := th.party(hook.Name)
	if t.To == Unacknowledged {
		if a.policy.concerns(hook, t) || p.Called || p.Invited {
			p.Owed, p.Repeats = &Message{Transition: t}, 0
		}
		return
	}
	p.Ringing, p.Repeats, p.Passed = time.Time{}, 0, false
	switch {
	case !p.Called && p.Owed != nil && t.To == Returned && a.line(hook.Name).Flood:
		p.Owed = &Message{Transition: t} // gathered but not told yet: it is still named
	case !p.Called:
		p.Owed = nil // it never heard of it, and need not any more
	case isFollowUp(t):
		p.Owed = &Message{Transition: t}
	case p.Owed != nil && p.Owed.To == Unacknowledged:
		p.Owed = nil
	}
}

// tick looks at the clock, each whole minute: who is to be called again, who as well, and whose hours begin.
func (a *annunciator) tick(at time.Time, now func(Transition) Transition) {
	a.age(at)
	if a.state.Silent {
		a.hush()
	}
	for _, th := range a.state.Threads {
		if th.Last.To != Unacknowledged || !a.tells(th) {
			continue
		}
		for _, hook := range a.policy.Webhooks {
			a.ring(th, hook, at, now)
		}
	}
	a.flush(at, true)
}

// ring decides whether a webhook that was called in vain is called again, and whether another is called as well.
func (a *annunciator) ring(th *thread, hook Webhook, at time.Time, now func(Transition) Transition) {
	p := th.party(hook.Name)
	if p.Ringing.IsZero() {
		return
	}
	if hook.Then != "" && !p.Passed && at.Sub(p.Ringing) >= hook.After {
		p.Passed = true
		a.invite(th, hook, now)
	}
	goesOn := a.policy.Public || p.Repeats < unansweredCalls
	if hook.Repeat > 0 && goesOn && p.Owed == nil && at.Sub(p.Rung) >= hook.Repeat && a.policy.mayCall(hook, th.Last, a.local(at)) {
		p.Repeats++
		p.Owed = &Message{Transition: now(th.Last), Repeat: p.Repeats}
	}
}

// invite calls the webhook that stands behind one which nobody answers. One that rings already need not be told why.
func (a *annunciator) invite(th *thread, hook Webhook, now func(Transition) Transition) {
	known := slices.ContainsFunc(a.policy.Webhooks, func(h Webhook) bool { return h.Name == hook.Then })
	if !known || th.Last.isOf(hook.Then) {
		return
	}
	other := th.party(hook.Then)
	other.Invited = true
	if other.Ringing.IsZero() && other.Owed == nil {
		other.Owed = &Message{Transition: now(th.Last), Unanswered: hook.Name}
	}
}

// owedTo is what a webhook may be told now of one incident.
type owedTo struct {
	thread *thread
	party  *party
}

// flush tells every webhook what it is owed and may be told. In a flood that is with a whole minute.
func (a *annunciator) flush(at time.Time, minute bool) {
	for _, hook := range a.policy.Webhooks {
		var due []owedTo
		for _, th := range a.state.Threads {
			if p := th.Parties[hook.Name]; p != nil && p.Owed != nil && a.tells(th) && a.policy.mayCall(hook, p.Owed.Transition, a.local(at)) {
				due = append(due, owedTo{th, p})
			}
		}
		a.send(hook, due, at, minute)
		a.release(hook, at)
	}
	a.state.Threads = slices.DeleteFunc(a.state.Threads, (*thread).done)
}

// send tells a webhook what is due, each by itself unless they are too many.
func (a *annunciator) send(hook Webhook, due []owedTo, at time.Time, minute bool) {
	l := a.line(hook.Name)
	if l.flooded(due, at) {
		if minute {
			a.sum(hook, l, due, at)
		}
		return
	}
	for _, d := range due {
		a.out = append(a.out, notice(hook.Name, *d.party.Owed, at, d.party.Sent))
		d.party.told(at)
	}
}

// told notes that a webhook was told what it was owed.
func (p *party) told(at time.Time) {
	if p.Owed.To == Unacknowledged {
		p.Called, p.Rung = true, at
		if p.Ringing.IsZero() {
			p.Ringing = at
		}
	}
	p.Owed = nil
	p.Sent++
}

// post hands a message that is of no incident to a webhook, at once where it may be used and else when it may.
func (a *annunciator) post(hook Webhook, m Message, at time.Time) {
	l := a.line(hook.Name)
	l.Waiting = append(l.Waiting, m)
	a.release(hook, at)
}

// postLow hands a message to every webhook that hears of low priority.
func (a *annunciator) postLow(m Message, at time.Time) {
	for _, hook := range a.policy.Webhooks {
		if m.Priority.AtLeast(hook.Priority) {
			a.post(hook, m, at)
		}
	}
}

// release tells a webhook what waits for its hours.
func (a *annunciator) release(hook Webhook, at time.Time) {
	l := a.line(hook.Name)
	if a.state.Silent || len(l.Waiting) == 0 || !hook.open(a.local(at)) {
		return
	}
	for _, m := range l.Waiting {
		a.out = append(a.out, bulletinTo(hook.Name, m, at))
	}
	l.Waiting = nil
}

// done tells whether nothing more is to be told of an incident.
func (th *thread) done() bool {
	if th.Last.To != Normal {
		return false
	}
	for _, p := range th.Parties {
		if p.Owed != nil {
			return false
		}
	}
	return true
}

// restore takes up what a snapshot remembers. What was owed to a webhook that the config no longer has is dropped.
func (a *annunciator) restore(s telling) error {
	fresh := newAnnunciator(a.policy, a.words)
	for _, th := range s.Threads {
		if th == nil {
			return errors.New("an incident without its thread")
		}
		kept := map[string]*party{}
		for _, hook := range a.policy.Webhooks {
			if p := th.Parties[hook.Name]; p != nil {
				kept[hook.Name] = p
			}
		}
		th.Parties = kept
		if !th.done() && len(a.policy.Webhooks) > 0 {
			fresh.state.Threads = append(fresh.state.Threads, th)
		}
	}
	for _, hook := range a.policy.Webhooks {
		if l := s.Lines[hook.Name]; l != nil {
			fresh.state.Lines[hook.Name] = l
		}
	}
	for _, h := range s.Night {
		if h == nil {
			return errors.New("a hole in the night's record")
		}
	}
	fresh.state.Night = s.Night
	fresh.state.Silent, fresh.state.Theirs, fresh.state.TheirsAt = s.Silent, s.Theirs, s.TheirsAt
	fresh.state.Lease = s.Lease
	for tank, open := range s.Requests {
		fresh.state.Requests[tank] = open
	}
	for tank, h := range s.Hands {
		if h != nil {
			fresh.state.Hands[tank] = h
		}
	}
	a.state, a.out = fresh.state, nil
	return nil
}
