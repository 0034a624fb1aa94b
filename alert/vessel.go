package alert

import (
	"encoding/json"
	"slices"
	"time"

	"spile/detect"
)

// tank is a detect.Tank, or a scripted one in tests.
type tank interface {
	Take(r detect.Reading) []detect.Finding
	Air(r detect.Reading)
	Log(e detect.Event) []detect.Finding
	Receive(e detect.Event)
	Tick(at time.Time) []detect.Finding
	Away(from, to time.Time)
	Status() detect.Status
	json.Marshaler
	json.Unmarshaler
}

// vessel is a tank and its alarms.
type vessel struct {
	name       string
	tank       tank         // nil for the cellar
	conditions []*condition // by catalogue and probe
	still      stillness
	known      acquaintance
	packaged   time.Time // when beer of this tank last went into packages; zero: not in this batch
}

// hear takes what the detectors of one tank say.
func (v *vessel) hear(found []detect.Finding, at time.Time) {
	for _, f := range found {
		c := v.find(f.Alarm, f.Probe)
		if c == nil {
			c = v.add(f)
		}
		c.hear(f, at)
	}
}

// find returns the condition of an alarm and probe, nil where there was never one.
func (v *vessel) find(a detect.Alarm, probe string) *condition {
	for _, c := range v.conditions {
		if c.Finding.Alarm == a && c.Finding.Probe == probe {
			return c
		}
	}
	return nil
}

// add begins a condition at its place in the order.
func (v *vessel) add(f detect.Finding) *condition {
	c := &condition{Finding: f}
	i, _ := slices.BinarySearchFunc(v.conditions, c, compareConditions)
	v.conditions = slices.Insert(v.conditions, i, c)
	return c
}

// batchLeft tells whether a log event took the last of the beer out. After a transfer or a packaging run that left some
// behind, its alarms go on.
func batchLeft(e detect.Event, after detect.Status) bool {
	return after.Empty && (e.Name == "empty" || e.Name == "transfer" || e.Name == "package")
}
