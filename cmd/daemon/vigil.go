package daemon

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/journal"
)

// vigil watches the vessels while the judge works its way through the past: a
// journal whose snapshot cannot be used may take it minutes, and pressure does
// not wait.
//
// It begins with the cellar log and the newest stretch of the past, hears what
// comes now, and tells of over-pressure and vacuum only. The judge comes by the
// same readings later and raises the same alarms, as a rule at the same moments:
// then the messages are the same, and the outbox keeps one of each. Where the
// longer past moves a moment, a person hears of one thing twice, rather than late.
type vigil struct {
	journal *journal.Journal
	judge   *judge
	links   *alert.Links
	wake    func()
	log     *slog.Logger

	watch *alert.Watch
	seq   int64                    // the last entry taken
	open  map[vesselAlarm]struct{} // what was told before the start, and stands
}

// stretch is how many entries of the past it begins with: for a hundred tanks
// that speak each minute some two hours.
const stretch = 40_000

// vesselAlarm is an alarm of one tank.
type vesselAlarm struct {
	tank  string
	alarm detect.Alarm
}

// newVigil makes a vigil over what is journalled behind the judge's position.
func newVigil(ctx context.Context, o alert.Options, j *judge) (*vigil, error) {
	v := &vigil{
		journal: j.journal, judge: j, links: j.links, wake: j.wake, log: j.log,
		watch: alert.NewWatch(o), seq: max(0, j.through-stretch), open: map[vesselAlarm]struct{}{},
	}
	if err := errors.Join(v.learn(ctx), v.remember(ctx)); err != nil {
		return nil, err
	}
	return v, nil
}

// learn takes the cellar log up to the stretch, and then the stretch itself.
func (v *vigil) learn(ctx context.Context) error {
	first, err := v.journal.After(ctx, v.seq, 1)
	if err != nil || len(first) == 0 {
		return err
	}
	events, err := v.journal.Events(ctx, journal.Filter{})
	if err != nil {
		return err
	}
	slices.SortStableFunc(events, func(a, b detect.Event) int { return a.Arrived.Compare(b.Arrived) })
	for _, e := range events {
		if !e.Arrived.Before(first[0].Arrived) {
			break // it comes with the rest
		}
		v.watch.Started(e.Arrived) // the minutes between need not be run
		v.watch.Log(e)
	}
	v.watch.Started(first[0].Arrived)
	for v.seq < v.judge.through {
		entries, err := v.journal.After(ctx, v.seq, min(judgeBatch, int(v.judge.through-v.seq)))
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			break
		}
		v.takeAll(entries)
	}
	v.seq = max(v.seq, v.judge.through)
	v.watch.Advance(v.judge.until)
	v.watch.Notices() // told long ago
	return nil
}

// remember finds the alarms that stand.
func (v *vigil) remember(ctx context.Context) error {
	steps, err := v.journal.Transitions(ctx, journal.TransitionFilter{})
	if err != nil {
		return err
	}
	for _, s := range steps {
		key := vesselAlarm{s.Tank, detect.Alarm(s.Alarm)}
		v.open[key] = struct{}{}
		if s.To == string(alert.Normal) {
			delete(v.open, key)
		}
	}
	return nil
}

// run watches until the judge has caught up, or ctx ends.
func (v *vigil) run(ctx context.Context) {
	v.log.Warn("the past is judged again, from the journal; over-pressure and vacuum are watched meanwhile")
	pace := time.NewTicker(judgePace)
	defer pace.Stop()
	for v.judge.isBehind() {
		if err := v.look(ctx); err != nil && ctx.Err() == nil {
			v.log.Error("what comes while the past is judged could not be watched", "error", err)
		}
		select {
		case <-pace.C:
		case <-ctx.Done():
			return
		}
	}
	v.log.Info("the past is judged again, and all is watched")
}

// look takes what is new and brings what it means into the outbox.
func (v *vigil) look(ctx context.Context) error {
	horizon := v.judge.horizon()
	for {
		entries, err := v.journal.After(ctx, v.seq, judgeBatch)
		if err != nil {
			return err
		}
		v.takeAll(entries)
		if len(entries) < judgeBatch {
			break
		}
	}
	v.watch.Advance(horizon)
	return v.tell(ctx)
}

func (v *vigil) takeAll(entries []journal.Entry) {
	for _, e := range entries {
		if e.Seq > v.seq {
			v.take(e)
			v.seq = e.Seq
		}
	}
}

func (v *vigil) take(e journal.Entry) {
	switch {
	case e.Reading != nil:
		v.watch.Take(*e.Reading)
	case e.Event != nil:
		v.watch.Log(*e.Event)
	case e.Mark != nil && (e.Mark.Name == markStarted || e.Mark.Name == ingest.MarkLeapt):
		v.watch.Started(e.Arrived)
	}
}

// tell brings the new calls about vessels into the outbox.
func (v *vigil) tell(ctx context.Context) error {
	notices := slices.DeleteFunc(v.watch.Notices(), func(n alert.Notice) bool {
		d, _ := alert.Define(n.Message.Alarm)
		_, told := v.open[vesselAlarm{n.Message.Tank, n.Message.Alarm}]
		return n.Message.Kind != alert.KindAlarm || d.Scope != alert.Vessel || told
	})
	if len(notices) == 0 {
		return nil
	}
	rows, err := messageRows(notices, v.links)
	if err != nil {
		return err
	}
	if err := v.journal.Post(ctx, rows); err != nil {
		return err
	}
	v.wake()
	return nil
}
