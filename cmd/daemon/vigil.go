package daemon

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"slices"
	"sort"
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
// same readings later and raises the same alarms at the same moments, for a
// vessel's alarms hang on less of the past than that: then the messages are the
// same, and the outbox keeps one of each. Where something older matters, such as a
// blow-down that nobody logged, or a zero that a gauge has learned, a person may
// hear of one vacuum twice, rather than late.
type vigil struct {
	journal *journal.Journal
	judge   *judge
	links   *alert.Links
	wake    func()
	log     *slog.Logger

	watch *alert.Watch
	seq   int64                    // the last entry taken
	open  map[vesselAlarm]struct{} // what was told before the start, and stands: the judge tells how it goes on
}

// stretch is how much of the past it begins with at least: twice what a trend of
// the head pressure hangs on (detect's headTrail), whatever the number of probes.
const stretch = 3 * time.Hour

// vesselAlarm is an alarm of one tank.
type vesselAlarm struct {
	tank  string
	alarm detect.Alarm
}

// newVigil makes a vigil over what is journalled behind the judge's position. It
// begins with the stretch, and with so many entries of the past at least.
func newVigil(ctx context.Context, o alert.Options, j *judge, least int64) (*vigil, error) {
	v := &vigil{
		journal: j.journal, judge: j, links: j.links, wake: j.wake, log: j.log,
		watch: alert.NewWatch(ofVessels(o)), open: map[vesselAlarm]struct{}{},
	}
	var err error
	if v.seq, err = v.begin(ctx, j.until.Add(-stretch)); err != nil {
		return nil, err
	}
	v.seq = max(0, min(v.seq, j.through-least))
	if err := errors.Join(v.learn(ctx), v.remember(ctx)); err != nil {
		return nil, err
	}
	return v, nil
}

// ofVessels leaves the alarms of the vessels alone in service: the others, which
// a short past may raise anew, would make a flood of what is to be told.
func ofVessels(o alert.Options) alert.Options {
	tuning := map[detect.Alarm]alert.Tuning{}
	maps.Copy(tuning, o.Tuning)
	for _, d := range alert.Catalogue() {
		if d.Scope != alert.Vessel {
			t := tuning[d.Alarm]
			t.OutOfService = true
			tuning[d.Alarm] = t
		}
	}
	o.Tuning = tuning
	return o
}

// begin finds the last entry that arrived before a moment: arrivals do not go
// back along the journal.
func (v *vigil) begin(ctx context.Context, from time.Time) (int64, error) {
	var fault error
	n := sort.Search(int(v.judge.through), func(n int) bool {
		next, err := v.journal.After(ctx, int64(n), 1)
		fault = errors.Join(fault, err)
		return err != nil || len(next) == 0 || !next[0].Arrived.Before(from)
	})
	return int64(n), fault
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
		startedAt(v.watch, e)
	}
}

// told tells of an alarm that is none of the vigil's: it stood before the start, or
// is no vessel's.
func (v *vigil) told(tank string, a detect.Alarm) bool {
	d, _ := alert.Define(a)
	_, stands := v.open[vesselAlarm{tank, a}]
	return stands || d.Scope != alert.Vessel
}

// tell brings the new calls about vessels into the outbox.
func (v *vigil) tell(ctx context.Context) error {
	notices := slices.DeleteFunc(v.watch.Notices(), func(n alert.Notice) bool {
		switch m := n.Message; m.Kind {
		case alert.KindAlarm:
			return v.told(m.Tank, m.Alarm)
		case alert.KindFlood:
			return !slices.ContainsFunc(m.Alarms, func(a alert.Named) bool { return !v.told(a.Tank, a.Alarm) })
		}
		return true
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
