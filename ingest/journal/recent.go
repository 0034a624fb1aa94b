package journal

import (
	"sync"

	"spile/detect"
)

// recentMost is how many of the newest entries are held in memory: more than two
// batches of a flood, so that who follows close behind finds the one before it.
const recentMost = 16_000

// recentSlack is how many more may gather before the oldest are let go.
const recentSlack = recentMost / 4

// recent holds the newest entries as the file has them. The judge and the
// forwarder follow close behind the writer, and to read each reading back from
// the file is half of what judging it costs.
type recent struct {
	mu      sync.RWMutex
	entries []Entry // of consecutive seqs, the oldest first; only readings are held, others have a seq alone
}

// add takes up what was committed, in the order of seq.
func (r *recent) add(committed []Entry, seqs []int64) {
	readings := make([]detect.Reading, len(committed)) // one allocation for all
	r.mu.Lock()
	defer r.mu.Unlock()
	for i, e := range committed {
		if seqs[i] == 0 {
			continue // not stored
		}
		held := Entry{Seq: seqs[i]}
		if e.Reading != nil {
			readings[i] = *e.Reading
			readings[i].Time, readings[i].Arrived = moment(millis(e.Reading.Time)), moment(millis(arrival(e)))
			held.Arrived, held.Reading = readings[i].Arrived, &readings[i]
		}
		r.entries = append(r.entries, held)
	}
	if len(r.entries) > recentMost+recentSlack {
		r.entries = append([]Entry(nil), r.entries[len(r.entries)-recentMost:]...)
	}
}

// forget is for when nobody knows what the file has.
func (r *recent) forget() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.entries = nil
}

// after gives what stands behind a seq; false where the file must be asked.
func (r *recent) after(seq int64, limit int) (found []Entry, ok bool) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	if len(r.entries) == 0 || seq+1 < r.entries[0].Seq || seq > r.entries[len(r.entries)-1].Seq {
		return nil, false
	}
	from := int(seq + 1 - r.entries[0].Seq)
	found = r.entries[from:min(from+limit, len(r.entries))]
	for _, e := range found {
		if e.Reading == nil {
			return nil, false
		}
	}
	return append([]Entry(nil), found...), true
}
