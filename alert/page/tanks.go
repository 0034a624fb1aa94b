package page

import (
	"net/http"
	"time"

	"spile/alert"
	"spile/detect"
)

// tankAnswer is a tank as programs get it, every figure in the inside unit.
type tankAnswer struct {
	Tank            string                           `json:"tank"`
	At              time.Time                        `json:"at"`
	Readings        map[detect.Quantity]latestAnswer `json:"readings"`
	Probes          []probeAnswer                    `json:"probes"`
	SetpointCelsius *float64                         `json:"crash_setpoint_celsius,omitempty"`
	Gas             detect.Gas                       `json:"gas"`
	ReliefKPa       *float64                         `json:"relief_kpa,omitempty"`
	WatchedFor      map[detect.Alarm]bool            `json:"watched_for"`
	HoppedSince     time.Time                        `json:"hopped_since,omitzero"`
	HandsOnUntil    time.Time                        `json:"hands_on_until,omitzero"`
	Empty           bool                             `json:"empty"`
	CO2Rate         *detect.Interval                 `json:"co2_grams_per_liter_day,omitempty"`
	Learning        []string                         `json:"learning"`
	Alarms          []alert.Incident                 `json:"alarms"`
}

// latestAnswer is the newest reading of a quantity.
type latestAnswer struct {
	Value float64   `json:"value"`
	Unit  string    `json:"unit"`
	Time  time.Time `json:"time"`
	Probe string    `json:"probe"`
}

// probeAnswer is a probe of a tank.
type probeAnswer struct {
	Probe     string    `json:"probe"`
	LastHeard time.Time `json:"last_heard,omitzero"`
	Out       bool      `json:"out"`
	Outside   bool      `json:"outside,omitempty"`
	Battery   *float64  `json:"battery_ratio,omitempty"`
	Signal    *float64  `json:"signal_dbm,omitempty"`
}

func (s *Server) answerOf(t alert.TankView, at time.Time) tankAnswer {
	a := tankAnswer{
		Tank: t.Tank, At: at.UTC(), Readings: map[detect.Quantity]latestAnswer{}, Probes: []probeAnswer{},
		SetpointCelsius: t.SetpointCelsius, Gas: t.Gas, HoppedSince: t.HoppedSince, HandsOnUntil: t.HandsOnUntil,
		Empty: t.Empty, CO2Rate: t.CO2Rate, Learning: filled(t.Learning), Alarms: filled(t.Incidents),
		WatchedFor: map[detect.Alarm]bool{detect.OverPressure: t.ReliefKPa > 0},
	}
	if t.ReliefKPa > 0 {
		a.ReliefKPa = &t.ReliefKPa
	}
	for quantity, l := range t.Last {
		a.Readings[quantity] = latestAnswer{l.Value, quantity.Unit(), l.Time, l.Probe}
	}
	for _, p := range t.Probes {
		own := s.Stamina(t.Tank, p.Probe)
		a.Probes = append(a.Probes, probeAnswer{p.Probe, p.LastHeard, p.Out, p.Outside, own.Battery, own.Signal})
	}
	return a
}

// filled makes an absent list an empty one, as programs expect of JSON.
func filled[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// airAnswer is the air outside as programs get it, and what is called of the probes there.
type airAnswer struct {
	At         time.Time         `json:"at"`
	Barometers []barometerAnswer `json:"barometers"`
	Alarms     []alert.Incident  `json:"alarms"`
}

// barometerAnswer is the newest that a probe outside said.
type barometerAnswer struct {
	Tank string `json:"tank"`
	latestAnswer
	OfAir bool `json:"of_air"`
}

func airOf(view alert.View) airAnswer {
	a := airAnswer{At: view.At.UTC(), Barometers: []barometerAnswer{}, Alarms: []alert.Incident{}}
	for _, l := range view.Air {
		said := latestAnswer{l.Value, detect.Pressure.Unit(), l.Time, l.Probe}
		a.Barometers = append(a.Barometers, barometerAnswer{l.Tank, said, !detect.NotOfAir(l.Value)})
	}
	for _, i := range view.OfNoTank() {
		if i.Tank != "" {
			a.Alarms = append(a.Alarms, i)
		}
	}
	return a
}

// tanks answers with every tank, by name, and the units that people here read.
func (s *Server) tanks(w http.ResponseWriter, _ *http.Request) error {
	view := s.View()
	answers := make([]tankAnswer, 0, len(view.Tanks))
	for _, t := range view.Tanks {
		answers = append(answers, s.answerOf(t, view.At))
	}
	writeJSON(w, http.StatusOK, map[string]any{"tanks": answers, "air": airOf(view), "display": s.Display})
	return nil
}

// tank answers with one tank.
func (s *Server) tank(w http.ResponseWriter, r *http.Request) error {
	view := s.View()
	t, err := find(view, r.PathValue("tank"))
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, s.answerOf(t, view.At))
	return nil
}

// find returns a tank of the view by its name.
func find(view alert.View, tank string) (alert.TankView, error) {
	for _, t := range view.Tanks {
		if t.Tank == tank {
			return t, nil
		}
	}
	return alert.TankView{}, missing("no tank %q is known: a tank is known once a probe or the cellar log has named it", tank)
}
