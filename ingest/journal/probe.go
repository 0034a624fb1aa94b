package journal

import (
	"context"
	"time"
)

// Probe is one that was heard.
type Probe struct {
	Tank   string
	Probe  string
	Newest time.Time // its newest reading, by its own time
}

// Probes lists every probe that the journal has readings of, by tank and name.
func (j *Journal) Probes(ctx context.Context) ([]Probe, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.recall(ctx); err != nil {
		return nil, explain("list the probes", err)
	}
	return j.series.probes(), nil
}
