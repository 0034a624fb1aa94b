package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"spile/alert"
	"spile/alert/page"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/journal"
)

// records shows the pages what the journal keeps, and brings what people do
// onto disk by the same road as readings. It implements page.Records.
type records struct {
	journal *journal.Journal
	intake  *ingest.Intake
	judge   *judge
	pass    func(context.Context, done) // lets a spile that stands by know
}

// Readings streams what passes the filter, oldest first.
func (r records) Readings(ctx context.Context, f page.Filter, each func(detect.Reading) error) error {
	return r.journal.Readings(ctx, journal.Filter(f), each)
}

// Traces returns each series that passes the filter, folded into steps.
func (r records) Traces(ctx context.Context, f page.Filter, step time.Duration) ([]detect.Trace, error) {
	return r.journal.Traces(ctx, journal.Filter(f), step)
}

// Log returns a tank's cellar log, oldest first.
func (r records) Log(ctx context.Context, tank string) ([]detect.Event, error) {
	return r.journal.Events(ctx, journal.Filter{Tank: tank})
}

// WriteLog keeps an event and waits until it is judged, so that who logged it
// sees what follows.
func (r records) WriteLog(ctx context.Context, e detect.Event) (string, error) {
	entry := []journal.Entry{{Arrived: e.Arrived, Event: &e}}
	outcomes, err := r.intake.Write(ctx, entry...)
	if err != nil {
		return "", err
	}
	switch outcomes[0] {
	case journal.Repeat:
		return page.Repeat, nil
	case journal.Conflict:
		return "", fmt.Errorf("%s %s: %w", e.Tank, e.Name, page.ErrLogConflict)
	case journal.Refused:
		return "", fmt.Errorf("%s %s: the journal cannot hold this line", e.Tank, e.Name)
	}
	r.pass(ctx, done{Event: &e})
	return page.Accepted, r.judge.await(ctx, entry[0].Seq)
}

// Alarms returns the alarms that are not normal.
func (r records) Alarms(context.Context) ([]alert.Incident, error) {
	return r.judge.view().Incidents, nil
}

// Past returns the newest alarms that are over, so many, and whether there are older ones.
func (r records) Past(ctx context.Context, before string, limit int) (past []alert.Incident, more bool, err error) {
	open := map[string]bool{}
	for _, in := range r.judge.view().Incidents {
		open[in.ID] = true
	}
	rows, err := r.journal.Episodes(ctx, before, limit+len(open)+1)
	if errors.Is(err, journal.ErrUnknown) {
		return nil, false, fmt.Errorf("%w: %s", alert.ErrUnknownIncident, before)
	}
	if err != nil {
		return nil, false, err
	}
	steps, err := transitions(rows)
	if err != nil {
		return nil, false, err
	}
	past = slices.DeleteFunc(episodes(steps), func(in alert.Incident) bool { return open[in.ID] })
	slices.Reverse(past)
	if len(past) > limit {
		return past[:limit], true, nil
	}
	return past, false, nil
}

// episodes are the incidents of some steps, the oldest first, each as its newest step left it.
func episodes(steps []alert.Transition) []alert.Incident {
	var out []alert.Incident
	place := map[string]int{}
	for _, s := range steps {
		i, known := place[s.ID]
		if !known {
			place[s.ID] = len(out)
			out = append(out, incident(s, s.Time))
			continue
		}
		out[i] = incident(s, out[i].Since)
	}
	return out
}

// incident is an alarm as its newest step left it.
func incident(s alert.Transition, since time.Time) alert.Incident {
	return alert.Incident{
		ID: s.ID, Tank: s.Tank, Alarm: s.Alarm, Probe: s.Probe, Priority: s.Priority, State: s.To,
		Onset: s.Onset, Since: since, Summary: s.Summary, Evidence: s.Evidence, Until: s.Until, Why: s.Why,
	}
}

