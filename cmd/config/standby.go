package config

import (
	"fmt"
	"time"

	"go.yaml.in/yaml/v4"

	"spile/alert/standby"
)

// How long the other may be silent before this one speaks: a broker needs
// fifteen seconds to find out that a client is gone, and nobody should wait for
// more than minutes.
const (
	shortestSilence = 15 * time.Second
	longestSilence  = 10 * time.Minute
)

// Standby is this spile's part where two watch one cellar.
type Standby struct {
	Role  standby.Role
	After time.Duration // of the first's silence, until the second speaks
}

func (r *reader) standby(c *Config) take {
	return func(at string, n *yaml.Node) {
		s := &Standby{After: standby.After}
		r.mapping(map[string]take{
			"role": value(r, &s.Role, func(text string) (standby.Role, error) {
				role := standby.Role(text)
				if role != standby.First && role != standby.Second {
					return "", fmt.Errorf("%q is no role: write first, for the one that speaks whenever it can, or second", text)
				}
				return role, nil
			}),
			"after": value(r, &s.After, span(shortestSilence, longestSilence)),
		})(at, n)
		r.needs(at, n, "role")
		c.Standby = s
	}
}

// checkStandby sees that the two can find each other, and do not push each
// other off the broker.
func (r *reader) checkStandby(c *Config) {
	if c.Standby == nil {
		return
	}
	if c.MQTT.Broker == "" {
		r.faultAt("standby", "standby needs mqtt.broker: two spiles find each other by a broker that stands apart from both")
	}
	if _, named := r.given["mqtt.client_id"]; !named && c.Standby.Role == standby.Second {
		c.MQTT.ClientID += "-second" // of two clients of one name a broker keeps the newer
	}
}

func (s *Standby) words() []string {
	if s == nil {
		return []string{"none, this spile watches alone"}
	}
	return []string{string(s.Role) + " of two", "the second speaks after " + length(s.After)}
}
