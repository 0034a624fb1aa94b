package detect

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// Status is what spile takes a tank for, as people look at it.
type Status struct {
	Tank            string
	Last            map[Quantity]Latest
	Gauges          []Latest      // of head pressure, each one's newest that was believed, by name
	Probes          []ProbeStatus // by name
	SetpointCelsius *float64      // the crash setpoint in force
	Gas             Gas
	ReliefKPa       float64   // 0: not given, over-pressure is not watched
	SetpointSince   time.Time // when that setpoint was logged
	HoppedSince     time.Time
	HandsOnUntil    time.Time
	Empty           bool
	Working         bool      // pitched or added to by the log
	Finished        bool      // by the log: crashed, hopped or its yeast taken off since
	CO2Rate         *Interval // g/L per day, where it can be told
	ExplainedKPa    *float64  // head pressure, gauge, without what was made since; of a tank that was not opened
	Forecast        *Forecast // where beer that works again leads, as it looks now
	Learning        []string  // what cannot be judged yet and why, in words
	Outside         bool      `json:",omitempty"` // no tank: a name under which probes outside alone speak
	Air             []Latest  `json:",omitempty"` // the newest of each probe outside that is published here, kPa absolute, right or wrong
}

// Latest is the newest value of a quantity.
type Latest struct {
	Value float64 // inside unit
	Time  time.Time
	Probe string
}

// ProbeStatus is when a probe was last heard.
type ProbeStatus struct {
	Probe     string
	LastHeard time.Time // arrival
	Out       bool      // taken out of the tank by the log
	Outside   bool      `json:",omitempty"` // it is in no tank
}

// Gas is how a tank holds its pressure.
type Gas string

// The ways a tank holds its pressure, in the words that people see.
const (
	GasUnknown   Gas = "not known"
	GasClosed    Gas = "closed, holding pressure"
	GasHeldAbove Gas = "held from above by a valve"
	GasHeldBelow Gas = "held from below by CO2 left on"
	GasOpen      Gas = "open"
)

// mayBeClosed tells whether, by the log, the tank keeps what gas it has: it was closed, or nobody said how it stands.
func (g Gas) mayBeClosed() bool { return g == GasClosed || g == GasUnknown }

// Status is what the tank is taken for now.
func (t *Tank) Status() Status {
	s := Status{
		Tank:         t.name,
		Last:         make(map[Quantity]Latest, len(t.state.Last)),
		Probes:       t.probeStatus(),
		Gas:          t.state.Book.Gas,
		ReliefKPa:    t.settings.ReliefKPa,
		HoppedSince:  t.state.Book.Hopped,
		HandsOnUntil: t.state.Book.HandsOn,
		Empty:        t.state.Book.Empty,
		Working:      t.state.Book.Working,
		Finished:     t.state.Book.Finished,
		CO2Rate:      t.co2Rate(),
		Forecast:     t.state.Outlook.Forecast,
		Learning:     t.learning(),
		Outside:      t.isOutside(),
		Air:          t.air(),
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Balances)) {
		if g := t.state.Balances[name].Gate; g.Seen {
			s.Gauges = append(s.Gauges, Latest{Value: g.Value, Time: g.At, Probe: name})
		}
	}
	s.ExplainedKPa = t.explainedPressure()
	for q, l := range t.state.Last {
		s.Last[q] = l
	}
	if t.state.Book.HasSetpoint {
		setpoint := t.state.Book.Setpoint
		s.SetpointCelsius, s.SetpointSince = &setpoint, t.state.Book.SetAt
	}
	return s
}

// probeStatus is when each probe was heard last, by name.
func (t *Tank) probeStatus() []ProbeStatus {
	var out []ProbeStatus
	for _, name := range slices.Sorted(maps.Keys(t.state.Probes)) {
		p := t.state.Probes[name]
		out = append(out, ProbeStatus{Probe: name, LastHeard: p.HeardAt, Out: p.Out, Outside: t.settings.IsOutside(name)})
	}
	return out
}

// co2Rate is the make of CO2, g/L per day: by a gauge where the tank lets it move, else by a float that falls; nil where
// neither tells. What a valve lets go, or a regulator feeds, is no measure of what is made.
func (t *Tank) co2Rate() *Interval {
	if len(t.state.Balances) == 0 || t.mayMove() {
		return t.state.Verdict.CO2Rate
	}
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		if rate := t.makeOfFall(t.state.Floats[name]); rate != nil {
			return rate
		}
	}
	return nil
}

// explainedPressure is head pressure without the CO2 made since the tank was last opened: what temperature and the
// exchange between beer and head explain. A tank that is open, or held by a valve or a regulator, tells nothing of it.
func (t *Tank) explainedPressure() *float64 {
	if !t.state.Book.Gas.mayBeClosed() {
		return nil
	}
	names := slices.Sorted(maps.Keys(t.state.Balances))
	if len(names) == 0 || t.state.Balances[names[0]].At.IsZero() {
		return nil
	}
	b := t.state.Balances[names[0]]
	made, _ := b.made()
	explained := b.Level - t.settings.AtmosphereKPa - made/capacity(b.Celsius, t.headspaceShare())
	return &explained
}

// learning says what cannot be judged yet, and why.
func (t *Tank) learning() []string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(t.state.Floats)) {
		if n := len(t.state.Floats[name].Points); n < floatLeast {
			out = append(out, fmt.Sprintf("learning the noise of %s, %d h to go", name, floatLeast-n))
		}
	}
	waits := t.waitsForSetpoint()
	for _, name := range slices.Sorted(maps.Keys(t.state.Balances)) {
		b := t.state.Balances[name]
		switch {
		case waits > 0:
			out = append(out, fmt.Sprintf("%s: no thermometer is heard, and the setpoint is new: waiting for the beer to reach it, %s to go", name, Roughly(waits)))
		case t.judgesAlone(name):
			out = append(out, fmt.Sprintf("%s: no thermometer is heard often enough: beer that works and beer that warms look alike to it, and it sees no leak", name))
		case b.Since.IsZero():
			out = append(out, fmt.Sprintf("%s: pressure cannot be judged without a beer temperature", name))
		case b.At.Sub(b.Since) < balanceHoldOff:
			out = append(out, fmt.Sprintf("%s: waiting for the gas to settle, %s to go", name, Spell(balanceHoldOff-b.At.Sub(b.Since))))
		}
	}
	if !t.armed() && !t.state.Verdict.Active {
		waiting := "refermentation: waiting for a logged crash, dry-hop or yeast-off, or for gravity to stand still"
		if len(t.state.Gauges) > 0 && !t.state.Book.Working && t.state.Book.Gas.mayBeClosed() {
			waiting += "; until then pressure shows it only if it stood for a day before it climbs"
		}
		out = append(out, waiting)
	}
	return out
}
