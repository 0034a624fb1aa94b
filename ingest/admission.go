package ingest

import (
	"fmt"
	"time"
)

// What one publisher may ask of the rest. A probe that was out of reach for two
// months has some 90,000 messages to say at one a minute, and may say them at
// once; from a cellar nothing more is to be learned than ten times a second. The
// numbers are our choice.
const (
	probeBurst  = 100_000 // messages
	probePace   = 10      // a second, beyond the burst
	tankProbes  = 64      // probes that are learned in one tank
	learnedMost = 2000    // tanks that are learned; those of the config come on top
	learnPace   = 1.0 / 60
	passingDays = 24 * time.Hour // a tank of which little was heard is forgotten after it
	passingMost = 10             // messages: what is little
	forgetPace  = time.Hour
)

// Reasons of the admission.
const (
	reasonTooOften = "too-often" // a probe sends more than any cellar needs
	reasonTooMany  = "too-many"  // more tanks or probes than any cellar has
)

// Names are the tanks and probes that are served whatever else comes.
type Names struct {
	Tanks  map[string]bool
	Probes map[string]bool
}

// admission sees to it that no publisher takes the room of the others: neither
// by sending without end, nor by inventing tanks. Only the writer uses it, on
// the time of arrivals.
type admission struct {
	names   Names
	tanks   map[string]*room
	learned int
	new     bucket
	swept   time.Time
	told    map[string]time.Time // by reason
	tell    func(problem string)
}

// room is what one tank takes.
type room struct {
	probes map[string]*bucket
	heard  int // messages
	last   time.Time
	named  bool
}

// bucket fills with time and is emptied by messages.
type bucket struct {
	left float64
	at   time.Time
}

// take takes one out of a bucket that holds so many and fills at such a pace.
func (b *bucket) take(at time.Time, most, perSecond float64) bool {
	if b.at.IsZero() {
		b.left = most
	} else {
		b.left = min(most, b.left+perSecond*at.Sub(b.at).Seconds())
	}
	b.at = at
	if b.left < 1 {
		return false
	}
	b.left--
	return true
}

func newAdmission(names Names, tell func(string)) *admission {
	if tell == nil {
		tell = func(string) {}
	}
	return &admission{names: names, tanks: map[string]*room{}, told: map[string]time.Time{}, tell: tell}
}

// remember takes up a probe that was heard before the start.
func (a *admission) remember(tank, probe string, last time.Time) {
	r := a.tanks[tank]
	if r == nil {
		r = a.add(tank)
	}
	r.heard = passingMost
	r.probes[probe] = &bucket{}
	r.last = last
}

func (a *admission) add(tank string) *room {
	r := &room{probes: map[string]*bucket{}, named: a.names.Tanks[tank]}
	if !r.named {
		a.learned++
	}
	a.tanks[tank] = r
	return r
}

// admit strips a message of what goes too far, and says so in its refusals.
func (a *admission) admit(m Message, d *Decoded, at time.Time) {
	tank, probe := whose(*d)
	if tank == "" {
		return
	}
	reason, detail := a.refuses(tank, probe, at)
	if reason == "" {
		return
	}
	if said, before := a.told[reason]; !before || at.Sub(said) >= passingDays {
		a.told[reason] = at
		a.tell(detail)
	}
	d.Refusals = append(d.Refusals, Refusal{
		Time: at, Source: d.Source, Topic: printable(m.Topic), Reason: reason, Detail: detail, Payload: printable(string(head(m.Payload))),
	})
	d.Readings, d.Events = nil, nil
}

// whose tells whose message it is: one message is of one tank and one probe.
func whose(d Decoded) (tank, probe string) {
	switch {
	case len(d.Readings) > 0:
		return d.Readings[0].Tank, d.Readings[0].Probe
	case len(d.Events) > 0:
		return d.Events[0].Tank, "" // no probe has this name
	}
	return "", ""
}

// refuses tells why a probe may not be heard now; empty where it may.
func (a *admission) refuses(tank, probe string, at time.Time) (reason, detail string) {
	a.sweep(at)
	r := a.tanks[tank]
	if r == nil {
		if !a.names.Tanks[tank] && (a.learned >= learnedMost || !a.new.take(at, learnedMost, learnPace)) {
			return reasonTooMany, fmt.Sprintf("tank %s: too many tanks that nobody named: does a device make up names? "+
				"What stands under tanks in the config is always heard", tank)
		}
		r = a.add(tank)
	}
	b := r.probes[probe]
	if b == nil {
		if len(r.probes) >= tankProbes && !a.names.Probes[probe] {
			return reasonTooMany, fmt.Sprintf("probe %s: tank %s has %d already: does a device make up names? "+
				"What stands under probes in the config is always heard", probe, tank, len(r.probes))
		}
		b = &bucket{}
		r.probes[probe] = b
	}
	r.heard++
	r.last = at
	if !b.take(at, probeBurst, probePace) {
		return reasonTooOften, fmt.Sprintf("tank %s, probe %s: it goes on sending more than %d messages a second: let it send one a minute",
			tank, probe, probePace)
	}
	return "", ""
}

// sweep forgets tanks of which little was heard, and that long ago.
func (a *admission) sweep(at time.Time) {
	if at.Sub(a.swept) < forgetPace {
		return
	}
	a.swept = at
	for tank, r := range a.tanks {
		if !r.named && r.heard < passingMost && at.Sub(r.last) >= passingDays {
			delete(a.tanks, tank)
			a.learned--
		}
	}
}
