package daemon

import (
	"context"

	"spile/ingest/broker"
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
		Credentials: d.options.Embedded.Credentials, TLS: d.options.Embedded.TLS, TankOf: d.tankOf,
	}
	var err error
	if d.broker, err = broker.New(o); err != nil {
		return err
	}
	if err := d.broker.Start(ctx); err != nil {
		return unheard("mqtt.listen", o.Listen, "if it is a broker, name it by mqtt.broker and leave listen out; else give another port", err)
	}
	d.stack.push("broker", d.broker.Stop)
	if !d.judge.isBehind() {
		return d.forgetLink(ctx)
	}
	d.aside(ctx, "old link", func(ctx context.Context) {
		if err := d.forgetLink(ctx); err != nil && ctx.Err() == nil {
			d.options.Log.Error("the end of the link to the broker of before was not kept", "error", err)
		}
	})
	return nil
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
	link := newHerald(d)
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
