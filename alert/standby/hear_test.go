package standby

import (
	"context"
	"encoding/json"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// silent is a standby that is not connected: what it would do with a disk is done at once.
func silent(t testing.TB, role Role) *Standby {
	t.Helper()
	s, err := New(Options{
		Broker: "mqtt://127.0.0.1:1883", ClientID: "x", Site: "north-quay", Role: role,
		CaughtUp: func() bool { return true }, Handover: func(context.Context) ([]byte, error) { return []byte(`{}`), nil },
		Adopt: func(context.Context, []byte, bool) {}, Done: func(context.Context, []byte) {}, Turned: func(context.Context, bool) {},
		Leased: func(context.Context, uint64) {}, Wake: func() {}, Busy: func() bool { return false },
		Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(t, err)
	s.machine = newMachine(role, after, noon())
	return s
}

// perform does what waits for the loop and for the disk, until nothing does.
func (s *Standby) perform() {
	for {
		select {
		case do := <-s.things:
			do()
		case do := <-s.works:
			do()
		default:
			return
		}
	}
}

// Whatever comes on the topics of the agreement: no panic, no lease that no spile claims, none that is lower than
// before, and the first speaks in the end.
func FuzzHear(f *testing.F) {
	for _, seed := range []struct{ topic, payload string }{
		{"lease", `{"lease":5,"holder":"second"}`}, {"lease", `{"lease":18446744073709551615,"holder":"second"}`}, {"lease", `{"lease":-1}`},
		{"lease", `{"lease":3,"holder":"third"}`}, {"presence", `{"alive":true}`}, {"presence", `{"alive":false}`}, {"presence", `null`}, {"presence", ``},
		{"handover", `{"lease":7,"speaks":true,"body":{"told":["a"]}}`}, {"handover", `{"lease":18446744073709551615,"speaks":true,"body":{}}`},
		{"handover", `{"body":null}`}, {"handover", `[]`}, {"done", `{"incident":"x","verb":"acknowledge"}`}, {"done", "\xff"}, {"echo", `{"number":1,"of":"RUN"}`},
		{"echo", `{"number":1e3}`},
	} {
		f.Add(seed.topic, []byte(seed.payload), false)
		f.Add(seed.topic, []byte(seed.payload), true)
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		s := silent(t, First)
		s.machine.link(true, noon())
		s.machine.see(Lease{4, Second})
		names := map[string]string{
			"lease": s.topics.lease, "presence": s.topics.otherPresence, "handover": s.topics.otherHandover, "done": s.topics.otherDone, "echo": s.topics.echo,
		}
		if name, known := names[topic]; known {
			topic = name
		}
		before := s.machine.lease
		s.hear(t.Context(), topic, payload, retained)
		s.perform()
		now := s.machine.lease
		require.True(t, now == before || now.beats(before) && now.valid(), "%+v", now)
		speaks := false
		for second := range 60 {
			_, speaks = s.machine.tick(noon().Add(time.Duration(second)*time.Second), true)
		}
		require.True(t, speaks)
		require.True(t, s.machine.lease.beats(now) && s.machine.lease.valid(), "%+v", s.machine.lease)
		_, err := json.Marshal(s.machine.lease)
		require.NoError(t, err)
	})
}
