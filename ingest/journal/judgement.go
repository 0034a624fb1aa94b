package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// Judgement is what the judge made of the entries since the last one.
type Judgement struct {
	Through     int64     // the last entry it took
	At          time.Time // the moment it has come to
	Transitions []Transition
	Messages    []Message // for the outbox
	Snapshot    *Snapshot // nil: keep the one there is
}

// Snapshot is the judge's state after an entry.
type Snapshot struct {
	Seq     int64
	At      time.Time
	Version int // of the form of Body; another one is not to be restored
	Body    []byte
}

// Judge commits a judgement whole: position, transitions, outbox, snapshot.
//
// The judge only goes forward. A message whose ID the outbox has is not written
// again, so an ID never stands for two contents.
func (j *Journal) Judge(ctx context.Context, g Judgement) error {
	return j.write(ctx, fmt.Sprintf("judge through %d", g.Through), func(tx *sql.Tx) error {
		return putJudgement(ctx, tx, g)
	})
}

func putJudgement(ctx context.Context, tx *sql.Tx, g Judgement) error {
	was, at, err := position(ctx, tx, judge)
	if err != nil {
		return err
	}
	if g.Through < was || g.At.Before(at) {
		return fmt.Errorf("%w: it has judged through %d at %s already", ErrOrder, was, at.Format(time.RFC3339Nano))
	}
	if err := setPosition(ctx, tx, judge, g.Through, g.At); err != nil {
		return err
	}
	for _, t := range g.Transitions {
		if err := putTransition(ctx, tx, g.Through, t); err != nil {
			return err
		}
	}
	for _, m := range g.Messages {
		if err := putMessage(ctx, tx, m); err != nil {
			return err
		}
	}
	if g.Snapshot == nil {
		return nil
	}
	return putSnapshot(ctx, tx, g.Through, *g.Snapshot)
}

func putSnapshot(ctx context.Context, tx *sql.Tx, through int64, s Snapshot) error {
	if s.Seq > through {
		return fmt.Errorf("%w: a snapshot after %d, judged through %d", ErrOrder, s.Seq, through)
	}
	if _, err := tx.ExecContext(ctx, "DELETE FROM snapshots"); err != nil {
		return err
	}
	sum := sha256.Sum256(s.Body)
	_, err := tx.ExecContext(ctx, "INSERT INTO snapshots (seq, at, version, sum, body) VALUES (?, ?, ?, ?, ?)",
		s.Seq, millis(s.At), s.Version, sum[:], notNull(s.Body))
	return err
}

// notNull keeps an empty body from being written as NULL.
func notNull(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// Snapshot gives the newest snapshot, nil where there is none. One that is
// damaged is as good as none: the judge then rebuilds its state from the
// entries, and the damage is logged.
func (j *Journal) Snapshot(ctx context.Context) (*Snapshot, error) {
	s, whole, err := readSnapshot(ctx, j.reader)
	if err != nil {
		return nil, explain("read the snapshot", err)
	}
	if s != nil && !whole {
		j.log.Warn("the judge's snapshot is damaged; its state is rebuilt from the entries", "seq", s.Seq)
		return nil, nil
	}
	return s, nil
}

func readSnapshot(ctx context.Context, q queryer) (s *Snapshot, whole bool, err error) {
	var at int64
	var sum []byte
	s = &Snapshot{}
	err = q.QueryRowContext(ctx, "SELECT seq, at, version, sum, body FROM snapshots ORDER BY seq DESC LIMIT 1").
		Scan(&s.Seq, &at, &s.Version, &sum, &s.Body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	s.At = moment(at)
	is := sha256.Sum256(s.Body)
	return s, string(is[:]) == string(sum), nil
}

// TransitionFilter narrows the transitions that are read. A zero field does not
// narrow.
type TransitionFilter struct {
	Tank     string
	Incident string
	From     time.Time // included
	To       time.Time // excluded
	Limit    int       // keeps the newest
}

const transitionColumns = "incident, tank, alarm, probe, priority, from_state, to_state, time, onset, summary, evidence, by, why"

func putTransition(ctx context.Context, tx *sql.Tx, through int64, t Transition) error {
	evidence := sql.NullString{String: string(t.Evidence), Valid: len(t.Evidence) > 0}
	if evidence.Valid && !json.Valid(t.Evidence) {
		return fmt.Errorf("the evidence of incident %s is no JSON: %.60q", t.Incident, evidence.String)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO transitions (judged, "+transitionColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		through, t.Incident, t.Tank, t.Alarm, t.Probe, t.Priority, t.From, t.To,
		millis(t.Time), maybeMillis(t.Onset), t.Summary, evidence, t.By, t.Why)
	return err
}

// Transitions gives the transitions of a filter, the oldest first.
func (j *Journal) Transitions(ctx context.Context, f TransitionFilter) ([]Transition, error) {
	var w where
	w.equal("tank", f.Tank)
	w.equal("incident", f.Incident)
	w.between("time", f.From, f.To)
	limit := f.Limit
	if limit <= 0 {
		limit = -1 // SQLite's word for all
	}
	rows, err := j.reader.QueryContext(ctx, "SELECT "+transitionColumns+" FROM (SELECT * FROM transitions"+w.clause()+
		" ORDER BY time DESC, id DESC LIMIT ?) ORDER BY time, id", append(w.args, limit)...)
	all, err := collect(rows, err, scanTransition)
	return all, explain("read transitions", err)
}

func scanTransition(r *sql.Rows) (t Transition, err error) {
	var (
		at       int64
		onset    sql.NullInt64
		evidence sql.NullString
	)
	err = r.Scan(&t.Incident, &t.Tank, &t.Alarm, &t.Probe, &t.Priority, &t.From, &t.To,
		&at, &onset, &t.Summary, &evidence, &t.By, &t.Why)
	t.Time, t.Onset = moment(at), maybeMoment(onset)
	if evidence.Valid {
		t.Evidence = json.RawMessage(evidence.String)
	}
	return t, err
}
