package daemon

import (
	"context"

	"spile/ingest/journal"
)

// herald journals what befalls spile, in the order it happened, without holding
// up who tells of it.
type herald struct {
	daemon *Daemon
	news   chan journal.Mark
	cancel context.CancelFunc
	ended  chan struct{}
}

// newsKept is how many marks may wait for the journal. What changes faster than
// that is told by its newest changes.
const newsKept = 64

func newHerald(d *Daemon) *herald {
	return &herald{daemon: d, news: make(chan journal.Mark, newsKept), ended: make(chan struct{})}
}

// report is called by the subscriber when the link is lost or found.
func (h *herald) report(up bool, detail string) {
	m := journal.Mark{Name: markLost, Detail: detail}
	if up {
		m.Name = markFound
	}
	h.tell(m)
}

// flooded is called by the intake when a publisher goes too far.
func (h *herald) flooded(problem string) { h.tell(journal.Mark{Name: markFlood, Detail: problem}) }

// tell does not block.
func (h *herald) tell(m journal.Mark) {
	for {
		select {
		case h.news <- m:
			return
		default:
		}
		select {
		case <-h.news: // the oldest makes room
		default:
		}
	}
}

func (h *herald) start(ctx context.Context) {
	ctx, h.cancel = context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		defer close(h.ended)
		for {
			select {
			case <-ctx.Done():
				return
			case m := <-h.news:
				if err := h.daemon.mark(ctx, m.Name, m.Detail); err != nil && ctx.Err() == nil {
					h.daemon.options.Log.Error("what befell spile was not kept", "mark", m.Name, "error", err)
				}
			}
		}
	}()
}

func (h *herald) stop(context.Context) error {
	h.cancel()
	<-h.ended
	return nil
}
