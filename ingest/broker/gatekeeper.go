package broker

import (
	"crypto/subtle"
	"log/slog"
	"slices"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// gatekeeper says who may connect, and what a user may speak and hear of.
type gatekeeper struct {
	mqtt.HookBase
	users  map[string]Credential // empty: everybody
	tankOf func(topic string) string
	log    *slog.Logger
}

func newGatekeeper(o Options) *gatekeeper {
	g := &gatekeeper{users: map[string]Credential{}, tankOf: o.TankOf, log: o.Log}
	for _, c := range o.Credentials {
		g.users[c.Username] = c
	}
	if g.tankOf == nil {
		g.tankOf = func(string) string { return "" }
	}
	return g
}

// ID names the hook in the library's log.
func (g *gatekeeper) ID() string { return "gatekeeper" }

// Provides tells the library which of the hook's methods to call.
func (g *gatekeeper) Provides(event byte) bool {
	return event == mqtt.OnConnectAuthenticate || event == mqtt.OnACLCheck
}

// OnConnectAuthenticate compares the password in constant time.
func (g *gatekeeper) OnConnectAuthenticate(_ *mqtt.Client, pk packets.Packet) bool {
	if len(g.users) == 0 {
		return true
	}
	user, known := g.users[string(pk.Connect.Username)]
	same := subtle.ConstantTimeCompare([]byte(user.Password), pk.Connect.Password) == 1
	return known && same
}

// OnACLCheck keeps a user to the topics of its tanks, where it has any. It is
// asked of topics that are published or delivered, and of filters. A client of
// MQTT 3.1.1 that publishes elsewhere is disconnected by the library.
func (g *gatekeeper) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	user := g.users[string(cl.Properties.Username)]
	if len(user.Tanks) == 0 || slices.Contains(user.Tanks, g.tankOf(topic)) {
		return true
	}
	if write {
		g.log.Warn("a user published to a topic that is not of its tanks: nothing is taken", "user", user.Username, "client", cl.ID, "topic", topic)
	}
	return false
}
