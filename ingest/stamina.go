package ingest

import (
	"encoding/json"
	"math"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"spile/ingest/journal"
)

// Stamina is what a probe says of itself beside its readings. It is no reading of the beer: it is not journalled, and
// only the newest counts.
type Stamina struct {
	Battery *float64 // its charge, 0 to 1; nil: it has not said
	Signal  *float64 // how strongly it is received, dBm; nil: it has not said
}

// What a battery and a radio can say. The strongest signal is that of a transmitter held to the antenna (common practice).
const (
	fullBattery = 100.0  // percent
	weakest     = -150.0 // dBm
	strongest   = 20.0   // dBm
)

// takeStamina reads battery and signal of an object. Charge is in whole percent, so that a voltage, as many probes send
// it, does not pass for a battery that is nearly flat. What is not understood is left out: it is no reading of the beer.
func (h *hearing) takeStamina(battery, signal []byte) {
	if v, ok := number(battery); ok && v >= 0 && v <= fullBattery && v == math.Trunc(v) {
		v /= fullBattery
		h.out.stamina.Battery = &v
	}
	if v, ok := number(signal); ok && v >= weakest && v <= strongest {
		h.out.stamina.Signal = &v
	}
}

// optionalPointer is nil for what is not looked for.
func optionalPointer(text string) (*pointer, error) {
	if text == "" {
		return nil, nil
	}
	p, err := parsePointer(text)
	return &p, err
}

// text is the JSON text of what stands at a pointer; nil: it is not looked for, not there, or null.
func (p *pointer) text(document any) []byte {
	if p == nil {
		return nil
	}
	v, found := p.find(document)
	if !found || v == nil {
		return nil
	}
	text, err := json.Marshal(v)
	if err != nil {
		return nil // what was decoded from JSON can be written again
	}
	return text
}

// staminaMetrics keeps the newest of each probe. It is safe for concurrent use.
type staminaMetrics struct {
	battery, signal *prometheus.GaugeVec

	mu     sync.Mutex
	newest map[[2]string]said // by tank and probe
}

// said is what a probe last said of itself, each of the two as long as no newer one came.
type said struct {
	Stamina
	at time.Time // of the newest reading beside which either was said
}

func newStaminaMetrics() *staminaMetrics {
	labels := []string{"tank", "probe"}
	return &staminaMetrics{
		battery: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "spile_probe_battery_ratio",
			Help: "Charge of a probe's battery as the probe last sent it beside a reading; none since the start: no series.",
		}, labels),
		signal: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "spile_probe_signal_dbm",
			Help: "Strength of a probe's signal as the probe last sent it beside a reading; none since the start: no series.",
		}, labels),
		newest: map[[2]string]said{},
	}
}

// note takes what a message said of its probe, where the journal took a reading of it too: a stranger that is not let in
// makes no series.
func (m *staminaMetrics) note(heard Stamina, s settled) {
	if heard == (Stamina{}) {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	for i, e := range s.entries {
		if e.Reading == nil || s.outcomes[i] == journal.Refused {
			continue
		}
		r := e.Reading
		key := [2]string{r.Tank, r.Probe}
		newest := m.newest[key]
		if r.Time.Before(newest.at) {
			return // of a backlog
		}
		newest.at = r.Time
		if heard.Battery != nil {
			newest.Battery = heard.Battery
			m.battery.WithLabelValues(r.Tank, r.Probe).Set(*heard.Battery)
		}
		if heard.Signal != nil {
			newest.Signal = heard.Signal
			m.signal.WithLabelValues(r.Tank, r.Probe).Set(*heard.Signal)
		}
		m.newest[key] = newest
		return
	}
}

// of is what a probe last said of itself.
func (m *staminaMetrics) of(tank, probe string) Stamina {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.newest[[2]string{tank, probe}].Stamina
}

// Stamina is what a probe of a tank last said of itself since the start. It is safe for concurrent use.
func (in *Intake) Stamina(tank, probe string) Stamina { return in.metrics.stamina.of(tank, probe) }
