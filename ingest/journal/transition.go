package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"
)

// TransitionFilter narrows the transitions that are read. A zero field does not
// narrow.
type TransitionFilter struct {
	Tank     string
	Incident string
	From     time.Time // included
	To       time.Time // excluded
	Limit    int       // keeps the newest
}

const transitionColumns = "incident, tank, alarm, probe, priority, from_state, to_state, time, onset, summary, evidence, by, why, until"

func putTransition(ctx context.Context, tx *sql.Tx, through int64, t Transition) error {
	evidence := sql.NullString{String: string(t.Evidence), Valid: len(t.Evidence) > 0}
	if evidence.Valid && !json.Valid(t.Evidence) {
		return fmt.Errorf("the evidence of incident %s is no JSON: %.60q", t.Incident, evidence.String)
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO transitions (judged, "+transitionColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		through, t.Incident, t.Tank, t.Alarm, t.Probe, t.Priority, t.From, t.To,
		millis(t.Time), maybeMillis(t.Onset), t.Summary, evidence, t.By, t.Why, maybeMillis(t.Until))
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
		until    sql.NullInt64
		evidence sql.NullString
	)
	err = r.Scan(&t.Incident, &t.Tank, &t.Alarm, &t.Probe, &t.Priority, &t.From, &t.To,
		&at, &onset, &t.Summary, &evidence, &t.By, &t.Why, &until)
	t.Time, t.Onset, t.Until = moment(at), maybeMoment(onset), maybeMoment(until)
	if evidence.Valid {
		t.Evidence = json.RawMessage(evidence.String)
	}
	return t, err
}
