package broker

import (
	"log/slog"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// maxAbsent is how many sessions are kept of clients that are not there: as many
// as may be there.
const maxAbsent = maxClients

// sessions lets go of the sessions that have been left longest. The library keeps
// any number of them for a day: a device that asks for one, and comes under
// another name each time, would fill the memory with them.
type sessions struct {
	mqtt.HookBase
	server *mqtt.Server
	log    *slog.Logger
	most   int // clients and absent sessions together
	said   sync.Once
	mu     sync.Mutex // one lets go at a time
}

// ID names the hook in the library's log.
func (s *sessions) ID() string { return "sessions" }

// Provides tells the library which of the hook's methods to call.
func (s *sessions) Provides(event byte) bool {
	return event == mqtt.OnSessionEstablished || event == mqtt.OnClientExpired
}

// OnSessionEstablished makes room for who has come.
func (s *sessions) OnSessionEstablished(*mqtt.Client, packets.Packet) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for s.server.Clients.Len() > s.most {
		longest := s.longestAbsent()
		if longest == nil {
			return
		}
		s.said.Do(func() {
			s.log.Warn("there are more sessions of absent clients than are kept: the oldest are let go. "+
				"Does a device connect under a new name each time? Let it keep one, or ask for a clean session", "kept", s.most, "client", longest.ID)
		})
		s.server.Clients.Delete(longest.ID)
		s.OnClientExpired(longest)
	}
}

// longestAbsent is the client that left before all others; nil where none has.
func (s *sessions) longestAbsent() (longest *mqtt.Client) {
	for _, c := range s.server.Clients.GetAll() {
		left := c.StopTime()
		if left > 0 && !c.IsTakenOver() && (longest == nil || left < longest.StopTime()) {
			longest = c
		}
	}
	return longest
}

// OnClientExpired takes what a session had subscribed to off the library's list,
// where it would stay for ever.
func (s *sessions) OnClientExpired(c *mqtt.Client) {
	c.ClearInflights()
	s.server.UnsubscribeClient(c)
}
