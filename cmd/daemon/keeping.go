package daemon

import (
	"context"

	"spile/alert"
	"spile/ingest/journal"
)

func (d *Daemon) startJournal(ctx context.Context) error {
	o := journal.Options{Dir: d.options.Data, Memory: d.options.Data == "", Log: d.options.Log}
	var err error
	if d.journal, err = journal.Open(ctx, o); err != nil {
		return unkept(d.options.Data, err)
	}
	d.stack.push("journal", func(context.Context) error { return d.journal.Close() })
	return nil
}

// startCheck looks for faults in what the journal took since the last
// judgement. It runs beside the watch: on a large file it takes its time.
func (d *Daemon) startCheck(ctx context.Context) error {
	judged, _, err := d.journal.Judged(ctx)
	if err != nil {
		return err
	}
	d.aside(ctx, "check", func(ctx context.Context) {
		faults, err := d.journal.Check(ctx, max(judged, 1))
		if err != nil && ctx.Err() == nil {
			d.options.Log.Error("the journal could not be checked", "error", err)
		}
		for _, f := range faults {
			if f.Table == "file" {
				d.damaged(f.What)
			}
			d.options.Log.Error("the journal has a fault; see `spile check --journal`", "fault", f)
		}
	})
	return nil
}

// prepareDisk makes what intake, outbox and judge turn to when the journal fails.
func (d *Daemon) prepareDisk(context.Context) error {
	d.disk = &disk{
		journal: d.journal, mark: d.mark, damaged: d.damaged, clock: d.options.Clock,
		fault: func(what string, err error) { d.options.Log.Error(what, "error", err) },
	}
	d.disk.emergency = newEmergency(d.options.Watch, alert.NewLinks(d.options.HTTP.Public, d.options.HTTP.Token),
		func() { d.sender.Wake() }, func(err error) { d.options.Log.Error("no message could be made", "error", err) })
	return nil
}

// startDisk begins to look after the room on the disk.
func (d *Daemon) startDisk(ctx context.Context) error {
	d.disk.trouble, d.disk.judge = d.intake.Trouble, d.judge
	d.disk.register(d.registry)
	d.disk.start(ctx)
	d.stack.push("room", d.disk.stop)
	return nil
}

func (d *Daemon) startRetention(ctx context.Context) error {
	d.retention = newRetention(d)
	d.each(ctx, "retention", retentionPace, d.retention.look)
	return nil
}

// startFolding folds what an older spile left, beside the watch; until that is done, curves of it are slower to draw.
func (d *Daemon) startFolding(ctx context.Context) error {
	d.aside(ctx, "folds", func(ctx context.Context) {
		for more := true; more && rest(ctx); {
			var err error
			if more, err = d.journal.FoldPast(ctx); err != nil && ctx.Err() == nil {
				d.options.Log.Error("old readings could not be folded; curves of them are slow until the next start", "error", err)
			}
		}
	})
	return nil
}

// damaged has the next start salvage the journal's file, and asks for one.
func (d *Daemon) damaged(why string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.marred || d.options.Data == "" {
		return
	}
	if err := d.journal.Condemn(why); err != nil {
		d.options.Log.Error("the damaged journal could not be condemned", "error", err)
		return
	}
	d.marred = true
	close(d.broken)
}

// Damaged is closed once the journal's file was found damaged. A daemon that is
// then stopped, and another one started, goes on with what can be saved of it.
func (d *Daemon) Damaged() <-chan struct{} { return d.broken }
