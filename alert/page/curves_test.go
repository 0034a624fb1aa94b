package page

import (
	"encoding/xml"
	"image/png"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/page/chart"
	"spile/detect"
)

func TestCurvesAreDrawn(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Display = detect.Display{Gravity: "degP"} })
	got := ask(s, "GET", "/tanks/FV3/curves.svg?range=week&size=wide&scheme=dark", "")
	require.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "image/svg+xml", got.Header().Get("Content-Type"))
	assert.Contains(t, got.Header().Get("Content-Security-Policy"), "default-src 'none'")
	require.NoError(t, xml.Unmarshal(got.Body.Bytes(), new(struct{})))
	for _, words := range []string{"Gravity, °P", "crash", "dry-hop", "refermentation"} {
		assert.Contains(t, got.Body.String(), words)
	}
	assert.NotContains(t, got.Body.String(), "Head pressure", "nothing is known of it: no panel")

	got = ask(s, "GET", "/tanks/FV5/curves.png?range=night", "")
	require.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "image/png", got.Header().Get("Content-Type"))
	_, err := png.Decode(got.Body)
	require.NoError(t, err)
}

func TestCurvesThatCannotBeDrawn(t *testing.T) {
	s, kept := serve(t, nil)
	for target, words := range map[string]string{
		"/tanks/FV3/curves.svg?range=month":      "write night, week or batch",
		"/tanks/FV3/curves.svg?size=huge":        "write narrow or wide",
		"/tanks/FV3/curves.svg?scheme=red":       "write light or dark",
		"/tanks/FV3/curves.svg?until=yesterday":  "RFC 3339",
		"/tanks/FV3/curves.svg?colour=red":       "Unknown parameter",
		"/tanks/FV3?range=month":                 "write night, week or batch",
		"/tanks/FV9/curves.svg":                  "is known",
		"/tanks/FV9/curves.png?scheme=dark&size": "is known",
	} {
		got := ask(s, "GET", target, "")
		assert.Contains(t, []int{http.StatusBadRequest, http.StatusNotFound}, got.Code, target)
		assert.Contains(t, got.Body.String(), words, target)
	}
	kept.fail = errDisk
	got := ask(s, "GET", "/tanks/FV3/curves.svg", "")
	assert.Equal(t, http.StatusInternalServerError, got.Code)
	assert.NotContains(t, got.Body.String(), "secret")
}

func TestThePageSaysWhatItsCurvesShow(t *testing.T) {
	s, _ := serve(t, nil)
	page := ask(s, "GET", "/tanks/FV3?range=week", "").Body.String()
	assert.Contains(t, page, `alt="Gravity by hyd-3: from 1.0118 SG to 1.0118 SG, between 1.0118 SG and 1.0118 SG."`)
	assert.Contains(t, page, `href="/tanks/FV3?range=week#curves" aria-current="true"`)
	assert.Equal(t, 4, strings.Count(page, "/curves.svg?range=week&amp;scheme="), "light and dark, narrow and wide")
	assert.Contains(t, said(t, ask(s, "GET", "/tanks/FV2", "").Body.String()), "No reading in this stretch.")
}

// event is a line of FV3's log so many hours before now.
func event(name string, hours float64, amounts map[string]float64) detect.Event {
	return detect.Event{Tank: "FV3", Name: name, Time: now.Add(-time.Duration(hours * float64(time.Hour))), Amounts: amounts}
}

func TestTheBatchIsWhatTheLogSays(t *testing.T) {
	pitch, old := event("pitch", 200, nil), event("pitch", 900, nil)
	tests := map[string]struct {
		events []detect.Event
		from   time.Time
		to     time.Time
	}{
		"since the newest pitch": {[]detect.Event{old, pitch}, pitch.Time.Add(-time.Hour), now},
		"until it was emptied":   {[]detect.Event{pitch, event("empty", 20, nil)}, pitch.Time.Add(-time.Hour), now.Add(-19 * time.Hour)},
		"a part leaves the rest": {[]detect.Event{pitch, event("package", 20, map[string]float64{"volume": 500})}, pitch.Time.Add(-time.Hour), now},
		"a new one begins anew":  {[]detect.Event{old, event("empty", 300, nil), pitch}, pitch.Time.Add(-time.Hour), now},
		"nobody logged it":       {nil, now.Add(-batchLongest), now},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			got := windowOf(stretches[2], test.events, now)
			assert.Equal(t, test.from, got.From)
			assert.Equal(t, test.to, got.To)
			assert.LessOrEqual(t, got.To.Sub(got.From)/got.Step, time.Duration(curvePoints))
		})
	}
}

