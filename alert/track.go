package alert

import (
	"math"
	"sync"
	"time"

	"spile/detect"
)

const (
	trackEvery = 10 * time.Minute
	tracksFine = 2 * 24 * time.Hour  // older points are thinned to one an hour
	tracksKept = 30 * 24 * time.Hour // a batch, in some 25 kB of memory a tank
)

// TrackPoint is what the watch took a tank for at a moment, where readings alone do not show it.
type TrackPoint struct {
	Time         time.Time
	CO2Rate      *detect.Interval // g/L per day
	ExplainedKPa *float64         // head pressure, gauge, that nothing made since explains
}

// Tracks remember what the watch took each tank for, every ten minutes of arrival time since spile started, and
// every hour of what is older than two days. They are for people to look at: nothing is judged by them, and a restart
// begins them anew. They are safe for concurrent use.
type Tracks struct {
	mu    sync.Mutex // guards what follows
	noted time.Time
	tanks map[string][]trackMark
}

// trackMark is a point as it is remembered: a month of a hundred tanks is a hundred thousand of them.
type trackMark struct {
	at               int64   // s since 1970
	low, value, high float32 // g/L per day; not a number: not known
	explained        float32 // kPa
}

// Due tells whether the next point is to be noted at a moment. Of none it never is.
func (t *Tracks) Due(at time.Time) bool {
	if t == nil {
		return false
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	return at.Sub(t.noted) >= trackEvery
}

// Note adds a point for each tank of a view.
func (t *Tracks) Note(v View) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.noted = v.At
	if t.tanks == nil {
		t.tanks = map[string][]trackMark{}
	}
	for _, tank := range v.Tanks {
		marks := t.tanks[tank.Tank]
		if tank.CO2Rate != nil || tank.ExplainedKPa != nil {
			marks = append(marks, markOf(v.At, tank.CO2Rate, tank.ExplainedKPa))
		}
		t.tanks[tank.Tank] = thinned(marks, v.At)
	}
}

// thinned keeps what is young enough, of what is older than tracksFine the first of each hour.
func thinned(marks []trackMark, now time.Time) []trackMark {
	const hour = int64(time.Hour / time.Second)
	oldest, fine := now.Add(-tracksKept).Unix(), now.Add(-tracksFine).Unix()
	kept := marks[:0]
	for _, m := range marks {
		coarse := m.at < fine && len(kept) > 0 && kept[len(kept)-1].at/hour == m.at/hour
		if m.at >= oldest && !coarse {
			kept = append(kept, m)
		}
	}
	return kept
}

func markOf(at time.Time, rate *detect.Interval, explained *float64) trackMark {
	unknown := float32(math.NaN())
	m := trackMark{at: at.Unix(), low: unknown, value: unknown, high: unknown, explained: unknown}
	if rate != nil {
		m.low, m.value, m.high = float32(rate.Low), float32(rate.Value), float32(rate.High)
	}
	if explained != nil {
		m.explained = float32(*explained)
	}
	return m
}

// point is a mark as it is given.
func (m trackMark) point() TrackPoint {
	p := TrackPoint{Time: time.Unix(m.at, 0).UTC()}
	if !math.IsNaN(float64(m.value)) {
		p.CO2Rate = &detect.Interval{Low: float64(m.low), Value: float64(m.value), High: float64(m.high)}
	}
	if !math.IsNaN(float64(m.explained)) {
		kPa := float64(m.explained)
		p.ExplainedKPa = &kPa
	}
	return p
}

// Of gives a tank's points from a moment (included) to another (excluded), oldest first.
func (t *Tracks) Of(tank string, from, to time.Time) []TrackPoint {
	t.mu.Lock()
	defer t.mu.Unlock()
	var out []TrackPoint
	for _, m := range t.tanks[tank] {
		if at := time.Unix(m.at, 0); !at.Before(from) && at.Before(to) {
			out = append(out, m.point())
		}
	}
	return out
}
