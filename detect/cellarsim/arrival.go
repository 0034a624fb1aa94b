package cellarsim

import (
	"slices"
	"time"

	"spile/detect"
)

// Arrival is one message as it is heard, with what it says. A probe that sends bare numbers sends one for each quantity
// and leaves its time out, so that the time of such a reading is its arrival.
type Arrival struct {
	Arrived  time.Time        // UTC, whole milliseconds
	Readings []detect.Reading // of one probe; to be copied by who keeps it beyond the call
	Event    *detect.Event    // a line of the cellar log; never changed by the cellar
	Shape    Shape            // in which it is written
	Battery  int              // what the probe says of itself, as in Probe
	Signal   int
}

// post holds the messages on their way, and gives them out by arrival.
type post struct {
	queue []delivery // the next to arrive stands last, so that taking it moves nothing
	slots []Arrival  // the messages; free ones keep their memory
	free  []int
	sent  uint64
}

// delivery is a message on its way. Those that arrive at the same moment keep the order in which they were sent.
type delivery struct {
	at   time.Duration
	sent uint64
	slot int
}

// later orders the queue.
func later(a, b delivery) int {
	if a.at != b.at {
		if a.at > b.at {
			return -1
		}
		return 1
	}
	if a.sent > b.sent {
		return -1
	}
	return 1
}

// put sends a message. It keeps a copy of the readings.
func (p *post) put(at time.Duration, a Arrival) {
	slot := len(p.slots)
	if last := len(p.free) - 1; last >= 0 {
		slot, p.free = p.free[last], p.free[:last]
	} else {
		p.slots = append(p.slots, Arrival{})
	}
	kept := append(p.slots[slot].Readings[:0], a.Readings...)
	for i := range kept {
		kept[i].Arrived = a.Arrived
	}
	a.Readings = kept
	p.slots[slot] = a
	p.sent++
	d := delivery{at, p.sent, slot}
	place, _ := slices.BinarySearchFunc(p.queue, d, later)
	p.queue = slices.Insert(p.queue, place, d)
}

// take gives out the next message that arrives before a moment. It is good until the next put.
func (p *post) take(before time.Duration) (Arrival, bool) {
	last := len(p.queue) - 1
	if last < 0 || p.queue[last].at >= before {
		return Arrival{}, false
	}
	d := p.queue[last]
	p.queue = p.queue[:last]
	p.free = append(p.free, d.slot)
	return p.slots[d.slot], true
}
