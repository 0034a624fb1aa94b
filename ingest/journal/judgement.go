package journal

import (
	"context"
	"database/sql"
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
