package daemon

import (
	"context"

	"spile/ingest/broker"
	"spile/ingest/journal"
	"spile/ingest/subscriber"
)

// startBroker begins to hear: through the embedded broker, or through one that
// stands already.
func (d *Daemon) startBroker(ctx context.Context) error {
	if d.options.Outside != nil {
		return d.startSubscriber(ctx)
	}
	o := broker.Options{
		Listen: d.options.Embedded.Listen, Intake: d.intake, Anonymous: d.options.Embedded.Anonymous, Log: d.options.Log,
		Credentials: d.options.Embedded.Credentials,
	}
	var err error
	if d.broker, err = broker.New(o); err != nil {
		return err
	}
	if err := d.broker.Start(ctx); err != nil {
		return err
	}
	d.stack.push("broker", d.broker.Stop)
	return d.forgetLink(ctx)
}

// forgetLink ends the loss of a broker that is not used any more, once all that
// was journalled of it is judged.
func (d *Daemon) forgetLink(ctx context.Context) error {
	last, err := d.journal.Last(ctx)
	if err != nil {
		return err
	}
	if err := d.judge.reach(ctx, last); err != nil {
		return err
	}
	if !d.judge.linkDown() {
		return nil
	}
	return d.mark(ctx, markFound, "the embedded broker")
}

func (d *Daemon) startSubscriber(ctx context.Context) error {
	o := d.options.Outside
	link := newLink(d)
	var err error
	d.subscriber, err = subscriber.New(subscriber.Options{
		Broker: o.URL, ClientID: o.ClientID, Username: o.Username, Password: o.Password, TLS: o.TLS,
		Topics: d.options.Topics, Intake: d.intake, Up: link.report, Log: d.options.Log,
	})
	if err != nil {
		return err
	}
	link.start(ctx)
	d.stack.push("link", link.stop)
	d.subscriber.Start(ctx)
	d.stack.push("broker", d.subscriber.Stop)
	return nil
}

// link journals when the outside broker is lost and found, in the order it
// happened, without holding up the subscriber.
type link struct {
	daemon *Daemon
	news   chan journal.Mark
	cancel context.CancelFunc
	ended  chan struct{}
}

// newsKept is how many changes may wait for the journal. A link that flaps
// faster than that is told by its newest changes.
const newsKept = 64

func newLink(d *Daemon) *link {
	return &link{daemon: d, news: make(chan journal.Mark, newsKept), ended: make(chan struct{})}
}

// report is called by the subscriber and does not block.
func (l *link) report(up bool, detail string) {
	m := journal.Mark{Name: markLost, Detail: detail}
	if up {
		m.Name = markFound
	}
	for {
		select {
		case l.news <- m:
			return
		default:
		}
		select {
		case <-l.news: // the oldest makes room
		default:
		}
	}
}

func (l *link) start(ctx context.Context) {
	ctx, l.cancel = context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		defer close(l.ended)
		for {
			select {
			case <-ctx.Done():
				return
			case m := <-l.news:
				if err := l.daemon.mark(ctx, m.Name, m.Detail); err != nil && ctx.Err() == nil {
					l.daemon.options.Log.Error("the link's change was not kept", "change", m.Name, "error", err)
				}
			}
		}
	}()
}

func (l *link) stop(context.Context) error {
	l.cancel()
	<-l.ended
	return nil
}
