package alert

import (
	"sync"
	"time"

	"spile/detect"
)

const (
	trackEvery = 10 * time.Minute
	tracksKept = 30 * 24 * time.Hour // a batch, in some 300 kB of memory a tank
)

// TrackPoint is what the watch took a tank for at a moment, where readings alone do not show it.
type TrackPoint struct {
	Time         time.Time
	CO2Rate      *detect.Interval // g/L per day
	ExplainedKPa *float64         // head pressure, gauge, that nothing made since explains
}

// Tracks remember what the watch took each tank for, every ten minutes of arrival time since spile started. They are for
// people to look at: nothing is judged by them, and a restart begins them anew. They are safe for concurrent use.
type Tracks struct {
	mu    sync.Mutex // guards what follows
	noted time.Time
	tanks map[string][]TrackPoint
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
		t.tanks = map[string][]TrackPoint{}
	}
	for _, tank := range v.Tanks {
		points := t.tanks[tank.Tank]
		if tank.CO2Rate != nil || tank.ExplainedKPa != nil {
			points = append(points, TrackPoint{Time: v.At, CO2Rate: tank.CO2Rate, ExplainedKPa: tank.ExplainedKPa})
		}
		old := 0
		for old < len(points) && v.At.Sub(points[old].Time) > tracksKept {
			old++
		}
		t.tanks[tank.Tank] = points[old:]
	}
}

// Of gives a tank's points from a moment (included) to another (excluded), oldest first.
func (t *Tracks) Of(tank string, from, to time.Time) []TrackPoint {
	t.mu.Lock()
	defer t.mu.Unlock()
	var out []TrackPoint
	for _, p := range t.tanks[tank] {
		if !p.Time.Before(from) && p.Time.Before(to) {
			out = append(out, p)
		}
	}
	return out
}
