package alert

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// What a person asks may not be possible. The text around these says which alarm, and what can be done.
var (
	ErrUnknownIncident = errors.New("no open alarm has this id")
	ErrNotNow          = errors.New("the alarm is not in a state for this")
	ErrShelving        = errors.New("this cannot be shelved so")
)

// The longest an alarm stays quiet by a person's word. Nobody shelves a tank's relief for the night; a week covers any
// probe that waits for a spare part. The hour is the project's rule, the week our choice.
const (
	longestVesselShelving = time.Hour
	longestShelving       = 7 * 24 * time.Hour
)

// Acknowledge says that a person knows of an alarm. It changes nothing in the tank. The transitions hold good even with
// an error: they are those of the minutes that passed until then. Acknowledging twice is no error.
func (w *Watch) Acknowledge(id, by, why string, at time.Time) ([]Transition, error) {
	out := w.Advance(at)
	v, c, err := w.open(id)
	if err != nil {
		return out, fmt.Errorf("acknowledge: %w", err)
	}
	switch state := c.Standing.State(); state {
	case Acknowledged:
		return out, nil
	case Unacknowledged, Returned:
	default:
		return out, fmt.Errorf("acknowledge %s: %w: it is %s and calls nobody", c.name(v), ErrNotNow, state)
	}
	return append(out, w.tell(w.step(v, c, Acknowledge, by, why))...), nil
}

// Shelve keeps an alarm quiet until a time, for a reason that must be given. Shelving a shelved alarm moves its end.
// A vessel's alarm stays quiet for an hour at most. The transitions hold good even with an error.
func (w *Watch) Shelve(id, by, why string, until, at time.Time) ([]Transition, error) {
	out := w.Advance(at)
	v, c, err := w.open(id)
	if err != nil {
		return out, fmt.Errorf("shelve: %w", err)
	}
	if err := c.mayShelve(why, until.Sub(w.at)); err != nil {
		return out, fmt.Errorf("shelve %s: %w", c.name(v), err)
	}
	again := c.Standing.Shelved
	to := c.Standing.After(Shelve)
	t, ok := c.move(to, again, w.at, w.options.Site, v.name)
	if !ok {
		return out, fmt.Errorf("shelve %s: %w: it is out of service", c.name(v), ErrNotNow)
	}
	c.Until, c.Why = until.UTC(), why
	t.By, t.Why, t.Until = by, why, c.Until
	return append(out, w.tell([]Transition{t})...), nil
}

// Unshelve ends a shelving early. The transitions hold good even with an error.
func (w *Watch) Unshelve(id, by, why string, at time.Time) ([]Transition, error) {
	out := w.Advance(at)
	v, c, err := w.open(id)
	if err != nil {
		return out, fmt.Errorf("unshelve: %w", err)
	}
	if c.Standing.State() != Shelved {
		return out, fmt.Errorf("unshelve %s: %w: it is not shelved", c.name(v), ErrNotNow)
	}
	return append(out, w.tell(w.step(v, c, Unshelve, by, why))...), nil
}

// mayShelve holds a shelving against the rules.
func (c *condition) mayShelve(why string, length time.Duration) error {
	d, _ := Define(c.Finding.Alarm)
	longest, word := longestShelving, "an alarm stays quiet for seven days at most"
	if d.Scope == Vessel {
		longest, word = longestVesselShelving, "a vessel's alarm stays quiet for one hour at most"
	}
	switch {
	case c.Standing.Removed:
		return fmt.Errorf("%w: it is out of service", ErrNotNow)
	case strings.TrimSpace(why) == "":
		return fmt.Errorf("%w: say why, for whoever looks next", ErrShelving)
	case length <= 0:
		return fmt.Errorf("%w: its end has passed already", ErrShelving)
	case length > longest:
		return fmt.Errorf("%w: %s is too long, %s", ErrShelving, length.Round(time.Minute), word)
	}
	return nil
}

// step takes one alarm a step that a person asked for.
func (w *Watch) step(v *vessel, c *condition, s Step, by, why string) []Transition {
	t, ok := c.move(c.Standing.After(s), false, w.at, w.options.Site, v.name)
	if !ok {
		return nil
	}
	t.By, t.Why = by, why
	return []Transition{t}
}

// open finds the open incident of an id.
func (w *Watch) open(id string) (*vessel, *condition, error) {
	for _, v := range w.all() {
		for _, c := range v.conditions {
			if c.ID != "" && c.ID == id {
				return v, c, nil
			}
		}
	}
	return nil, nil, fmt.Errorf("%w: %.40q was closed meanwhile, or is mistyped", ErrUnknownIncident, id)
}

// name is how an error speaks of an alarm.
func (c *condition) name(v *vessel) string {
	if v.name == "" {
		return string(c.Finding.Alarm)
	}
	return string(c.Finding.Alarm) + " of " + v.name
}
