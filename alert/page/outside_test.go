package page

import (
	"net/http"
	"net/http/httptest"
	"strings"
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
	view.Air = []alert.Air{
		{Latest: detect.Latest{Value: 100.9, Time: now.Add(-3 * time.Minute), Probe: "baro-1"}, Tank: "yard"},
		{Latest: detect.Latest{Value: 0.4, Time: now.Add(-3 * time.Minute), Probe: "baro-2"}, Tank: "yard"},
	}
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

func TestTheAirIsOnTheCellarPageAndInTheAnswer(t *testing.T) {
	s := yard(t)
	cellar := strings.ReplaceAll(ask(s, "GET", "/", "").Body.String(), "\u00a0", " ")
	assert.Contains(t, cellar, `<p class="quiet">Air outside 100.9 kPa (14.6 psi), baro-1, 3 min ago</p>`)
	assert.Contains(t, cellar, "baro-2 says 0.4 kPa (0.1 psi), 3 min ago, which is no pressure of the air: is it an absolute one?")
	r := httptest.NewRequest(http.MethodGet, "/api/v1/tanks", nil)
	r.Host, r.RemoteAddr = "127.0.0.1:8420", "127.0.0.1:50000"
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	valid, errs := described(t).ValidateHttpResponse(r, w.Result())
	assert.True(t, valid, "%v", errs)
	air := object(t, w.Body.String())["air"].(map[string]any)
	assert.Equal(t, map[string]any{
		"tank": "yard", "probe": "baro-2", "value": 0.4, "unit": "kPa", "time": "2026-03-02T03:12:00Z", "of_air": false,
	}, air["barometers"].([]any)[1])
	assert.Len(t, air["alarms"], 1)
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

func TestTheAirIsNotDrawnWithTheHeadPressure(t *testing.T) {
	s, kept := serve(t, nil)
	view := s.View()
	view.Tanks[4].Probes = append(view.Tanks[4].Probes, detect.ProbeStatus{Probe: "baro-1", LastHeard: now, Outside: true})
	kept.readings = append(kept.readings, detect.Reading{Tank: "FV5", Probe: "baro-1", Quantity: detect.Pressure, Time: now.Add(-time.Minute), Value: 100.9})
	for _, chosen := range stretches {
		d, err := s.drawn(t.Context(), "FV5", chosen, now)
		require.NoError(t, err)
		require.Len(t, d.traces, 1, chosen.Name)
		assert.Equal(t, "head-5", d.traces[0].Probe)
	}
}
