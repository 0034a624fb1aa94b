package detect

import "time"

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