// Alarm returns one alarm and its steps, oldest first.
func (r records) Alarm(ctx context.Context, id string) (alert.Incident, []alert.Transition, error) {
	rows, err := r.journal.Transitions(ctx, journal.TransitionFilter{Incident: id})
	if err != nil {
		return alert.Incident{}, nil, err
	}
	steps, err := transitions(rows)
	if err != nil {
		return alert.Incident{}, nil, err
	}
	for _, in := range r.judge.view().Incidents {
		if in.ID == id {
			return in, steps, nil
		}
	}
	if len(steps) == 0 {
		return alert.Incident{}, nil, fmt.Errorf("%w: %s", alert.ErrUnknownIncident, id)
	}
	return episodes(steps)[0], steps, nil
}

// Steps returns the steps of all alarms between two moments, oldest first.
func (r records) Steps(ctx context.Context, from, to time.Time) ([]alert.Transition, error) {
	rows, err := r.journal.Transitions(ctx, journal.TransitionFilter{From: from, To: to})
	if err != nil {
		return nil, err
	}
	return transitions(rows)
}

// Began returns when spile first started on its journal.
func (r records) Began(ctx context.Context) (time.Time, error) { return r.journal.Began(ctx) }

// Acknowledge, Shelve and Unshelve keep what a person did and give the alarm as it then stands.
func (r records) Acknowledge(ctx context.Context, id, by, why string) (alert.Incident, error) {
	return r.act(ctx, journal.Act{Verb: verbAcknowledge, Incident: id, By: by, Why: why})
}

// Shelve keeps an alarm quiet until a time.
func (r records) Shelve(ctx context.Context, id, by, why string, until time.Time) (alert.Incident, error) {
	return r.act(ctx, journal.Act{Verb: verbShelve, Incident: id, By: by, Why: why, Until: until})
}

// Unshelve ends a shelving before its time.
func (r records) Unshelve(ctx context.Context, id, by, why string) (alert.Incident, error) {
	return r.act(ctx, journal.Act{Verb: verbUnshelve, Incident: id, By: by, Why: why})
}

func (r records) act(ctx context.Context, a journal.Act) (alert.Incident, error) {
	if _, _, err := r.Alarm(ctx, a.Incident); err != nil {
		return alert.Incident{}, err // what nobody knows need not be kept
	}
	entry := []journal.Entry{{Act: &a}}
	if _, err := r.intake.Write(ctx, entry...); err != nil {
		return alert.Incident{}, err
	}
	r.pass(ctx, done{Act: &a})
	if err := r.judge.await(ctx, entry[0].Seq); err != nil {
		return alert.Incident{}, err
	}
	in, _, err := r.Alarm(ctx, a.Incident)
	return in, err
}

// Refusals returns the newest messages that could not be taken.
func (r records) Refusals() []page.Refusal {
	var out []page.Refusal
	for _, refusal := range r.intake.Refusals() {
		out = append(out, page.Refusal(refusal))
	}
	return out
}

// transitions reads the journal's rows back as the watch's steps.
func transitions(rows []journal.Transition) ([]alert.Transition, error) {
	out := make([]alert.Transition, 0, len(rows))
	for _, row := range rows {
		t := alert.Transition{
			ID: row.Incident, Time: row.Time, Tank: row.Tank, Alarm: detect.Alarm(row.Alarm), Probe: row.Probe,
			Priority: detect.Priority(row.Priority), From: alert.State(row.From), To: alert.State(row.To),
			Onset: row.Onset, Summary: row.Summary, By: row.By, Why: row.Why, Until: row.Until,
		}
		if len(row.Evidence) > 0 {
			if err := json.Unmarshal(row.Evidence, &t.Evidence); err != nil {
				return nil, fmt.Errorf("evidence of incident %s at %s: %w", row.Incident, row.Time.Format(time.RFC3339), err)
			}
		}
		out = append(out, t)
	}
	return out, nil
}
