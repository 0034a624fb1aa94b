package daemon

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
	"spile/ingest/journal"
)

// batches keeps the record of each tank that somebody asked about, and reads on from the journal when it is asked again.
type batches struct {
	journal  *journal.Journal
	settings func(tank string) detect.Settings
	limits   batch.Limits
	clock    func() time.Time
	log      *slog.Logger

	mu   sync.Mutex // guards what follows
	kept map[string]*keptRecord
}

// keptRecord is one tank's record and how far it was read.
type keptRecord struct {
	record  *batch.Record
	through time.Time // own time of the newest reading taken
	made    time.Time
}

// batches begins with no record read.
func (d *Daemon) batches() *batches {
	settings := func(tank string) detect.Settings {
		if s, ok := d.options.Watch.Tanks[tank]; ok {
			return s
		}
		return d.options.Watch.Default
	}
	return &batches{journal: d.journal, settings: settings, limits: d.options.Limits, clock: d.options.Clock, log: d.options.Log}
}

const (
	longestBatch = 150 * 24 * time.Hour // a lager and its cellar; what is older belongs to another batch
	readAgain    = 3 * time.Hour        // of a probe that lags behind the others
	recordAge    = 6 * time.Hour        // after which a record is read anew, for backlogs that came late
)

// report is the batch in a tank as it stands now.
func (b *batches) report(ctx context.Context, tank string) (rep batch.Report, err error) {
	err = b.with(ctx, tank, func(r *batch.Record) {
		rep = r.Report(b.clock())
		r.Compare(&rep, b.earlier(rep))
	})
	return rep, err
}

// reportAt is the batch that was in a tank at a moment, as it stood then. It is read from the journal for this one answer.
func (b *batches) reportAt(ctx context.Context, tank string, at time.Time) (batch.Report, error) {
	then := &batches{journal: b.journal, settings: b.settings, limits: b.limits, clock: func() time.Time { return at }, log: b.log}
	return then.report(ctx, tank)
}

// earlier are the batches of the same beer before this one, by the records that are at hand. b.mu is held.
func (b *batches) earlier(rep batch.Report) []batch.Brew {
	if rep.Beer == "" {
		return nil
	}
	var out []batch.Brew
	for _, k := range b.kept {
		if k.record != nil {
			out = append(out, k.record.Brews(rep.Beer, rep.Began.Add(-time.Millisecond), rep.At.Sub(rep.Began))...)
		}
	}
	slices.SortFunc(out, func(a, c batch.Brew) int { return a.Began.Compare(c.Began) })
	return out
}

// before is what an act in the log leads to. Who logged it is told what is known: that the journal cannot be read just
// now is in its own log.
func (b *batches) before(ctx context.Context, e detect.Event) (said []string) {
	if err := b.with(ctx, e.Tank, func(r *batch.Record) { said = r.Before(e) }); err != nil {
		b.log.Warn("what follows from a line of the log cannot be said", "tank", e.Tank, "error", err)
	}
	return said
}

// doubt asks back where a figure hardly fits its tank.
func (b *batches) doubt(e detect.Event) error { return b.settings(e.Tank).Doubt(e) }

// with reads on in a tank's record and hands it over.
func (b *batches) with(ctx context.Context, tank string, use func(*batch.Record)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	events, err := b.journal.Events(ctx, journal.Filter{})
	if err != nil {
		return err
	}
	done := map[string]bool{}
	record, err := b.read(ctx, tank, events, done)
	if err != nil {
		return err
	}
	for _, other := range brewedIn(events, record.Beer(b.clock())) {
		if _, err := b.read(ctx, other, events, done); err != nil {
			return err
		}
	}
	use(record)
	return nil
}

// brewedIn are the tanks in which a beer was ever pitched.
func brewedIn(log []detect.Event, beer string) []string {
	var out []string
	for _, e := range log {
		if e.Name == "pitch" && beer != "" && e.Word("beer") == beer && !slices.Contains(out, e.Tank) {
			out = append(out, e.Tank)
		}
	}
	return out
}

// read brings a tank's record to what the journal has now, and those of the tanks its beer came from. b.mu is held.
func (b *batches) read(ctx context.Context, tank string, log []detect.Event, done map[string]bool) (*batch.Record, error) {
	k := b.of(tank)
	if done[tank] {
		return k.record, nil
	}
	done[tank] = true
	if err := b.readOn(ctx, tank, k); err != nil {
		k.record = nil // half read
		return nil, err
	}
	var own []detect.Event
	k.record.Alone()
	for _, e := range log {
		if e.Tank == tank {
			own = append(own, e)
		}
	}
	k.record.Logbook(own)
	for _, e := range detect.InForce(log) {
		if e.Name != "transfer" || e.Word("to") != tank || e.Tank == tank {
			continue
		}
		from, err := b.read(ctx, e.Tank, log, done)
		if err != nil {
			return nil, err
		}
		liters, _ := e.Amount("volume")
		k.record.From(from, e.Time, liters)
	}
	return k.record, nil
}

// readOn takes what readings and alarms of a tank are new.
func (b *batches) readOn(ctx context.Context, tank string, k *keptRecord) error {
	now := b.clock()
	if k.record == nil || now.Sub(k.made) > recordAge || now.Before(k.made) {
		k.record = batch.NewRecord(tank, b.settings(tank), b.limits)
		k.made, k.through = now, now.Add(-longestBatch)
	}
	from := k.through.Add(-readAgain)
	err := b.journal.Readings(ctx, journal.Filter{Tank: tank, From: from}, func(r detect.Reading) error {
		k.record.Take(r)
		k.through = detect.Later(k.through, r.Time)
		return nil
	})
	if err != nil {
		return err
	}
	rows, err := b.journal.Transitions(ctx, journal.TransitionFilter{Tank: tank, From: now.Add(-longestBatch)})
	if err != nil {
		return err
	}
	steps, err := transitions(rows)
	if err != nil {
		return err
	}
	k.record.Alarms(alarmsOf(steps))
	return nil
}

// of finds or begins what is kept of a tank. b.mu is held.
func (b *batches) of(tank string) *keptRecord {
	if b.kept == nil {
		b.kept = map[string]*keptRecord{}
	}
	k := b.kept[tank]
	if k == nil {
		k = &keptRecord{}
		b.kept[tank] = k
	}
	return k
}

// alarmsOf folds steps into the alarms that people were called for.
func alarmsOf(steps []alert.Transition) []batch.Alarm {
	var out []batch.Alarm
	place := map[string]int{}
	for _, step := range steps {
		i, known := place[step.ID]
		if !known {
			i = len(out)
			place[step.ID] = i
			out = append(out, batch.Alarm{
				Alarm: step.Alarm, Title: step.Title(), Probe: step.Probe, Raised: step.Time, Onset: step.Onset, Summary: step.Summary, Mute: true,
			})
		}
		out[i].Mute = out[i].Mute && step.To != alert.Unacknowledged
		switch step.To {
		case alert.Normal, alert.Returned: // over, whether anybody has answered or not
			if out[i].Ended.IsZero() {
				out[i].Ended = step.Time
			}
		default:
			out[i].Ended = time.Time{}
		}
	}
	return out
}
