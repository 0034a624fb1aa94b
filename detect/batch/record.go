package batch

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/stable"
)

// Record is what was read and logged of one tank. It is not safe for use by several goroutines at once.
type Record struct {
	tank     string
	settings detect.Settings
	limits   Limits
	curves   map[detect.Quantity]map[string]*curve // by probe
	log      []detect.Event                        // as it was written, in order of time
	inForce  []detect.Event                        // the same without what was struck out
	alarms   []Alarm
	sources  []source // beer that came from other tanks
}

// source is where beer came from.
type source struct {
	record *Record
	at     time.Time
	liters float64 // 0: not told
}

// Alarm is what the watch called of the tank.
type Alarm struct {
	Alarm   detect.Alarm `json:"alarm"`
	Title   string       `json:"title"`           // as it was called: what it names, and a question as one
	Probe   string       `json:"probe,omitempty"` // where it is about one
	Raised  time.Time    `json:"raised"`
	Onset   time.Time    `json:"onset,omitzero"`
	Ended   time.Time    `json:"ended,omitzero"` // zero: it stands
	Summary string       `json:"summary"`
	Mute    bool         `json:"-"` // nobody was called: it was explained from its beginning
}

// NewRecord begins the record of a tank. Limits that are zero take their defaults.
func NewRecord(tank string, s detect.Settings, l Limits) *Record {
	if s.Zone == nil {
		s.Zone = time.UTC
	}
	return &Record{tank: tank, settings: s, limits: l.filled(), curves: map[detect.Quantity]map[string]*curve{}}
}

// Take adds a reading of this tank. What a probe measures outside is none.
func (r *Record) Take(reading detect.Reading) {
	if r.settings.IsOutside(reading.Probe) {
		return
	}
	probes := r.curves[reading.Quantity]
	if probes == nil {
		probes = map[string]*curve{}
		r.curves[reading.Quantity] = probes
	}
	c := probes[reading.Probe]
	if c == nil {
		c = &curve{}
		probes[reading.Probe] = c
	}
	c.take(reading)
}

// Log adds a line of the cellar log of this tank.
func (r *Record) Log(e detect.Event) {
	i, _ := slices.BinarySearchFunc(r.log, e, func(a, b detect.Event) int {
		return cmp.Or(a.Time.Compare(b.Time), a.Arrived.Compare(b.Arrived), -1)
	})
	r.log = slices.Insert(r.log, i, e)
	r.inForce = detect.InForce(r.log)
}

// Logbook takes a whole cellar log of this tank, in place of what it was told before.
func (r *Record) Logbook(all []detect.Event) {
	r.log = slices.SortedStableFunc(slices.Values(all), func(a, b detect.Event) int {
		return cmp.Or(a.Time.Compare(b.Time), a.Arrived.Compare(b.Arrived))
	})
	r.inForce = detect.InForce(r.log)
}

// Alone forgets where beer came from.
func (r *Record) Alone() { r.sources = nil }

// From says that beer came from another tank at a moment: the batch follows its beer.
func (r *Record) From(other *Record, at time.Time, liters float64) {
	r.sources = append(r.sources, source{other, at, liters})
	slices.SortStableFunc(r.sources, func(a, b source) int { return a.at.Compare(b.at) })
}

// Alarms says what the watch called of the tank, in place of what it was told before.
func (r *Record) Alarms(all []Alarm) { r.alarms = all }

// standing are the alarms of one sort that stood at a moment.
func (r *Record) standing(a detect.Alarm, at time.Time) (Alarm, bool) {
	for _, in := range r.alarms {
		if in.Alarm == a && !in.Raised.After(at) && (in.Ended.IsZero() || in.Ended.After(at)) {
			return in, true
		}
	}
	return Alarm{}, false
}

// newest is the newest hour of a quantity by any probe before a moment, and the probe.
func (r *Record) newest(q detect.Quantity, from, at time.Time) (newest hour, probe string, ok bool) {
	for _, name := range slices.Sorted(maps.Keys(r.curves[q])) {
		if r.settings.At[name] == detect.Head && q == detect.Temperature {
			continue // of the gas, not the beer
		}
		hours := r.curves[q][name].until(at)
		if len(hours) == 0 {
			continue
		}
		if h := hours[len(hours)-1]; h.Newest.After(newest.Newest) && h.Newest.After(from) {
			newest, probe, ok = h, name, true
		}
	}
	return newest, probe, ok
}

// reading is the newest single reading of a quantity before a moment; of an hour long past it is the hour's mean.
func (r *Record) reading(q detect.Quantity, from, at time.Time) (value float64, when time.Time, probe string, ok bool) {
	h, probe, ok := r.newest(q, from, at)
	if !ok {
		return 0, time.Time{}, "", false
	}
	value = h.Value
	for _, one := range r.curves[q][probe].open {
		if !one.Time.After(at) && one.Time.Equal(h.Newest) {
			value = one.Value
		}
	}
	return value, h.Newest, probe, true
}

// gravities are each float's hourly points between two moments, by probe, with the beer's temperature.
func (r *Record) gravities(from, at time.Time) map[string][]stable.Point {
	out := map[string][]stable.Point{}
	for name, c := range r.curves[detect.Gravity] {
		warmth := r.warmth(name, at)
		var points []stable.Point
		for _, h := range c.until(at) {
			if h.Start.Before(from) {
				continue
			}
			celsius, ok := warmth[h.Start]
			if !ok {
				celsius = math.NaN()
			}
			points = append(points, stable.Point{At: h.Newest, Value: h.Value, Celsius: celsius})
		}
		if len(points) > 0 {
			out[name] = points
		}
	}
	return out
}

// warmth is the temperature by hour that goes with a float: its own, or else any of the beer.
func (r *Record) warmth(float string, at time.Time) map[time.Time]float64 {
	out := map[time.Time]float64{}
	own := r.curves[detect.Temperature][float]
	for _, name := range slices.Sorted(maps.Keys(r.curves[detect.Temperature])) {
		if own == nil && r.settings.At[name] != detect.Head {
			for _, h := range r.curves[detect.Temperature][name].until(at) {
				out[h.Start] = h.Value
			}
		}
	}
	if own != nil {
		for _, h := range own.until(at) {
			out[h.Start] = h.Value
		}
	}
	return out
}
