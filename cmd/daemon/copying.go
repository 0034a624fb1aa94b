package daemon

import (
	"context"
	"time"

	"spile/alert"
	"spile/ingest/influx"
)

const (
	copyPace   = time.Minute // between looks at the copy in InfluxDB
	copyStands = time.Hour   // that it stands still, until a person is told: a server that is mended or moved is back before
)

// copying looks after the copy in InfluxDB, and journals that it stands still, so that this comes to the judge by the
// same road as all else.
type copying struct {
	state   func() influx.State // of no copy at all: the zero State
	failing func() bool         // whether the judge holds that it stands still
	mark    func(ctx context.Context, name, detail string) error
	words   alert.Words
	now     func() time.Time // of the forwarder's clock, not of arrivals
	fault   func(error)
}

// look journals what has changed. A copy that was taken out of the config stands still no more.
func (c *copying) look(ctx context.Context) {
	var name, detail string
	switch state, now, told := c.state(), c.now(), c.failing(); {
	case state.Problem == "" && told:
		name = markCopies
	case state.Problem != "" && !told && now.Sub(state.Since) >= copyStands:
		name, detail = markBehind, state.Problem+", since "+c.words.When(state.Since, now)
	default:
		return
	}
	if err := c.mark(ctx, name, detail); err != nil && ctx.Err() == nil {
		c.fault(err)
	}
}
