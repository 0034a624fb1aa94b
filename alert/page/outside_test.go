package page

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// yard makes a cellar where a barometer under a name of its own has fallen silent.
func yard(t *testing.T) *Server {
	t.Helper()
	s, kept := serve(t, nil)
	silent := incident("still", "yard", detect.ProbeSilent, detect.Medium, alert.Unacknowledged, 5)
	kept.alarms = append(kept.alarms, silent)
	view := s.View()
	view.Incidents = append(view.Incidents, silent)
	s.View = func() alert.View { return view }
	return s
}

func TestTheAlarmOfABarometerIsReached(t *testing.T) {
	s := yard(t)
	cellar := ask(s, "GET", "/", "").Body.String()
	assert.Contains(t, cellar, `<a href="/alarms/still">yard: `)
	assert.NotContains(t, cellar, "/tanks/yard")
	assert.Contains(t, cellar, "One tank is silent: nobody watches it.", "FV1 alone")
	got := ask(s, "GET", "/alarms/still", "")
	require.Equal(t, http.StatusOK, got.Code)
	assert.NotContains(t, got.Body.String(), "/tanks/yard", "nobody would find a tank there")
	assert.Contains(t, ask(s, "GET", "/alarms/creep", "").Body.String(), `<a href="/tanks/FV3">`)
	assert.Equal(t, http.StatusOK, ask(s, "POST", "/api/v1/alarms/still/acknowledge", "").Code)
	assert.Contains(t, ask(s, "GET", "/alarms", "").Body.String(), "/alarms/still")
}

func TestAPageIsToldWhenABarometerFallsSilent(t *testing.T) {
	before, _ := serve(t, nil)
	calm := pulse{view: before.View, notes: func() any { return nil }}
	called := pulse{view: yard(t).View, notes: func() any { return nil }}
	assert.Equal(t, []string{"yard"}, changed(calm.look(time.Now()), called.look(time.Now())))
}

// A barometer that hangs under a tank's name speaks on when the tank's own probes have long been silent.
func TestABarometerDoesNotSpeakForATank(t *testing.T) {
	s, _ := serve(t, nil)
	c := s.card(alert.TankView{Status: detect.Status{Tank: "FV1", Probes: []detect.ProbeStatus{
		{Probe: "baro-1", LastHeard: now, Outside: true}, {Probe: "hyd-1", LastHeard: now.Add(-4 * time.Hour)},
	}}}, nil)
	assert.True(t, c.Silent)
	assert.Equal(t, now.Add(-4*time.Hour), c.Heard)
}
