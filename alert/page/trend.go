package page

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"spile/detect"
	"spile/detect/beer"
)

// A trend is the mean of the newest half hour or so against that of some hours before. Gravity moves in days.
const (
	trendLife = time.Minute // how long trends are shown before they are made anew
	trendEnd  = 30 * time.Minute
	trendPast = time.Hour // of the stretch that it is held against
)

// trendOf says over how long a quantity's trend is taken, and below what change it is called steady, in the inside unit
// (common practice).
func trendOf(q detect.Quantity) (over time.Duration, steady float64) {
	switch q {
	case detect.Gravity:
		return 24 * time.Hour, 0.0004
	case detect.Temperature:
		return 6 * time.Hour, 0.3
	}
	return 6 * time.Hour, 1.5
}

// probed is one probe's quantity in one tank.
type probed struct {
	tank, probe string
	quantity    detect.Quantity
}

// trends are how the cellar's figures have changed. They are safe for concurrent use.
type trends struct {
	records Records
	clock   func() time.Time

	mu   sync.Mutex // guards what follows
	kept map[string]keptTrends
}

// keptTrends are those of one tank, or under no name those of all.
type keptTrends struct {
	made time.Time
	of   map[probed]float64
}

// get gives the change of every probe of a tank that has spoken at both ends of its stretch; without a name, of every
// tank.
func (t *trends) get(ctx context.Context, tank string) (map[probed]float64, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.clock()
	if k, known := t.kept[tank]; known && now.Sub(k.made).Abs() < trendLife {
		return k.of, nil
	}
	changes := map[probed]float64{}
	for _, q := range detect.Quantities() {
		over, _ := trendOf(q)
		past, err := t.means(ctx, Filter{Tank: tank, Quantity: q, From: now.Add(-over - trendPast/2)}, trendPast)
		if err != nil {
			return nil, err
		}
		present, err := t.means(ctx, Filter{Tank: tank, Quantity: q, From: now.Add(-trendEnd)}, trendEnd)
		if err != nil {
			return nil, err
		}
		for p, mean := range present {
			if before, spoke := past[p]; spoke {
				changes[p] = mean - before
			}
		}
	}
	if t.kept == nil {
		t.kept = map[string]keptTrends{}
	}
	t.kept[tank] = keptTrends{now, changes}
	return changes, nil
}

// means is what each probe said of a quantity on average, over a stretch that begins where the filter does.
func (t *trends) means(ctx context.Context, f Filter, length time.Duration) (map[probed]float64, error) {
	f.To = f.From.Add(length)
	traces, err := t.records.Traces(ctx, f, length)
	if err != nil {
		return nil, err
	}
	means := make(map[probed]float64, len(traces))
	for _, trace := range traces {
		sum, count := 0.0, 0
		for _, s := range trace.Steps { // two, where the stretch does not begin with a step
			sum += s.Mean * float64(s.Count)
			count += s.Count
		}
		means[probed{trace.Tank, trace.Probe, trace.Quantity}] = sum / float64(count)
	}
	return means, nil
}

// trend says how a figure has changed, an arrow before the words.
func (s *Server) trend(q detect.Quantity, value, change float64) string {
	over, steady := trendOf(q)
	if math.Abs(change) < steady {
		return "→ steady for " + detect.Spell(over)
	}
	arrow, sign := "↗", "+"
	if change < 0 {
		arrow, sign = "↘", "−"
	}
	return fmt.Sprintf("%s %s%s in %s", arrow, sign, s.change(q, value, change), detect.Spell(over))
}

// change writes the size of a change in the unit that people here read.
func (s *Server) change(q detect.Quantity, value, change float64) string {
	size := math.Abs(s.shown(value, q) - s.shown(value-change, q))
	unit := s.unitFor(kindOf(q))
	switch {
	case q == detect.Gravity && unit == "SG":
		return fmt.Sprintf("%.1f points", size*1000)
	case unit == "bar" || unit == beer.InsideUnit(beer.KindGravity):
		return fmt.Sprintf("%.2f %s", size, pretty(unit))
	}
	return fmt.Sprintf("%.1f %s", size, pretty(unit))
}
