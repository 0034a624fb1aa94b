package detect

import (
	"encoding/json"
	"time"
)

// Tank is what spile understands of one tank: the newest values, what the log
// says was done, and the watchers. It is not safe for use by several
// goroutines at once.
type Tank struct {
	name     string
	settings Settings
	state    tankState
}

// tankState is everything a Tank has learned. It is plain data, so that a
// snapshot holds all of it.
type tankState struct {
	Now      time.Time // the latest arrival or tick
	Last     map[Quantity]Latest
	Probes   map[string]*probeState
	Book     book
	Acts     acts
	Drift    drift
	Beer     glimpse // before the newest moment
	Head     head
	Floats   map[string]*float
	Balances map[string]*balance
	Gauges   map[string]*gauge
	Lone     map[string]*lone               // gauges while no thermometer is heard
	Habits   map[string]map[Quantity]*habit // of each probe
	Finish   finish
	Verdict  verdict
	Outlook  outlook
	Opening  opening
	Hops     hopCharge
	Hands    hands
	Calms    map[string]*calm // of each gauge
	Air      barometer
	Outside  map[string]Latest // what each probe outside said last, kPa absolute
	Logged   bool              // by people, and not only that a probe was moved

	kept bool // something is remembered of before the newest moment, or unsure in it, until the next begins
}

// NewTank begins with a tank of which nothing has been heard.
func NewTank(name string, s Settings) *Tank {
	t := &Tank{name: name, settings: s.filled()}
	t.state = tankState{
		Last:     map[Quantity]Latest{},
		Probes:   map[string]*probeState{},
		Floats:   map[string]*float{},
		Balances: map[string]*balance{},
		Gauges:   map[string]*gauge{},
		Lone:     map[string]*lone{},
		Habits:   map[string]map[Quantity]*habit{},
		Calms:    map[string]*calm{},
		Outside:  map[string]Latest{},
	}
	t.state.Book.Gas = GasUnknown
	if s.Sealed {
		t.state.Book.Gas = GasClosed
	}
	return t
}

// Take hears one reading, in the order of the journal, and returns the
// findings that it changes.
func (t *Tank) Take(r Reading) []Finding {
	t.advance(r.Arrived)
	t.state.Beer.By = r.Probe
	out := t.heard(r)
	if t.settings.IsOutside(r.Probe) {
		t.hearOutside(r)
		t.Air(r)
		return out
	}
	if r.Late || t.state.Probes[r.Probe].Out {
		return out
	}
	now, ok := t.state.Last[r.Quantity]
	if !ok || r.Time.After(now.Time) || (r.Time.Equal(now.Time) && r.Probe >= now.Probe) {
		t.state.Last[r.Quantity] = Latest{Value: r.Value, Time: r.Time, Probe: r.Probe}
	}
	out = append(out, t.watchProbe(r)...)
	switch r.Quantity {
	case Gravity:
		out = append(out, t.takeGravity(r)...)
	case Temperature:
		out = append(out, t.takeTemperature(r)...)
	case Pressure:
		out = append(out, t.takePressure(r)...)
	}
	return t.foretell(append(out, t.perhapsHops(r)...))
}

// Tick looks at the clock, once a minute of arrival time, and returns the
// findings that the passing of time alone changes.
func (t *Tank) Tick(at time.Time) []Finding {
	t.advance(at)
	t.keepOutlook()
	out := t.unanswered(at)
	return append(append(out, t.loseLone(at)...), t.silence(at)...)
}

// unanswered takes back the questions that nobody will answer any more. Where none stands there is nothing to take back.
func (t *Tank) unanswered(at time.Time) (out []Finding) {
	if at.Sub(t.state.Hops.Asked) >= hopsQuestion {
		out = t.hopsAnswered(at, "two days have passed")
	}
	if !t.state.Hands.Asked.IsZero() && at.Sub(t.state.Hands.Asked) >= askStands && !t.stillDoubts() {
		out = append(out, t.handAnswered(at, "three days have passed, and no float that is heard shows a fall")...)
	}
	if at.Sub(t.state.Head.Gone.Asked) >= askStands {
		out = append(out, t.goneAnswered(at, "three days have passed")...)
	}
	return out
}

// Away says that spile itself heard nothing from one time to the other, which
// is no probe's silence.
func (t *Tank) Away(from, to time.Time) {
	gap := to.Sub(from)
	for _, p := range t.state.Probes {
		if p.HeardAt.Before(from) {
			p.HeardAt = p.HeardAt.Add(gap)
		} else if p.HeardAt.Before(to) {
			p.HeardAt = to
		}
	}
	t.advance(to)
}

func (t *Tank) advance(at time.Time) {
	if at.After(t.state.Now) {
		t.state.Now = at
	}
	t.notice(at)
}

// MarshalJSON writes all that the tank has learned; its settings are the
// config's and stay out.
func (t *Tank) MarshalJSON() ([]byte, error) { return json.Marshal(&t.state) }

// UnmarshalJSON takes up what MarshalJSON wrote. The tank keeps its settings.
func (t *Tank) UnmarshalJSON(body []byte) error {
	fresh := NewTank(t.name, t.settings).state
	if err := json.Unmarshal(body, &fresh); err != nil {
		return err
	}
	fresh.kept = true // perhaps
	t.state = fresh
	return nil
}
