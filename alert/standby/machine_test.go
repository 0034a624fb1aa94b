package standby

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const after = 20 * time.Second

func noon() time.Time { return time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC) }

func sec(s float64) time.Time { return noon().Add(time.Duration(s * float64(time.Second))) }

func TestTheFirstSpeaksOnceItHasCaughtUp(t *testing.T) {
	m := newMachine(First, after, sec(0))
	_, speaks := m.tick(sec(1), true)
	assert.False(t, speaks, "not linked yet")
	m.link(true, sec(2))
	claim, speaks := m.tick(sec(3), false)
	assert.Nil(t, claim)
	assert.False(t, speaks)
	claim, speaks = m.tick(sec(4), true)
	assert.Equal(t, &Lease{1, First}, claim)
	assert.False(t, speaks, "the second may be there")
	_, speaks = m.tick(sec(9), true)
	assert.True(t, speaks, "nobody handed over: nobody is there")
}

func TestTheSecondSpeaksWhenTheFirstIsSilent(t *testing.T) {
	for name, c := range map[string]struct {
		gone   bool
		silent float64 // last sign of life
		from   float64
	}{
		"no word":        {false, 100, 120},
		"gone, it says":  {true, 100, 110.5},
		"gone long ago":  {true, 10, 20.5},
		"never heard of": {false, 0, 20},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(Second, after, sec(0))
			m.link(true, sec(1))
			m.see(Lease{5, First})
			if c.silent > 0 {
				for s := 2.0; s <= c.silent; s++ {
					m.alive(sec(s))
					_, speaks := m.tick(sec(s), true)
					require.False(t, speaks)
				}
			}
			if c.gone {
				m.lost(sec(c.silent + 0.5))
			}
			claim, speaks := m.tick(sec(c.from-0.1), true)
			assert.Nil(t, claim)
			assert.False(t, speaks)
			claim, speaks = m.tick(sec(c.from), true)
			assert.Equal(t, &Lease{6, Second}, claim)
			assert.True(t, speaks, "nobody is there to hand over")
		})
	}
}

func TestTheFirstTakesOverAgainWhenTheSecondHasHandedOver(t *testing.T) {
	first := newMachine(First, after, sec(0))
	first.link(true, sec(1))
	first.see(Lease{6, Second})
	first.alive(sec(1))
	claim, speaks := first.tick(sec(2), true)
	require.Equal(t, &Lease{7, First}, claim)
	assert.False(t, speaks)
	first.hand(6)
	_, speaks = first.tick(sec(3), true)
	assert.False(t, speaks, "that was handed over before")
	first.hand(7)
	_, speaks = first.tick(sec(3), true)
	assert.True(t, speaks)

	second := newMachine(Second, after, sec(0))
	second.link(true, sec(0))
	second.lease, second.renewed, second.speaking = Lease{6, Second}, true, true
	second.alive(sec(1))
	second.see(*claim)
	claim, speaks = second.tick(sec(2), true)
	assert.Nil(t, claim)
	assert.False(t, speaks)
}

func TestWhoWasFrozenFindsAnotherSpeaking(t *testing.T) {
	m := newMachine(First, after, sec(0))
	m.link(true, sec(1))
	m.tick(sec(2), true)
	_, speaks := m.tick(sec(8), true)
	require.True(t, speaks)
	m.see(Lease{2, Second}) // while it was frozen; it comes to know of it behind the echo
	m.alive(sec(100))
	_, speaks = m.tick(sec(100), false)
	assert.False(t, speaks)
	claim, _ := m.tick(sec(101), true)
	assert.Equal(t, &Lease{3, First}, claim, "it speaks again once it has heard what it missed")
}

func TestWhoWasCutOffIsSilentUntilTheOtherHasHandedOver(t *testing.T) {
	m := newMachine(First, after, sec(0))
	m.link(true, sec(1))
	m.tick(sec(2), true)
	_, speaks := m.tick(sec(8), true)
	require.True(t, speaks)
	m.link(false, sec(9))
	m.see(Lease{2, Second})
	m.alive(sec(40))
	m.link(true, sec(40))
	claim, speaks := m.tick(sec(40), true)
	assert.Equal(t, &Lease{3, First}, claim)
	assert.False(t, speaks)
	m.hand(3)
	_, speaks = m.tick(sec(41), true)
	assert.True(t, speaks)
}

func TestWhereNobodyCanKnowBothSpeak(t *testing.T) {
	first, second := newMachine(First, after, sec(0)), newMachine(Second, after, sec(0))
	for _, m := range []*machine{first, second} {
		m.link(true, sec(1))
		m.alive(sec(1))
	}
	claim, _ := first.tick(sec(1), true)
	second.see(*claim)
	second.alive(sec(7))
	_, speaks := first.tick(sec(7), true)
	require.True(t, speaks)
	first.link(false, sec(8)) // the broker dies
	second.link(false, sec(8))
	_, speaks = first.tick(sec(8), true)
	assert.True(t, speaks, "it goes on")
	_, speaks = second.tick(sec(26), true)
	assert.False(t, speaks)
	_, speaks = second.tick(sec(27), true)
	assert.True(t, speaks)

	first.link(true, sec(60)) // and comes back
	second.link(true, sec(60))
	first.alive(sec(60))
	second.alive(sec(60))
	claim, speaks = first.tick(sec(60), true)
	assert.Equal(t, &Lease{2, First}, claim, "a lease is renewed on each connection")
	assert.True(t, speaks)
	second.see(*claim)
	_, speaks = second.tick(sec(60), true)
	assert.False(t, speaks)
}

