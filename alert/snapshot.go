package alert

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"time"
)

// SnapshotVersion is the version of what Snapshot writes. It changes whenever an older Watch, or an older detector,
// could not go on from it as if it had never stopped; the state is then rebuilt from the journal.
const SnapshotVersion = 37

// snapshot is the whole state of a Watch. What comes from the config is not in it.
type snapshot struct {
	Version int            `json:"version"`
	At      time.Time      `json:"at,omitzero"`
	Cellar  []*condition   `json:"cellar,omitempty"`
	Tanks   []tankSnapshot `json:"tanks"`
	Cooling cooling        `json:"cooling"`
	Heads   trail          `json:"heads,omitempty"`
	Telling telling        `json:"telling"`
}

// tankSnapshot is the state of one tank and its alarms.
type tankSnapshot struct {
	Name       string          `json:"name"`
	Tank       json.RawMessage `json:"tank"`
	Conditions []*condition    `json:"conditions,omitempty"`
	Still      stillness       `json:"still"`
	Known      acquaintance    `json:"known"`
	Packaged   time.Time       `json:"packaged,omitzero"`
}

// Snapshot writes the whole state. A Watch of the same options that restores it goes on with the same transitions.
func (w *Watch) Snapshot() ([]byte, error) {
	s := snapshot{
		Version: SnapshotVersion, At: w.at, Cellar: w.cellar.conditions, Tanks: []tankSnapshot{},
		Cooling: w.cooling, Heads: w.heads, Telling: w.annunciator.state,
	}
	for _, v := range w.vessels {
		body, err := v.tank.MarshalJSON()
		if err != nil {
			return nil, fmt.Errorf("snapshot of tank %s: %w", v.name, err)
		}
		s.Tanks = append(s.Tanks, tankSnapshot{
			Name: v.name, Tank: body, Conditions: v.conditions, Still: v.still, Known: v.known, Packaged: v.packaged,
		})
	}
	body, err := json.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("snapshot: %w", err)
	}
	return body, nil
}

// Restore takes the place of everything heard so far. After an error the Watch is as it was before.
func (w *Watch) Restore(body []byte) error {
	var head struct{ Version int }
	if err := json.Unmarshal(body, &head); err != nil {
		return fmt.Errorf("restore: not a snapshot: %w", err)
	}
	if head.Version != SnapshotVersion {
		return fmt.Errorf("restore: the snapshot has version %d, this program reads %d: rebuild from the journal",
			head.Version, SnapshotVersion)
	}
	var s snapshot
	if err := json.Unmarshal(body, &s); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	fresh := newWatch(w.options, w.newTank)
	fresh.at, fresh.cellar.conditions = s.At.UTC(), s.Cellar
	for _, t := range s.Tanks {
		v := fresh.vessel(t.Name)
		if err := v.tank.UnmarshalJSON(t.Tank); err != nil {
			return fmt.Errorf("restore tank %s: %w", t.Name, err)
		}
		v.conditions, v.still, v.known, v.packaged = t.Conditions, t.Still, t.Known, t.Packaged
	}
	fresh.cooling.Members = s.Cooling.Members
	maps.Copy(fresh.cooling.Samples, s.Cooling.Samples)
	maps.Copy(fresh.heads, s.Heads)
	if err := errors.Join(fresh.sound(), fresh.annunciator.restore(s.Telling)); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	*w = *fresh
	return nil
}

// sound refuses a snapshot with holes in it.
func (w *Watch) sound() error {
	for _, v := range w.all() {
		for _, c := range v.conditions {
			if c == nil {
				return fmt.Errorf("tank %q has an alarm without a state", v.name)
			}
		}
	}
	return nil
}
