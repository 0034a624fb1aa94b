package journal

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Commit writes entries in one transaction, in their order, and tells what
// became of each. Those Accepted and Late get their Seq, and late readings
// their Late. An entry without Arrived takes that of its reading or event.
//
// On an error nothing was written and no entry was changed.
func (j *Journal) Commit(ctx context.Context, entries []Entry) ([]Outcome, error) {
	if j.readOnly {
		return nil, fmt.Errorf("journal: commit: %w: it was opened to be read only", ErrReadOnly)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.recall(ctx); err != nil {
		return nil, explain("commit", err)
	}
	b := &batch{j: j, seqs: make([]int64, len(entries)), outcomes: make([]Outcome, len(entries))}
	// The batch moves last and the newest times as it goes. Should it fail, they
	// are read anew, which also covers a commit of which nobody knows.
	j.known = false
	err := j.transact(ctx, func(tx *sql.Tx) error { return b.write(ctx, tx, entries) })
	if err != nil {
		return nil, explain("commit", err)
	}
	j.known = true
	b.tell(entries)
	j.recent.add(entries, b.seqs)
	return b.outcomes, nil
}

// recall reads last and the series from the file, unless they are known.
func (j *Journal) recall(ctx context.Context) error {
	if j.known {
		return nil
	}
	j.recent.forget()
	all, err := loadSeries(ctx, j.writer)
	if err != nil {
		return err
	}
	j.series.replace(all)
	j.last, err = lastSeq(ctx, j.writer)
	j.known = err == nil
	return err
}

// Last is the newest seq, 0 for an empty journal.
func (j *Journal) Last(ctx context.Context) (int64, error) {
	last, err := lastSeq(ctx, j.reader)
	return last, explain("find the last entry", err)
}

func lastSeq(ctx context.Context, q queryer) (last int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT max(
		coalesce((SELECT max(seq) FROM readings), 0), coalesce((SELECT max(seq) FROM events), 0),
		coalesce((SELECT max(seq) FROM acts), 0), coalesce((SELECT max(seq) FROM marks), 0))`).Scan(&last)
	return last, err
}

// batch is one Commit under way.
type batch struct {
	j          *Journal
	tx         *sql.Tx
	statements statements
	seqs       []int64 // by entry; 0: not stored
	outcomes   []Outcome
	rows       []any // readings not yet sent to SQLite, a row after the other
	touched    map[fold]struct{}
}

func (b *batch) write(ctx context.Context, tx *sql.Tx, entries []Entry) error {
	b.tx, b.statements = tx, b.j.statements.in(ctx, tx)
	for i, e := range entries {
		outcome, err := b.add(ctx, e)
		if err != nil {
			return fmt.Errorf("entry %d of %d: %w", i+1, len(entries), err)
		}
		b.outcomes[i] = outcome
		if outcome == Accepted || outcome == Late {
			b.seqs[i] = b.j.last
		}
	}
	if err := b.flush(ctx, 1); err != nil {
		return err
	}
	return b.fold(ctx)
}

func (b *batch) add(ctx context.Context, e Entry) (Outcome, error) {
	e.Arrived = arrival(e)
	if why := flaw(e); why != "" {
		b.j.log.Warn("an entry is not fit for the journal", "reason", why)
		return Refused, nil
	}
	switch {
	case e.Reading != nil:
		return b.addReading(ctx, *e.Reading, e.Arrived)
	case e.Event != nil:
		return b.addEvent(ctx, *e.Event, e.Arrived)
	case e.Act != nil:
		return Accepted, b.addAct(ctx, *e.Act, e.Arrived)
	default:
		return Accepted, b.addMark(ctx, *e.Mark, e.Arrived)
	}
}

func arrival(e Entry) time.Time {
	switch {
	case !e.Arrived.IsZero():
		return e.Arrived
	case e.Reading != nil:
		return e.Reading.Arrived
	case e.Event != nil:
		return e.Event.Arrived
	}
	return time.Time{}
}

func (b *batch) addAct(ctx context.Context, a Act, arrived time.Time) error {
	_, err := b.tx.ExecContext(ctx, "INSERT INTO acts (seq, arrived, verb, incident, by, why, until) VALUES (?, ?, ?, ?, ?, ?, ?)",
		b.next(), millis(arrived), a.Verb, a.Incident, a.By, a.Why, maybeMillis(a.Until))
	return err
}

func (b *batch) addMark(ctx context.Context, m Mark, arrived time.Time) error {
	_, err := b.tx.ExecContext(ctx, "INSERT INTO marks (seq, arrived, name, detail) VALUES (?, ?, ?, ?)",
		b.next(), millis(arrived), m.Name, m.Detail)
	return err
}

func (b *batch) next() int64 {
	b.j.last++
	return b.j.last
}

// tell writes into the entries what the commit has made true.
func (b *batch) tell(entries []Entry) {
	for i := range entries {
		if b.seqs[i] == 0 {
			continue
		}
		entries[i].Seq = b.seqs[i]
		if r := entries[i].Reading; r != nil {
			r.Late = b.outcomes[i] == Late
		}
	}
}