func TestALeaseThatNoSpileClaimsCountsForNothing(t *testing.T) {
	for _, l := range []Lease{{0, First}, {9, "third"}, {highest, Second}, {1<<64 - 1, Second}} {
		m := newMachine(First, after, sec(0))
		m.see(Lease{4, Second})
		m.see(l)
		assert.Equal(t, Lease{4, Second}, m.lease, "%+v", l)
	}
}

func TestOfTwoClaimsOfOneNumberTheFirstsCounts(t *testing.T) {
	assert.True(t, Lease{3, First}.beats(Lease{3, Second}))
	assert.False(t, Lease{3, Second}.beats(Lease{3, First}))
	assert.True(t, Lease{4, Second}.beats(Lease{3, First}))
	assert.False(t, Lease{3, First}.beats(Lease{3, First}))
}

// TestSomebodyAlwaysSpeaksInTheEnd throws failures at both machines over a
// broker that delivers at once, and holds them to what is promised: with the
// broker up, two speak together for no longer than it takes to notice; and
// while one of them is there, somebody speaks before long: a broker that comes
// and goes may take from both the time to hear that the other is silent.
func TestSomebodyAlwaysSpeaksInTheEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld()
		steps := rapid.SliceOfN(rapid.SampledFrom([]string{
			"wait", "wait", "kill first", "kill second", "start first", "start second", "freeze first", "thaw first", "broker down", "broker up",
		}), 1, 30).Draw(t, "steps")
		for _, step := range steps {
			w.do(step)
			for range rapid.IntRange(1, 60).Draw(t, "seconds") {
				w.second()
				if w.mute > 40 {
					t.Fatalf("nobody has spoken for %d s after %q", w.mute, step)
				}
				if w.both > 30 {
					t.Fatalf("both have spoken for %d s after %q", w.both, step)
				}
			}
		}
	})
}

// world is two spiles and a broker, moved on second by second.
type world struct {
	now      float64
	broker   bool
	machines map[Role]*machine // nil: not running
	frozen   map[Role]bool
	kept     Lease // retained
	pending  map[Role][]Lease
	mute     int // seconds for which nobody spoke though somebody was there
	both     int // seconds for which both spoke though the broker was there
}

func newWorld() *world {
	w := &world{broker: true, machines: map[Role]*machine{}, frozen: map[Role]bool{}, pending: map[Role][]Lease{}}
	w.start(First)
	w.start(Second)
	return w
}

func (w *world) start(r Role) {
	if w.machines[r] == nil {
		w.machines[r], w.frozen[r] = newMachine(r, after, sec(w.now)), false
		w.connect(r)
	}
}

func (w *world) connect(r Role) {
	if m := w.machines[r]; m != nil && w.broker && !w.frozen[r] {
		m.see(w.kept)
		m.link(true, sec(w.now))
	}
}

func (w *world) kill(r Role) {
	w.machines[r], w.frozen[r] = nil, false
	w.goneTo(r.Other())
}

func (w *world) goneTo(r Role) {
	if m := w.machines[r]; m != nil && w.broker && !w.frozen[r] {
		m.lost(sec(w.now))
	}
}

func (w *world) do(step string) {
	switch step {
	case "kill first":
		w.kill(First)
	case "kill second":
		w.kill(Second)
	case "start first":
		w.start(First)
	case "start second":
		w.start(Second)
	case "freeze first":
		w.frozen[First] = w.machines[First] != nil
		w.goneTo(Second)
	case "thaw first":
		if w.frozen[First] {
			w.frozen[First] = false
			w.machines[First].link(false, sec(w.now)) // its connection is lost meanwhile
			w.connect(First)
		}
	case "broker down":
		w.broker = false
		for r, m := range w.machines {
			if m != nil && !w.frozen[r] {
				m.link(false, sec(w.now))
			}
		}
	case "broker up":
		w.broker = true
		w.connect(First)
		w.connect(Second)
	}
}

// second lets a second pass.
func (w *world) second() {
	w.now++
	awake, speaking := 0, 0
	for _, r := range []Role{First, Second} {
		m := w.machines[r]
		if m == nil || w.frozen[r] {
			continue
		}
		awake++
		other := w.machines[r.Other()]
		reaches := w.broker && other != nil && !w.frozen[r.Other()]
		claim, speaks := m.tick(sec(w.now), true)
		if claim != nil && w.broker {
			w.kept = *claim
			if reaches {
				other.see(*claim)
			}
		}
		if reaches {
			other.alive(sec(w.now))
			if !speaks {
				other.hand(m.lease.Number)
			}
		}
		if speaks {
			speaking++
		}
	}
	w.mute++
	if awake == 0 || speaking > 0 {
		w.mute = 0
	}
	w.both++
	if !w.broker || speaking < 2 {
		w.both = 0
	}
}
