package detect

import (
	"time"

	"spile/detect/beer"
)

// Settings are what the brewer told spile of one tank. The log and what the
// readings show override the starting values.
type Settings struct {
	BeerLiters      float64          // 0: not known
	HeadspaceLiters float64          // 0: not known
	ReliefKPa       float64          // setting of the pressure relief valve, kPa gauge; 0: not given, over-pressure is not watched
	Sealed          bool             // closed at the start, until the log or the pressure says otherwise
	AtmosphereKPa   float64          // absolute; 0: the standard atmosphere
	GasGroup        string           // names the tanks whose head spaces are joined; empty: alone. No detector reads it: package alert does
	At              map[string]Place // where each probe sits; absent: not known

	FalseCallsPerTankYear float64        // refermentation; 0: 0.1
	DriftAbove            float64        // K over the crash setpoint; 0: 1.0
	DriftBelow            float64        // K under it; 0: 1.5
	Display               Display        // the units that summaries are written in
	Zone                  *time.Location // the cellar's clock, for summaries; nil: UTC
}

// Place is where a probe sits in its tank.
type Place string

// The places a probe can sit.
const (
	Head   Place = "head"
	Top    Place = "top"
	Middle Place = "middle"
	Bottom Place = "bottom"
	Cone   Place = "cone"

	Outside Place = "outside" // in no tank: the pressure is that of the air, absolute
)

// IsOutside tells whether a probe is in no tank.
func (s Settings) IsOutside(probe string) bool { return s.At[probe] == Outside }

// Display names the units that people read. Empty fields mean the inside units.
type Display struct {
	Gravity     string `json:"gravity,omitempty"`
	Temperature string `json:"temperature,omitempty"`
	Pressure    string `json:"pressure,omitempty"`
}

// filled puts the defaults where the brewer said nothing.
func (s Settings) filled() Settings {
	if s.AtmosphereKPa == 0 {
		s.AtmosphereKPa = beer.StandardAtmosphere
	}
	if s.FalseCallsPerTankYear == 0 {
		s.FalseCallsPerTankYear = 0.1
	}
	if s.DriftAbove == 0 {
		s.DriftAbove = 1.0
	}
	if s.DriftBelow == 0 {
		s.DriftBelow = 1.5
	}
	if s.Zone == nil {
		s.Zone = time.UTC
	}
	return s
}
