package page

import (
	"context"
	"strconv"
	"strings"
	"time"

	"spile/alert"
	"spile/detect"
	"spile/detect/beer"
)

// How long an alarm may be kept quiet, as alert.Watch has it. What the form offers and what is refused before it is
// written goes by these; the Watch has the last word. Nobody shelves a tank's relief for the night.
const (
	vesselShelving = time.Hour
	batchShelving  = 7 * 24 * time.Hour
)

// shelvingLimit is how long this alarm may be kept quiet.
func shelvingLimit(i alert.Incident) time.Duration {
	if isVessel(i) {
		return vesselShelving
	}
	return batchShelving
}

// isVessel tells whether an alarm belongs to the tank and not to the beer in it.
func isVessel(i alert.Incident) bool {
	d, known := alert.Define(i.Alarm)
	return known && d.Scope == alert.Vessel
}

// shelveAlarm keeps an alarm quiet as the fields of a request ask.
func (s *Server) shelveAlarm(ctx context.Context, id string, fields map[string]any, road string) (alert.Incident, error) {
	by, why, err := person(fields, road)
	if err != nil {
		return alert.Incident{}, err
	}
	now := s.Clock()
	until, err := shelvingEnd(fields, now)
	if err != nil {
		return alert.Incident{}, err
	}
	incident, _, err := s.Records.Alarm(ctx, id)
	if err != nil {
		return alert.Incident{}, err
	}
	if limit := shelvingLimit(incident); until.Sub(now) > limit {
		return alert.Incident{}, bad("%s can be shelved for %s at most", incident.Alarm, detect.Spell(limit))
	}
	if strings.TrimSpace(why) == "" {
		return alert.Incident{}, bad("why: say why %s is to be quiet, for whoever looks next", incident.Alarm)
	}
	return s.Records.Shelve(ctx, id, by, why, until)
}

// shelvingEnd reads "until" or "for", exactly one of which must be there.
func shelvingEnd(fields map[string]any, now time.Time) (time.Time, error) {
	until, err := text(fields, "until")
	if err != nil {
		return time.Time{}, err
	}
	length, err := text(fields, "for")
	if err != nil {
		return time.Time{}, err
	}
	if (until == "") == (length == "") {
		return time.Time{}, bad(`give either "until", as "2026-03-02T07:00:00Z", or "for", as "30m"`)
	}
	var end time.Time
	if length != "" {
		end, err = after(now, length)
	} else {
		end, err = moment("until", until)
	}
	if err != nil {
		return time.Time{}, err
	}
	if !end.After(now) {
		return time.Time{}, bad("the shelving would end at %s, which is past: give a later time", end.Format(time.RFC3339))
	}
	return end.UTC().Truncate(time.Millisecond), nil
}

// after adds a length of time as people write it. A bare number is refused: nobody knows whether it means minutes.
func after(now time.Time, length string) (time.Time, error) {
	if _, err := strconv.ParseFloat(strings.TrimSpace(length), 64); err == nil {
		return time.Time{}, bad("for=%q: minutes or hours? write 30m or 2h", length)
	}
	hours, err := beer.Parse(length, beer.KindDuration)
	if err != nil {
		return time.Time{}, bad("for=%v", err)
	}
	if hours > batchShelving.Hours() {
		return time.Time{}, bad("for=%q: an alarm can be shelved for %s at most", length, detect.Spell(batchShelving))
	}
	return now.Add(time.Duration(hours * float64(time.Hour))), nil
}
