package scenario

import (
	"fmt"
	"strconv"
	"time"
)

// moment is a time as a file writes it: of a day of the scenario, or absolute.
type moment struct {
	absolute time.Time // zero: it is counted from midnight of day 1
	after    time.Duration
	set      bool
}

// The furthest days that a file may speak of.
const (
	firstDay = -99
	lastDay  = 99
)

const momentMend = "write day 3 04:00, or RFC 3339 such as 2026-03-02T01:15:00Z"

// takeMoment reads a time off the front of some words and gives the rest.
func takeMoment(from []string) (m moment, rest []string, err error) {
	switch {
	case len(from) == 0:
		return m, nil, fmt.Errorf("a time is missing: %s", momentMend)
	case from[0] != "day":
		at, err := time.Parse(time.RFC3339, from[0])
		if err != nil {
			return m, nil, fmt.Errorf("%s is no time: %s", quoted(from[0]), momentMend)
		}
		return moment{absolute: at.UTC(), set: true}, from[1:], nil
	case len(from) < 3:
		return m, nil, fmt.Errorf("a day and a time of day are missing: %s", momentMend)
	}
	day, err := strconv.Atoi(from[1])
	if err != nil || day < firstDay || day > lastDay {
		return m, nil, fmt.Errorf("%s is no day: write a whole number from %d to %d", quoted(from[1]), firstDay, lastDay)
	}
	clock, err := time.Parse("15:04", from[2])
	if err != nil || len(from[2]) != len("15:04") {
		return m, nil, fmt.Errorf("%s is no time of day: write 04:00, up to 23:59", quoted(from[2]))
	}
	after := time.Duration(day-1)*24*time.Hour + time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute
	return moment{after: after, set: true}, from[3:], nil
}

// at is the moment in the world, when midnight of day 1 is known.
func (m moment) at(dayOne time.Time) time.Time {
	if !m.absolute.IsZero() {
		return m.absolute
	}
	return dayOne.Add(m.after)
}

// written gives a time of the world as the file writes its own.
func (m moment) written(t, dayOne time.Time) string {
	if !m.absolute.IsZero() {
		return t.UTC().Format(time.RFC3339)
	}
	after := t.Sub(dayOne).Truncate(time.Minute)
	day := int(after / (24 * time.Hour))
	if after < time.Duration(day)*24*time.Hour {
		day--
	}
	clock := after - time.Duration(day)*24*time.Hour
	return fmt.Sprintf("day %d %02d:%02d", day+1, int(clock.Hours()), int(clock.Minutes())%60)
}
