package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
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

// Episodes gives every transition of the newest incidents, so many of them, the oldest first. They are in the order in
// which they were raised; with before, the id of an incident, only those that were raised ahead of it count. It is
// ErrUnknown where there is no such incident.
func (j *Journal) Episodes(ctx context.Context, before string, limit int) ([]Transition, error) {
	ahead := int64(math.MaxInt64)
	if before != "" {
		var first sql.NullInt64
		err := j.reader.QueryRowContext(ctx, "SELECT min(id) FROM transitions WHERE incident = ?", before).Scan(&first)
		if err != nil {
			return nil, explain("read episodes", err)
		}
		if !first.Valid {
			return nil, fmt.Errorf("%w: incident %s", ErrUnknown, before)
		}
		ahead = first.Int64
	}
	// The index of incidents has all that it takes to choose them; what they hold is read of the chosen alone.
	rows, err := j.reader.QueryContext(ctx, "SELECT "+transitionColumns+` FROM transitions WHERE incident IN (
		SELECT incident FROM transitions GROUP BY incident HAVING min(id) < ? ORDER BY min(id) DESC LIMIT ?) ORDER BY id`, ahead, limit)
	all, err := collect(rows, err, scanTransition)
	return all, explain("read episodes", err)
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
