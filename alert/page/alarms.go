package page

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"spile/alert"
)

// alarmAnswer is one alarm with the steps that led to where it stands.
type alarmAnswer struct {
	alert.Incident
	History []alert.Transition `json:"history"`
}

// pastMost is how many past alarms one answer holds: a year of a cellar that is called three times a day.
const pastMost = 1000

// alarms answers with the alarms that are not normal or, with state=all, with the past ones behind them. Where there are
// more than one answer holds, it says where the next one is.
func (s *Server) alarms(w http.ResponseWriter, r *http.Request) error {
	values, err := parameters(r.URL.RawQuery, []string{"state", "before", "limit"})
	if err != nil {
		return err
	}
	state, before, limit := values["state"], values["before"], pastMost
	if state != "" && state != "all" {
		return bad("state=%q: write state=all for the past alarms too, or leave it out", state)
	}
	if state == "" && (before != "" || values["limit"] != "") {
		return bad("before and limit go with state=all")
	}
	if text := values["limit"]; text != "" {
		if limit, err = strconv.Atoi(text); err != nil || limit < 1 || limit > pastMost {
			return bad("limit=%q: write how many past alarms, 1 to %d", text, pastMost)
		}
	}
	incidents := []alert.Incident{}
	if before == "" {
		if incidents, err = s.openAlarms(r.Context()); err != nil {
			return err
		}
	}
	answer := map[string]any{}
	if state == "all" {
		past, more, err := s.Records.Past(r.Context(), before, limit)
		if err != nil {
			return err
		}
		if more {
			answer["next"] = apiRoot + "/alarms?" + url.Values{
				"state": {"all"}, "limit": {strconv.Itoa(limit)}, "before": {past[len(past)-1].ID},
			}.Encode()
		}
		incidents = append(incidents, past...)
	}
	answer["alarms"] = filled(incidents)
	writeJSON(w, http.StatusOK, answer)
	return nil
}

// openAlarms returns the alarms that are not normal as people need them, the most pressing first.
func (s *Server) openAlarms(ctx context.Context) ([]alert.Incident, error) {
	incidents, err := s.Records.Alarms(ctx)
	if err != nil {
		return nil, err
	}
	incidents = slices.Clone(incidents)
	slices.SortStableFunc(incidents, byNeed)
	return incidents, nil
}

// byNeed orders alarms: those that want an answer, then the answered, the quiet and the past; within these by
// priority, and by age with the newest first.
func byNeed(a, b alert.Incident) int {
	return cmp.Or(
		cmp.Compare(stage(a.State), stage(b.State)),
		cmp.Compare(rank(b), rank(a)),
		b.Since.Compare(a.Since),
		cmp.Compare(a.ID, b.ID),
	)
}

// rank is the priority of an open alarm; past ones go by time alone.
func rank(i alert.Incident) int {
	if i.State == alert.Normal {
		return 0
	}
	return i.Priority.Rank()
}

// stage is how much an alarm's state asks of a person, 0 most.
func stage(state alert.State) int {
	switch state {
	case alert.Unacknowledged:
		return 0
	case alert.Acknowledged:
		return 1
	case alert.Returned:
		return 2
	case alert.Normal:
		return 4
	}
	return 3
}

// alarm answers with one alarm.
func (s *Server) alarm(w http.ResponseWriter, r *http.Request) error {
	incident, steps, err := s.Records.Alarm(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, alarmAnswer{incident, filled(steps)})
	return nil
}

// acknowledge answers with the alarm as acknowledging left it.
func (s *Server) acknowledge(w http.ResponseWriter, r *http.Request) error {
	return s.act(w, r, s.Records.Acknowledge)
}

// unshelve answers with the alarm as ending its quiet left it.
func (s *Server) unshelve(w http.ResponseWriter, r *http.Request) error {
	return s.act(w, r, s.Records.Unshelve)
}

// act does to an alarm what needs no more than who and why, both of which may be absent.
func (s *Server) act(
	w http.ResponseWriter, r *http.Request, do func(ctx context.Context, id, by, why string) (alert.Incident, error),
) error {
	fields, err := readObject(r, true)
	if err != nil {
		return err
	}
	if err := only(fields, "by", "why"); err != nil {
		return err
	}
	by, why, err := person(fields, "API")
	if err != nil {
		return err
	}
	incident, err := do(r.Context(), r.PathValue("id"), by, why)
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, incident)
	return nil
}

// person takes who and why out of fields. Who did not say so is known by the road taken.
func person(fields map[string]any, road string) (by, why string, err error) {
	if by, err = text(fields, "by"); err != nil {
		return "", "", err
	}
	if why, err = text(fields, "why"); err != nil {
		return "", "", err
	}
	if len(by) > 100 || len(why) > 1000 {
		return "", "", bad("by takes 100 bytes and why 1000: write it shorter")
	}
	return cmp.Or(by, road), why, nil
}

// shelve answers with the alarm as shelving left it.
func (s *Server) shelve(w http.ResponseWriter, r *http.Request) error {
	fields, err := readObject(r, false)
	if err != nil {
		return err
	}
	if err := only(fields, "until", "for", "by", "why"); err != nil {
		return err
	}
	incident, err := s.shelveAlarm(r.Context(), r.PathValue("id"), fields, "API")
	if err != nil {
		return err
	}
	writeJSON(w, http.StatusOK, incident)
	return nil
}

// refusals answers with the newest messages that could not be taken.
func (s *Server) refusals(w http.ResponseWriter, _ *http.Request) error {
	writeJSON(w, http.StatusOK, map[string]any{"refusals": filled(s.Records.Refusals())})
	return nil
}
