package trial

import (
	"cmp"
	"slices"
	"time"

	"spile/detect"
)

// Telling is what lies between a finding and a person: how long a condition must last to be told, how long it must be
// gone to be another one when it comes back, whether it waits while people have hands on the tank, what keeps it quiet,
// and how much it presses where the finding does not say.
type Telling struct {
	OnDelay, OffDelay time.Duration
	Waits             bool
	SuppressedBy      []detect.Alarm
	Priority          detect.Priority
}

// UsualTelling is the telling of each alarm where the caller gives none: the delays are those that a cellar's alarms
// have by default.
func UsualTelling() map[detect.Alarm]Telling {
	return map[detect.Alarm]Telling{
		detect.OverPressure:   {OffDelay: 30 * time.Minute, Priority: detect.Critical},
		detect.Vacuum:         {OnDelay: time.Minute, OffDelay: 5 * time.Minute, Priority: detect.Critical},
		detect.Refermentation: {OffDelay: time.Hour, Waits: true, Priority: detect.High},
		detect.CrashDrift:     {OnDelay: 20 * time.Minute, OffDelay: 10 * time.Minute, Waits: true, Priority: detect.High},
		detect.PressureRise: {OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute, Waits: true,
			SuppressedBy: []detect.Alarm{detect.OverPressure}, Priority: detect.High},
		detect.Leak:         {OffDelay: time.Hour, Waits: true, Priority: detect.Medium},
		detect.FreezeRisk:   {OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute, Waits: true, Priority: detect.High},
		detect.NotFinished:  {Waits: true, Priority: detect.Medium},
		detect.ProbeSilent:  {Waits: true, Priority: detect.Medium},
		detect.HopCharge:    {Waits: true, Priority: detect.Low},
		detect.GravityCheck: {Waits: true, SuppressedBy: []detect.Alarm{detect.Refermentation}, Priority: detect.Low},
		detect.ProbeFault:   {OffDelay: 30 * time.Minute, Waits: true, Priority: detect.Medium},
	}
}

// gate turns findings into calls, as the alarms of a cellar would be told. It keeps the first finding of a condition:
// what it says later makes no second call.
type gate struct {
	telling    map[detect.Alarm]Telling
	conditions []*condition // in the order of their first finding
}

// condition is one alarm of the tank or of one of its probes.
type condition struct {
	alarm   detect.Alarm
	probe   string
	holds   bool
	changed time.Time // since when it holds or does not
	told    bool
	call    *call // the newest, while it stands
	finding detect.Finding
}

// call is a finding that a person is told of.
type call struct {
	at      time.Time
	ended   time.Time // when its condition was gone; zero: it stood to the end
	finding detect.Finding
}

// stands tells whether the call is still up at a time.
func (c *call) stands(at time.Time) bool { return c.ended.IsZero() || c.ended.After(at) }

// wonders tells of a leak that is only asked about: by then there is nothing left to lose, and it is no call in time.
func (c *call) wonders() bool {
	return c.finding.Alarm == detect.Leak && c.finding.Priority == detect.Low
}

// hear takes what the tank found.
func (g *gate) hear(found []detect.Finding) {
	for _, f := range found {
		c := g.condition(f)
		if f.Active && !c.told {
			c.finding = f
		}
		if c.holds != f.Active {
			c.holds, c.changed = f.Active, f.Time
		}
		if before := f.Time.Add(-f.Held); f.Active && before.Before(c.changed) {
			c.changed = before
		}
	}
}

func (g *gate) condition(f detect.Finding) *condition {
	for _, c := range g.conditions {
		if c.alarm == f.Alarm && c.probe == f.Probe {
			return c
		}
	}
	c := &condition{alarm: f.Alarm, probe: f.Probe}
	g.conditions = append(g.conditions, c)
	return c
}

// settle gives the calls that are due. Hands are on the tank until the given time.
func (g *gate) settle(now, hands time.Time) []*call {
	var out []*call
	for _, c := range g.conditions {
		t := g.telling[c.alarm]
		switch since := now.Sub(c.changed); {
		case !c.holds && since >= t.OffDelay:
			if c.told {
				c.told, c.call.ended = false, now
			}
		case c.holds && !c.told && since >= t.OnDelay && (!t.Waits || !now.Before(hands)) && !g.standing(t.SuppressedBy):
			c.told = true
			f := c.finding
			f.Priority = cmp.Or(f.Priority, t.Priority)
			c.call = &call{at: now, finding: f}
			out = append(out, c.call)
		}
	}
	return out
}

// standing tells whether one of the alarms is told now.
func (g *gate) standing(alarms []detect.Alarm) bool {
	return slices.ContainsFunc(g.conditions, func(c *condition) bool {
		return c.told && slices.Contains(alarms, c.alarm)
	})
}