func TestSetpointsHoldUntilTheyAreDropped(t *testing.T) {
	s, _ := serve(t, nil)
	d := drawing{window: window{From: now.Add(-100 * time.Hour), To: now}, events: []detect.Event{
		event("pitch", 200, map[string]float64{"setpoint": 20}), event("crash", 50, map[string]float64{"setpoint": 14.4}),
		event("package", 40, map[string]float64{"volume": 100}), event("rest", 30, nil),
		event("crash", 10, map[string]float64{"setpoint": 2}), event("empty", 5, nil),
	}}
	type held struct {
		from, to float64 // hours before now
		value    float64
	}
	var got []held
	for _, l := range s.setpoints(d) {
		assert.Equal(t, chart.Target, l.Style)
		got = append(got, held{now.Sub(l.Points[0].Time).Hours(), now.Sub(l.Points[1].Time).Hours(), l.Points[0].Value})
	}
	assert.Equal(t, []held{{100, 50, 20}, {50, 30, 14.4}, {10, 5, 2}}, got)
}

func TestBarsLastFromTheCallUntilItWasOver(t *testing.T) {
	step := func(id, tank string, hours float64, to alert.State) alert.Transition {
		return alert.Transition{ID: id, Tank: tank, Alarm: detect.Alarm(id), To: to, Time: now.Add(-time.Duration(hours * float64(time.Hour)))}
	}
	d := drawing{window: window{From: now.Add(-10 * time.Hour), To: now}, tank: alert.TankView{Status: detect.Status{Tank: "FV3"}}, steps: []alert.Transition{
		step("long-over", "FV3", 30, alert.Unacknowledged), step("long-over", "FV3", 20, alert.Returned),
		step("leak", "FV3", 8, alert.Unacknowledged), step("leak", "FV3", 7, alert.Acknowledged), step("leak", "FV3", 3, alert.Normal),
		step("vacuum", "FV3", 2, alert.Unacknowledged), step("vacuum", "FV3", 1, alert.Unacknowledged),
		step("freeze-risk", "FV4", 2, alert.Unacknowledged), step("drift", "FV3", 2, alert.Suppressed),
	}}
	hour := func(h float64) time.Time { return now.Add(-time.Duration(h * float64(time.Hour))) }
	assert.Equal(t, []chart.Bar{{From: hour(8), To: hour(3), Name: "leak"}, {From: hour(2), To: now, Name: "vacuum"}}, d.bars())
}

func TestReliefIsDrawnWhereItComesIntoSight(t *testing.T) {
	s, _ := serve(t, nil)
	d := drawing{window: window{From: now.Add(-time.Hour), To: now}, traces: []detect.Trace{{Quantity: detect.Pressure, Steps: []detect.TraceStep{{Time: now, High: 61}}}}}
	assert.Empty(t, s.relief(d), "none was given")
	d.tank.ReliefKPa = 100
	assert.Len(t, s.relief(d), 1)
	d.tank.ReliefKPa = 150
	assert.Empty(t, s.relief(d))
}

func TestWhatTheWatchMadeOfItIsDrawnBesideWhatWasRead(t *testing.T) {
	s, kept := serve(t, func(o *Options) {
		o.Tracks = func(tank string, from, to time.Time) []alert.TrackPoint {
			assert.Equal(t, "FV5", tank)
			assert.True(t, from.Before(to))
			return []alert.TrackPoint{
				{Time: now.Add(-time.Hour), CO2Rate: &detect.Interval{Value: 0.5, Low: 0.3, High: 0.8}, ExplainedKPa: ptr(80.0)},
				{Time: now.Add(-50 * time.Minute), ExplainedKPa: ptr(80.5)},
			}
		}
	})
	drawing := ask(s, "GET", "/tanks/FV5/curves.svg?size=wide", "").Body.String()
	for _, words := range []string{"explained", "head-5", "CO2 made, g/L a day"} {
		assert.Contains(t, drawing, words)
	}
	kept.readings = nil
	assert.Contains(t, ask(s, "GET", "/tanks/FV5/curves.svg?range=week", "").Body.String(), "CO2 made")
}
