package daemon

import (
	"context"

	"spile/alert"
	"spile/ingest/journal"
)

// restore brings the watch to where the last judgement was committed: from the
// newest snapshot, or else from the journal's beginning. Where that is long ago,
// the way from there is left to run.
func (j *judge) restore(ctx context.Context) (err error) {
	if j.through, j.until, err = j.journal.Judged(ctx); err != nil {
		return err
	}
	snapshot, err := j.journal.Snapshot(ctx)
	if err != nil {
		return err
	}
	if snapshot != nil && snapshot.Version == alert.SnapshotVersion {
		if err := j.watch.Restore(snapshot.Body); err != nil {
			j.log.Warn("the snapshot cannot be used; the state is rebuilt from the journal", "entry", snapshot.Seq, "error", err)
		} else {
			j.seq, j.at = snapshot.Seq, snapshot.At
		}
	}
	if j.behind = j.through-j.seq > quickly; j.behind {
		return nil
	}
	return j.rebuild(ctx)
}

// onward judges the past, where it is still to be judged again, and then what
// is new.
func (j *judge) onward(ctx context.Context) error {
	if j.isBehind() {
		if err := j.rebuild(ctx); err != nil {
			return err
		}
	}
	return j.round(ctx)
}

// rebuild judges the past again, up to where the last judgement was committed.
// What comes of it was told long ago and is dropped.
func (j *judge) rebuild(ctx context.Context) error {
	for more := j.seq < j.through; more; {
		entries, err := j.journal.After(ctx, j.seq, judgeBatch)
		if err != nil {
			return err
		}
		more = j.repeat(entries)
		j.turns.Add(1)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.seq = max(j.seq, j.through)
	if !j.until.IsZero() {
		j.watch.Advance(j.until)
		j.at = j.until
	}
	if j.silent {
		j.watch.Speak(false, j.at)
	}
	j.watch.Notices()
	j.behind = false
	return nil
}

// repeat takes entries of the past, and tells whether there may be more.
// Retention may have taken the last of them.
func (j *judge) repeat(entries []journal.Entry) (more bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, e := range entries {
		if e.Seq > j.through {
			return false
		}
		j.take(e)
	}
	j.watch.Notices()
	return len(entries) > 0 && j.seq < j.through
}

// isBehind tells whether the past is still being judged again.
func (j *judge) isBehind() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.behind
}
