package detect

import (
	"encoding/json"
	"time"
)

// Tank is what spile understands of one tank. It finds nothing yet.
type Tank struct{ name string }

// NewTank begins with an unknown tank of the given settings.
func NewTank(name string, _ Settings) *Tank { return &Tank{name: name} }

// Take hears one reading and returns the findings it changes.
func (t *Tank) Take(Reading) []Finding { return nil }

// Log hears one line of the cellar log and returns the findings it changes.
func (t *Tank) Log(Event) []Finding { return nil }

// Tick looks at the clock, once a minute, and returns the findings it changes.
func (t *Tank) Tick(time.Time) []Finding { return nil }

// Away says that nothing could be heard from one time to the other.
func (t *Tank) Away(_, _ time.Time) {}

// Status is what the tank is taken for.
func (t *Tank) Status() Status { return Status{Tank: t.name} }

// MarshalJSON writes the whole state.
func (t *Tank) MarshalJSON() ([]byte, error) { return json.Marshal(t.name) }

// UnmarshalJSON reads the whole state.
func (t *Tank) UnmarshalJSON(body []byte) error { return json.Unmarshal(body, &t.name) }
