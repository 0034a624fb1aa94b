package broker

import (
	"crypto/subtle"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// gatekeeper says who may connect. Who is in may publish and subscribe.
type gatekeeper struct {
	mqtt.HookBase
	passwords map[string]string // by username; empty: everybody
}

func newGatekeeper(credentials []Credential) *gatekeeper {
	g := &gatekeeper{passwords: map[string]string{}}
	for _, c := range credentials {
		g.passwords[c.Username] = c.Password
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
	if len(g.passwords) == 0 {
		return true
	}
	want, known := g.passwords[string(pk.Connect.Username)]
	same := subtle.ConstantTimeCompare([]byte(want), pk.Connect.Password) == 1
	return known && same
}

// OnACLCheck lets clients speak and hear on every topic.
func (g *gatekeeper) OnACLCheck(*mqtt.Client, string, bool) bool { return true }
