package daemon

import (
	"context"
	"encoding/json"
	"strconv"
	"time"

	"spile/alert/standby"
	"spile/alert/webhook"
	"spile/detect"
	"spile/ingest/journal"
)

// newStandby makes the agreement with another spile, and the gate that it is to
// messages; nil where this one watches alone.
func (d *Daemon) newStandby() (webhook.Gate, error) {
	o := d.options.Standby
	if o == nil {
		return nil, nil
	}
	outside := d.options.Outside
	s, err := standby.New(standby.Options{
		Broker: outside.URL, ClientID: outside.ClientID + "-standby", Username: outside.Username, Password: outside.Password, TLS: outside.TLS,
		Site: d.options.Site, Role: o.Role, After: o.After,
		CaughtUp: d.caughtUp(), Handover: d.handover, Adopt: d.adopter(), Done: d.done, Turned: d.turned, Leased: d.leased,
		Wake: func() { d.sender.Wake() }, Busy: func() bool { return d.sender.Busy() },
		Log: d.options.Log, Registerer: d.registry,
	})
	if err != nil {
		return nil, err
	}
	d.standby = s
	return s, nil
}

func (d *Daemon) startStandby(ctx context.Context) error {
	if d.standby == nil {
		return nil
	}
	d.standby.Start(ctx)
	d.stack.push("standby", d.standby.Stop)
	return nil
}

// told lets the other spile know that a message went out.
func (d *Daemon) told() {
	if d.standby != nil {
		d.standby.News()
	}
}

// speaks tells whether this spile tells people, as one does that watches alone.
func (d *Daemon) speaks() bool { return d.standby == nil || d.standby.Speaks() }

// markVoice journals whether this spile begins as one that speaks.
func (d *Daemon) markVoice(ctx context.Context) error {
	switch {
	case d.standby != nil:
		return d.mark(ctx, markSilent, "until it is known who speaks")
	case d.judge.behind || !d.judge.watch.Speaks(): // it may have stood by before, and is alone now
		return d.mark(ctx, markSpeaks, "alone")
	}
	return nil
}

// What counts as having caught up with the probes.
const (
	catchLook  = 2 * time.Second
	catchLag   = 10 * time.Second // of the judge behind the clock
	catchFlood = 500              // entries a second: more is what the broker kept meanwhile
)

// caughtUp tells whether what came while this spile was away is judged. It is
// asked often, by one goroutine.
func (d *Daemon) caughtUp() func() bool {
	var looked time.Time
	var seq int64
	is := false
	return func() bool {
		now := time.Now()
		if passed := now.Sub(looked); passed >= catchLook {
			before, first := seq, looked.IsZero()
			looked, seq = now, d.judge.taken()
			ready := false
			if d.subscriber != nil {
				ready, _ = d.subscriber.Ready()
			}
			flood := float64(seq-before)/passed.Seconds() > catchFlood
			is = ready && !first && !flood && d.options.Clock().Sub(d.judge.moment()) < catchLag
		}
		return is
	}
}

// keep journals an entry and waits until it is judged.
func (d *Daemon) keep(ctx context.Context, e journal.Entry) error {
	entry := []journal.Entry{e}
	if _, err := d.intake.Write(ctx, entry...); err != nil {
		return err
	}
	return d.judge.reach(ctx, entry[0].Seq)
}

// turned journals that this spile begins or ceases to speak.
func (d *Daemon) turned(ctx context.Context, speaks bool) {
	name := markSilent
	if speaks {
		name = markSpeaks
	}
	if err := d.keep(ctx, journal.Entry{Mark: &journal.Mark{Name: name}}); err != nil && ctx.Err() == nil {
		d.options.Log.Error("who speaks was not kept", "error", err)
	}
}

// leased journals the number that both spiles know, so that what neither can
// ask the other about gets one id.
func (d *Daemon) leased(ctx context.Context, lease uint64) {
	if err := d.keep(ctx, journal.Entry{Mark: &journal.Mark{Name: markLease, Detail: strconv.FormatUint(lease, 10)}}); err != nil && ctx.Err() == nil {
		d.options.Log.Error("the lease was not kept", "error", err)
	}
}

// done is what a person did, at a page or by the API of one spile.
type done struct {
	Act   *journal.Act  `json:"act,omitempty"`
	Event *detect.Event `json:"event,omitempty"`
}

// pass lets the other spile know what a person did here.
func (d *Daemon) pass(ctx context.Context, what done) {
	if d.standby == nil {
		return
	}
	body, err := json.Marshal(what)
	if err != nil {
		d.options.Log.Error("what was done here was not passed on", "error", err)
		return
	}
	d.standby.Pass(ctx, body)
}

// done takes what a person did at the other spile.
func (d *Daemon) done(ctx context.Context, body []byte) {
	var what done
	err := json.Unmarshal(body, &what)
	if err == nil {
		e := journal.Entry{Act: what.Act, Event: what.Event}
		if what.Event != nil {
			what.Event.Arrived = d.options.Clock()
			e.Arrived = what.Event.Arrived
		}
		if e.Act != nil || e.Event != nil {
			err = d.keep(ctx, e)
		}
	}
	if err != nil && ctx.Err() == nil {
		d.options.Log.Error("what was done at the other spile was not taken", "error", err)
	}
}

// taken is the last entry taken.
func (j *judge) taken() int64 {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.seq
}
