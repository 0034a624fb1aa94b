package detect

import (
	"slices"
	"time"
)

// The tops that are not learned yet, of the first day under a setpoint or while an alarm stands. A coarse thermostat, seen by a
// thermometer that reads high, comes as near to the limit with each turn.

// back is a top from which the beer came back before it passed its limit.
type back struct {
	At   time.Time // when it had turned
	Over float64   // K over the setpoint, as this thermometer reads it: a thermostat keeps that under the next one
}

// How it is held against the next climb (judgement).
const (
	backFor  = 2 * 24 * time.Hour // under the setpoint in force
	backPast = 0.15               // K past it, by the line of the climb
)

// comesBack follows the newest mean of beer that is held, and keeps the tops from which it comes back before its limit.
func (h *heading) comesBack(setpoint, limit float64, now side, since time.Time) {
	at, level := h.Trail[len(h.Trail)-1].At, mean(h.Trail)
	h.Backs = slices.DeleteFunc(h.Backs, func(b back) bool { return at.Sub(Later(b.At, since)) > backFor })
	if h.Newest == (saw{}) {
		h.Newest = saw{Turning: level, Falls: true}
	}
	top := h.Newest.Turning
	turned := h.Newest.follows(level, h.turnsBy())
	switch {
	case turned && (h.Passed || top > limit):
	case turned && h.Turns >= turnsKnown && top > h.top(0)+lookPast()[0]: // no thermostat turned it there
	case turned:
		h.keepBack(back{At: at, Over: top - setpoint})
	case !h.Newest.Falls && now == warm: // cooling does fail: what came back before tells nothing
		h.Passed, h.Backs = true, nil
	}
	if turned {
		h.Passed = false
	}
}

// keepBack takes one in, in place of those before it that ask for no more.
func (h *heading) keepBack(b back) {
	h.Backs = slices.DeleteFunc(h.Backs, func(was back) bool { return was.Over <= b.Over })
	h.Backs = append(h.Backs, b)
}

// beyond tells whether beer that is so warm by a line is clearly past what it came back from lately. Once its tops are known
// they tell all: cooling that failed, and was mended, is to be told again as early.
func (h *heading) beyond(celsius, setpoint float64) bool {
	return h.known() || !slices.ContainsFunc(h.Backs, func(b back) bool {
		top := setpoint + b.Over
		return celsius < top+backPast || h.settled() < top+leastPast
	})
}

// forgetBacks forgets those since a time.
func (h *heading) forgetBacks(since time.Time) {
	h.Backs = slices.DeleteFunc(h.Backs, func(b back) bool { return b.At.After(since) })
	h.Newest, h.Passed = saw{}, false
}
