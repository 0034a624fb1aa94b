package cellarsim

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// Radio is the way from a probe to the broker. The zero value delivers everything at once, whole and in order.
type Radio struct {
	Delay       time.Duration // of every message
	Jitter      time.Duration // up to which a delay grows, evenly spread
	LossShare   float64       // messages lost one by one
	RepeatShare float64       // messages that come twice, the second within a minute
	LateShare   float64       // messages held up one by one, and overtaken by others
	LateBy      time.Duration // mean of that, exponential
	GapsPerDay  float64       // outages
	GapLength   time.Duration // mean of them, exponential
	Buffered    bool          // what an outage held back comes after it, oldest first; otherwise it is lost
}

// repeatWithin is how soon a repeated message comes again.
const repeatWithin = time.Minute

func (r Radio) check(probe string) error {
	for _, share := range []float64{r.LossShare, r.RepeatShare, r.LateShare} {
		if !(share >= 0 && share <= 1) {
			return fmt.Errorf("probe %s: a share of messages is %g; it lies from 0 to 1", probe, share)
		}
	}
	if r.GapsPerDay < 0 || r.Delay < 0 || r.Jitter < 0 || r.LateBy < 0 || r.GapLength < 0 {
		return fmt.Errorf("probe %s: its radio has a negative figure", probe)
	}
	return nil
}

// transmitter is a Radio at work.
type transmitter struct {
	Radio
	gapFrom, gapTill time.Duration
	rng              *rand.Rand
}

func newTransmitter(r Radio, rng *rand.Rand) *transmitter {
	t := &transmitter{Radio: r, rng: rng}
	t.nextGap()
	return t
}

// nextGap draws the outage after the one that ended.
func (t *transmitter) nextGap() {
	if t.GapsPerDay <= 0 {
		t.gapFrom, t.gapTill = forGood, forGood
		return
	}
	t.gapFrom = t.gapTill + time.Duration(t.rng.ExpFloat64()*24/t.GapsPerDay*float64(time.Hour))
	t.gapTill = t.gapFrom + time.Duration(t.rng.ExpFloat64()*float64(t.GapLength))
}

// send gives the arrivals of a message sent at a moment: none when it is lost, two when it is repeated.
func (t *transmitter) send(at time.Duration) (arrivals [2]time.Duration, n int) {
	for at >= t.gapTill {
		t.nextGap()
	}
	lost := t.chance(t.LossShare)
	arrival := at + t.Delay + t.upTo(t.Jitter)
	if t.chance(t.LateShare) {
		arrival += time.Duration(t.rng.ExpFloat64() * float64(t.LateBy))
	}
	if at >= t.gapFrom {
		lost = lost || !t.Buffered
		arrival = max(arrival, t.gapTill)
	}
	if lost {
		return arrivals, 0
	}
	arrivals[0] = arrival
	if !t.chance(t.RepeatShare) {
		return arrivals, 1
	}
	arrivals[1] = arrival + t.upTo(repeatWithin)
	return arrivals, 2
}

// chance draws whether something of a share happens.
func (t *transmitter) chance(share float64) bool { return share > 0 && t.rng.Float64() < share }

// upTo draws evenly from zero to a limit.
func (t *transmitter) upTo(limit time.Duration) time.Duration {
	if limit <= 0 {
		return 0
	}
	return time.Duration(t.rng.Int64N(int64(limit)))
}
