package page

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"spile/alert"
	"spile/detect"
)

// A float that speaks once an hour is watched in each minute of it: only its watch says that it fell silent.
func TestATankIsSilentByItsProbesHabit(t *testing.T) {
	s, _ := serve(t, nil)
	heard := func(ago time.Duration, states ...alert.State) card {
		v := alert.TankView{Status: detect.Status{Tank: "FV1", Probes: []detect.ProbeStatus{{Probe: "hyd-1"}}}}
		if ago > 0 {
			v.Probes[0].LastHeard = now.Add(-ago)
		}
		for _, state := range states {
			v.Incidents = append(v.Incidents, incident("mute", "FV1", detect.ProbeSilent, detect.Medium, state, 1))
		}
		return s.card(v, nil)
	}
	for _, c := range []struct {
		card   card
		silent bool
	}{
		{heard(44 * time.Minute), false},
		{heard(59 * time.Minute), false},
		{heard(59*time.Minute, alert.Returned), false},
		{heard(59*time.Minute, alert.Unacknowledged), true},
		{heard(59*time.Minute, alert.Suppressed), true},
		{heard(179 * time.Minute), false},
		{heard(181 * time.Minute), true},
		{heard(0), true},
	} {
		assert.Equal(t, c.silent, c.card.Silent, "heard %s, %v", c.card.Heard, c.card.Incidents)
	}
}
