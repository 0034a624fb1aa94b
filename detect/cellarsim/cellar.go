package cellarsim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"
)

// Plan is a cellar to be run: its tanks, the weather over all of them, and when it begins.
type Plan struct {
	Start   time.Time
	Tanks   []Tank
	Weather Weather
	Step    time.Duration // of the physics; 0: a minute. Acts fall on its ends; probes see straight lines between them.
	Observe func(Truth)   // called for each tank at the end of each step; nil: nobody looks
}

// usualStep stands where a Plan gives no Step.
const usualStep = time.Minute

// Cellar is a Plan at work.
type Cellar struct {
	plan Plan
	rigs []*rig
	post post
	now  time.Duration // to which the physics has run
}

// New sets a cellar up. The same plan and the same state of rng give the same messages.
func New(plan Plan, rng *rand.Rand) (*Cellar, error) {
	plan.Start = plan.Start.UTC().Truncate(time.Millisecond)
	if plan.Step == 0 {
		plan.Step = usualStep
	}
	if err := plan.check(); err != nil {
		return nil, err
	}
	c := &Cellar{plan: plan}
	weather := [2]uint64{rng.Uint64(), rng.Uint64()}
	for _, t := range plan.Tanks {
		same := rand.New(rand.NewPCG(weather[0], weather[1])) // one weather over all tanks
		c.rigs = append(c.rigs, newRig(t, plan, same, child(rng), &c.post))
	}
	return c, nil
}

// check names the first thing that makes no plan.
func (p Plan) check() error {
	if p.Step < time.Second {
		return fmt.Errorf("step %s; a second is the least", p.Step)
	}
	if len(p.Tanks) == 0 {
		return errors.New("a cellar has at least one tank")
	}
	for _, f := range p.Weather.Fronts {
		if err := f.check(); err != nil {
			return err
		}
	}
	known := map[string]bool{}
	for _, t := range p.Tanks {
		if err := t.check(); err != nil {
			return err
		}
		if known[t.Name] {
			return fmt.Errorf("two tanks are called %s", t.Name)
		}
		known[t.Name] = true
	}
	return nil
}

// Each runs the cellar on and hands over, in order of arrival, every message that arrives before `to` and was not
// handed over yet. It stops at the first error and returns it; the message it failed on is not handed over again.
func (c *Cellar) Each(to time.Time, hear func(Arrival) error) error {
	until := to.Sub(c.plan.Start)
	for {
		if err := c.deliver(min(until, c.now), hear); err != nil {
			return err
		}
		if c.now >= until {
			return nil
		}
		c.step()
	}
}

// Run is Each for messages as they come over MQTT.
func (c *Cellar) Run(to time.Time, hear func(Message) error) error {
	return c.Each(to, func(a Arrival) error { return hear(a.Message()) })
}

// deliver hands over what arrives before a moment.
func (c *Cellar) deliver(before time.Duration, hear func(Arrival) error) error {
	for {
		a, ok := c.post.take(before)
		if !ok {
			return nil
		}
		if err := hear(a); err != nil {
			return err
		}
	}
}

// step runs every tank on by one step.
func (c *Cellar) step() {
	c.now += c.plan.Step
	for _, r := range c.rigs {
		r.advance(c.now)
		if c.plan.Observe != nil {
			c.plan.Observe(r.vessel.truth(r.tank, c.plan.Start))
		}
	}
}

// Truth is how a tank is at the end of the newest step, less than a step after the time to which the cellar was run.
// It is false for a tank that the cellar has not.
func (c *Cellar) Truth(tank string) (Truth, bool) {
	for _, r := range c.rigs {
		if r.tank == tank {
			return r.vessel.truth(tank, c.plan.Start), true
		}
	}
	return Truth{}, false
}

// Plan is what the cellar was set up with, its defaults filled in.
func (c *Cellar) Plan() Plan { return c.plan }

// Onsets lists when yeast begins to work in a tank, by its script, in the order of the script.
func (p Plan) Onsets(tank string) []time.Time {
	var onsets []time.Time
	for _, t := range p.Tanks {
		for _, a := range t.Script {
			if _, ok := a.Do.(Creep); ok && t.Name == tank {
				onsets = append(onsets, p.Start.Add(a.At))
			}
		}
	}
	return onsets
}
