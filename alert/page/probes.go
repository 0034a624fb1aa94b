package page

import (
	"fmt"
	"slices"
	"time"

	"spile/detect"
)

// Stamina is what a probe says of itself beside its readings.
type Stamina struct {
	Battery *float64 // its charge, 0 to 1; nil: it has not said
	Signal  *float64 // how strongly it is received, dBm; nil: it has not said
}

// lowBattery is the charge from which a page says that a battery goes flat. Our choice: the common cells fall fast from
// there, and a brewer wants a day on which to change one. How strong a signal must be depends on its radio, so none is
// called weak.
const lowBattery = 0.15

// probeLine is a probe as its tank's page shows it.
type probeLine struct {
	Name            string
	Heard           time.Time // zero: not yet
	Out             bool
	Battery, Signal string // empty: it does not say
	Low             bool   // its battery goes flat
}

// probeLines are the probes of a tank, by name.
func (s *Server) probeLines(t detect.Status) []probeLine {
	lines := make([]probeLine, 0, len(t.Probes))
	for _, p := range t.Probes {
		line, own := probeLine{Name: p.Probe, Heard: p.LastHeard, Out: p.Out}, s.Stamina(t.Tank, p.Probe)
		if own.Battery != nil {
			line.Battery, line.Low = fmt.Sprintf("%.0f %%", 100**own.Battery), *own.Battery <= lowBattery && !p.Out
		}
		if own.Signal != nil {
			line.Signal = fmt.Sprintf("%.0f dBm", *own.Signal)
		}
		lines = append(lines, line)
	}
	return lines
}

// SaysBattery tells whether any probe of the tank says how much charge it has.
func (c card) SaysBattery() bool {
	return c.anyProbe(func(p probeLine) bool { return p.Battery != "" })
}

// SaysSignal tells whether any probe of the tank says how strongly it is received.
func (c card) SaysSignal() bool { return c.anyProbe(func(p probeLine) bool { return p.Signal != "" }) }

func (c card) anyProbe(is func(probeLine) bool) bool { return slices.ContainsFunc(c.Lines, is) }
