package scenario

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"spile/detect"
	"spile/detect/cellarsim"
)

// plan is the scenario as the model takes it.
func (s *Scenario) plan() cellarsim.Plan {
	p := cellarsim.Plan{Start: s.Start, Weather: s.Weather}
	for _, t := range s.Tanks {
		p.Tanks = append(p.Tanks, t.Model)
	}
	return p
}

// Play hands over, in order of arrival, the readings and log lines of the scenario up to its end, as the journal would:
// without repeats, with late readings marked. What it hands over is good until the call returns. It stops at the first
// error and returns it.
func (s *Scenario) Play(hear func(cellarsim.Arrival) error) error {
	if len(s.Tanks) == 0 {
		return fmt.Errorf("%s: %w", s.Name, errNoTank)
	}
	cellar, err := cellarsim.New(s.plan(), rand.New(rand.NewPCG(s.Seed, s.Seed)))
	if err != nil {
		return fmt.Errorf("%s: %w", s.Name, err)
	}
	kept := journal{newest: map[curve]time.Time{}, seen: map[identity]bool{}}
	pass := func(a cellarsim.Arrival) error {
		if a = kept.take(a); a.Event == nil && len(a.Readings) == 0 {
			return nil
		}
		return hear(a)
	}
	listed := s.listed()
	err = cellar.Each(s.End(), func(a cellarsim.Arrival) error {
		for len(listed) > 0 && listed[0].Arrived.Before(a.Arrived) {
			next := listed[0]
			listed = listed[1:]
			if err := pass(next); err != nil {
				return err
			}
		}
		return pass(a)
	})
	for _, a := range listed {
		if err == nil && a.Arrived.Before(s.End()) {
			err = pass(a)
		}
	}
	return err
}

// listed is what the lists hold, by arrival.
func (s *Scenario) listed() []cellarsim.Arrival {
	var out []cellarsim.Arrival
	rng := rand.New(rand.NewPCG(s.Seed, 0))
	for _, t := range s.Tanks {
		for _, l := range t.lists {
			out = append(out, l.arrivals(rng)...)
		}
	}
	slices.SortStableFunc(out, func(a, b cellarsim.Arrival) int { return a.Arrived.Compare(b.Arrived) })
	return out
}

// journal knows what was heard, as far as a judge needs it.
type journal struct {
	newest map[curve]time.Time
	seen   map[identity]bool
}

// curve is what one probe says of one quantity in a tank.
type curve struct {
	tank, probe string
	quantity    detect.Quantity
}

// identity is which reading it is.
type identity struct {
	curve
	at int64 // ms
}

// take leaves out repeats and marks what is late.
func (j *journal) take(a cellarsim.Arrival) cellarsim.Arrival {
	kept := a.Readings[:0:0]
	for _, r := range a.Readings {
		c := curve{r.Tank, r.Probe, r.Quantity}
		id := identity{c, r.Time.UnixMilli()}
		if j.seen[id] {
			continue
		}
		j.seen[id] = true
		r.Late = r.Time.Before(j.newest[c])
		if !r.Late {
			j.newest[c] = r.Time
		}
		kept = append(kept, r)
	}
	a.Readings = kept
	return a
}
