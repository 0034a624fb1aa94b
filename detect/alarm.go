package detect

// Alarm names a condition that asks for a person's response.
type Alarm string

// The alarms of a tank and of what it is heard by; package alert adds those of
// spile itself and of the cooling plant. What each means, its delays and what a
// person looks at first stand in its catalogue.
const (
	Refermentation Alarm = "refermentation"
	CrashDrift     Alarm = "crash-drift"
	PressureRise   Alarm = "pressure-rise"
	OverPressure   Alarm = "over-pressure"
	Vacuum         Alarm = "vacuum"
	Leak           Alarm = "leak"
	FreezeRisk     Alarm = "freeze-risk"
	NotFinished    Alarm = "not-finished"
	ProbeSilent    Alarm = "probe-silent"
	ProbeFault     Alarm = "probe-fault"
	HopCharge      Alarm = "hop-charge"
	GravityCheck   Alarm = "gravity-check"
	LinkLost       Alarm = "link-lost"
)

// Priority says how soon a person must answer, in the words of ANSI/ISA-18.2.
type Priority string

// The four priorities, the most pressing first.
const (
	Critical Priority = "critical"
	High     Priority = "high"
	Medium   Priority = "medium"
	Low      Priority = "low"
)

// Rank orders priorities: Low is 1, Critical is 4, anything else 0.
func (p Priority) Rank() int {
	switch p {
	case Critical:
		return 4
	case High:
		return 3
	case Medium:
		return 2
	case Low:
		return 1
	}
	return 0
}

// AtLeast tells whether p presses as much as q or more.
func (p Priority) AtLeast(q Priority) bool { return p.Rank() >= q.Rank() }
