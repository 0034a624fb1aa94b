package page

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"io"
	"maps"
	"slices"
	"sync"
	"time"

	"spile/alert"
)

// pulseLife is how long one look at the cellar serves all who watch it: with the pace of the streams it keeps a page
// within two seconds of what is judged.
const pulseLife = 400 * time.Millisecond

// pulse is what of the cellar has changed, by tank: a number that is another once anything that people see of the tank
// is. It is safe for concurrent use.
type pulse struct {
	view  func() alert.View
	notes func() any // what stands above every page

	mu    sync.Mutex // guards what follows
	taken time.Time  // in real time: it paces work, and says nothing of the cellar
	marks map[string]uint64
}

// look gives the marks of all tanks. That of no tank, "", is of what belongs to the whole cellar. The map is shared and
// only to be read.
func (p *pulse) look(now time.Time) map[string]uint64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.marks != nil && now.Sub(p.taken).Abs() < pulseLife {
		return p.marks
	}
	view := p.view()
	marks := make(map[string]uint64, len(view.Tanks)+1)
	for _, t := range view.Tanks {
		marks[t.Tank] = digestOf(t)
	}
	others := map[string][]any{"": {p.notes()}} // of the cellar, and of probes outside by the name they are published under
	for _, i := range view.OfNoTank() {
		others[i.Tank] = append(others[i.Tank], i)
	}
	for _, a := range view.Air {
		if !view.Has(a.Tank) {
			others[a.Tank] = append(others[a.Tank], a)
		}
	}
	for name, what := range others {
		marks[name] = digestOf(what)
	}
	p.taken, p.marks = now, marks
	return marks
}

// digestOf is the same for the same content.
func digestOf(content any) uint64 {
	sum := fnv.New64a()
	if err := json.NewEncoder(sum).Encode(content); err != nil {
		_, _ = io.WriteString(sum, fmt.Sprintf("%+v", content)) // never fails; a value that JSON cannot hold still counts
	}
	return sum.Sum64()
}

// changed lists the tanks whose marks differ, by name.
func changed(before, after map[string]uint64) []string {
	tanks := []string{}
	for _, tank := range slices.Sorted(maps.Keys(after)) {
		if mark, known := before[tank]; !known || mark != after[tank] {
			tanks = append(tanks, tank)
		}
	}
	for _, tank := range slices.Sorted(maps.Keys(before)) {
		if _, there := after[tank]; !there {
			tanks = append(tanks, tank)
		}
	}
	return tanks
}
