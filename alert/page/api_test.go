package page

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// object reads an answer in JSON.
func object(t *testing.T, body string) map[string]any {
	t.Helper()
	var out map[string]any
	require.NoError(t, json.Unmarshal([]byte(body), &out), body)
	return out
}

func TestEveryPathHasItsStatus(t *testing.T) {
	tests := []struct {
		method, target string
		status         int
		holds          string
	}{
		{"GET", "/healthz", 200, `"alive":true`},
		{"GET", "/readyz", 200, `"ready":true`},
		{"GET", "/metrics", 200, "spile_build_info"},
		{"GET", "/", 200, "One alarm wants an answer."},
		{"HEAD", "/", 200, ""},
		{"GET", "/tanks/FV3", 200, "FV3"},
		{"GET", "/tanks/FV9", 404, "No tank &#34;FV9&#34; is known"},
		{"GET", "/tanks/FV3/log", 200, "What was done to FV3?"},
		{"GET", "/tanks/FV9/log", 200, "What was done to FV9?"},
		{"GET", "/tanks/-x/log", 404, "names no tank"},
		{"GET", "/tanks/FV3/log?event=dry-hop", 200, "Log dry-hop"},
		{"GET", "/tanks/FV3/log?event=nap", 404, "There is no event nap"},
		{"GET", "/alarms", 200, "Alarms"},
		{"GET", "/alarms/creep", 200, "Acknowledged means you know. It changes nothing in the tank."},
		{"GET", "/alarms/none", 404, capital(alert.ErrUnknownIncident.Error())},
		{"GET", "/alarms/creep/acknowledge", 303, ""},
		{"GET", "/sign-in", 200, "Token of the cellar"},
		{"GET", "/sign-out", 405, "use POST"},
		{"GET", "/nowhere", 404, "nothing at /nowhere"},
		{"DELETE", "/alarms", 405, "use GET or HEAD"},
		{"GET", "/api/v1/tanks", 200, `"tanks":[{"tank":"FV1"`},
		{"GET", "/api/v1/tanks/FV3", 200, `"crash_setpoint_celsius":14.4`},
		{"GET", "/api/v1/tanks/FV9", 404, `no tank \"FV9\" is known`},
		{"GET", "/api/v1/tanks/FV3/log", 200, `"log":[{`},
		{"GET", "/api/v1/tanks/FV4/log", 200, `"log":[]`},
		{"GET", "/api/v1/tanks/FV9/log", 404, "is known"},
		{"PUT", "/api/v1/tanks/FV3/log", 405, `use GET or HEAD or POST`},
		{"GET", "/api/v1/tanks/FV3/report", 404, `nobody keeps batches here`},
		{"GET", "/api/v1/tanks/FV9/holds", 404, `no tank`},
		{"GET", "/api/v1/readings", 200, `"tank":"FV3"`},
		{"POST", "/api/v1/readings", 405, `use GET or HEAD`},
		{"GET", "/api/v1/alarms", 200, `"alarms":[{"id":"creep"`},
		{"GET", "/api/v1/alarms?state=all", 200, `"id":"past"`},
		{"GET", "/api/v1/alarms?state=open", 400, `write state=all`},
		{"GET", "/api/v1/alarms?limit=5", 400, `before and limit go with state=all`},
		{"GET", "/api/v1/alarms?state=all&limit=many", 400, `1 to 1000`},
		{"GET", "/api/v1/alarms?state=all&limit=1001", 400, `1 to 1000`},
		{"GET", "/api/v1/alarms?since=1", 400, `unknown parameter \"since\"`},
		{"GET", "/api/v1/alarms/creep", 200, `"history":[{"id":"creep"`},
		{"GET", "/api/v1/alarms/none", 404, alert.ErrUnknownIncident.Error()},
		{"GET", "/api/v1/alarms/creep/acknowledge", 405, `use POST`},
		{"GET", "/api/v1/refusals", 200, `"refusals":[{"time"`},
		{"GET", "/api/v1/nothing", 404, `nothing at /api/v1/nothing`},
	}
	for _, test := range tests {
		t.Run(test.method+" "+test.target, func(t *testing.T) {
			s, _ := serve(t, func(o *Options) {
				o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("spile_build_info 1\n")) })
			})
			got := ask(s, test.method, test.target, "")
			assert.Equal(t, test.status, got.Code)
			assert.Contains(t, got.Body.String(), test.holds)
			if test.status >= 400 && strings.HasPrefix(test.target, "/api/") {
				assert.NotEmpty(t, object(t, got.Body.String())["error"])
			}
		})
	}
}

func TestReadinessGivesItsReasons(t *testing.T) {
	s, _ := serve(t, func(o *Options) {
		o.Ready = func() []string { return []string{"the broker has not granted the subscription"} }
	})
	got := ask(s, "GET", "/readyz", "")
	assert.Equal(t, http.StatusServiceUnavailable, got.Code)
	assert.Equal(t, []any{"the broker has not granted the subscription"}, object(t, got.Body.String())["reasons"])
	assert.Equal(t, http.StatusOK, ask(s, "GET", "/healthz", "").Code, "the process lives all the same")
	assert.Contains(t, ask(s, "GET", "/", "").Body.String(), "the broker has not granted the subscription")
}

func TestTankAnswersInInsideUnits(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Display = detect.Display{Temperature: "degF", Pressure: "psi", Gravity: "degP"} })
	tank := object(t, ask(s, "GET", "/api/v1/tanks/FV3", "").Body.String())
	readings := tank["readings"].(map[string]any)
	assert.Equal(t, map[string]any{"value": 1.0118, "unit": "SG", "time": "2026-03-02T03:13:00Z", "probe": "hyd-3"}, readings["gravity"])
	assert.Equal(t, "degC", readings["temperature"].(map[string]any)["unit"])
	assert.Equal(t, map[string]any{"over-pressure": false}, tank["watched_for"])
	assert.NotContains(t, tank, "relief_kpa")
	assert.Len(t, tank["alarms"], 1)
	empty := object(t, ask(s, "GET", "/api/v1/tanks/FV2", "").Body.String())
	assert.Equal(t, 100.0, empty["relief_kpa"])
	assert.Equal(t, []any{}, empty["alarms"])
	assert.Equal(t, []any{}, empty["probes"])
}

func TestAlarmsComeInOrderOfNeed(t *testing.T) {
	s, kept := serve(t, nil)
	ids := func(target string) []string {
		var ids []string
		for _, a := range object(t, ask(s, "GET", target, "").Body.String())["alarms"].([]any) {
			ids = append(ids, a.(map[string]any)["id"].(string))
		}
		return ids
	}
	assert.Equal(t, []string{"creep", "over", "mute"}, ids("/api/v1/alarms"))
	assert.Equal(t, []string{"creep", "over", "mute", "past", "older"}, ids("/api/v1/alarms?state=all"))
	assert.Equal(t, []string{"creep", "over", "mute", "past"}, ids("/api/v1/alarms?state=all&limit=1"))
	next := object(t, ask(s, "GET", "/api/v1/alarms?state=all&limit=1", "").Body.String())["next"].(string)
	assert.Equal(t, []string{"older"}, ids(next), "those that stand were said already")
	assert.NotContains(t, object(t, ask(s, "GET", next, "").Body.String()), "next", "there are none further back")
	kept.alarms = nil
	assert.JSONEq(t, `{"alarms":[]}`, ask(s, "GET", "/api/v1/alarms", "").Body.String())
}

func TestAnAlarmHasThePromisedParts(t *testing.T) {
	s, _ := serve(t, nil)
	first := object(t, ask(s, "GET", "/api/v1/alarms", "").Body.String())["alarms"].([]any)[0].(map[string]any)
	for _, part := range []string{"id", "tank", "alarm", "priority", "state", "onset", "since", "summary", "evidence"} {
		assert.Contains(t, first, part)
	}
}

func TestAcknowledge(t *testing.T) {
	tests := []struct {
		name, id, body string
		status         int
		acts           []string
		holds          string
	}{
		{"without a body", "creep", "", 200, []string{"acknowledge|creep|API|"}, `"state":"acknowledged"`},
		{"with who and why", "creep", `{"by":"Ines","why":"on my way"}`, 200, []string{"acknowledge|creep|Ines|on my way"}, `"id":"creep"`},
		{"unknown", "none", "", 404, nil, alert.ErrUnknownIncident.Error()},
		{"over", "past", "", 409, nil, "it is over"},
		{"misspelt", "creep", `{"bye":"Ines"}`, 400, nil, `this takes by and why`},
		{"no text", "creep", `{"by":7}`, 400, nil, `write it as a JSON string`},
		{"too long", "creep", `{"by":"` + strings.Repeat("x", 101) + `"}`, 400, nil, "write it shorter"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, kept := serve(t, nil)
			got := ask(s, "POST", "/api/v1/alarms/"+test.id+"/acknowledge", test.body)
			assert.Equal(t, test.status, got.Code)
			assert.Contains(t, got.Body.String(), test.holds)
			assert.Equal(t, test.acts, kept.acts)
		})
	}
}

func TestShelve(t *testing.T) {
	tests := []struct {
		name, id, body string
		status         int
		until          time.Time
		holds          string
	}{
		{"for a time", "creep", `{"for":"30m","why":"sampling"}`, 200, now.Add(30 * time.Minute), `"state":"shelved"`},
		{"for a time in words", "creep", `{"for":"1 hour","why":"sampling"}`, 200, now.Add(time.Hour), `"state":"shelved"`},
		{"until a time", "creep", `{"until":"2026-03-02T08:00:00+01:00","why":"sampling"}`, 200, now.Add(225 * time.Minute), `"until":"2026-03-02T07:00:00Z"`},
		{"a week", "creep", `{"for":"7d","why":"spare part"}`, 200, now.Add(7 * 24 * time.Hour), "shelved"},
		{"more than a week", "creep", `{"for":"169h","why":"spare part"}`, 400, time.Time{}, "for 7 days at most"},
		{"until beyond a week", "creep", `{"until":"2026-04-02T08:00:00Z","why":"spare part"}`, 400, time.Time{}, "for 7 days at most"},
		{"a vessel for an hour", "over", `{"for":"60m","why":"I stand here"}`, 200, now.Add(time.Hour), "shelved"},
		{"a vessel for longer", "over", `{"for":"61m","why":"I stand here"}`, 400, time.Time{}, "over-pressure can be shelved for 60 min at most"},
		{"without why", "creep", `{"for":"10m"}`, 400, time.Time{}, "why: say why"},
		{"a blank why", "over", `{"for":"10m","why":" "}`, 400, time.Time{}, "why: say why"},
		{"both", "creep", `{"for":"10m","until":"2026-03-02T08:00:00Z","why":"x"}`, 400, time.Time{}, "give either"},
		{"neither", "creep", `{"why":"x"}`, 400, time.Time{}, "give either"},
		{"no body", "creep", ``, 415, time.Time{}, "Content-Type"},
		{"past", "creep", `{"until":"2026-03-02T03:15:00Z","why":"x"}`, 400, time.Time{}, "which is past"},
		{"backwards", "creep", `{"for":"-5m","why":"x"}`, 400, time.Time{}, "which is past"},
		{"a bare number", "creep", `{"for":"30","why":"x"}`, 400, time.Time{}, "write 30m or 2h"},
		{"no number", "creep", `{"for":"long","why":"x"}`, 400, time.Time{}, "for="},
		{"endless", "creep", `{"for":"1e300h","why":"x"}`, 400, time.Time{}, "at most"},
		{"a wrong time", "creep", `{"until":"tomorrow","why":"x"}`, 400, time.Time{}, "RFC 3339"},
		{"no text", "creep", `{"for":30,"why":"x"}`, 400, time.Time{}, "for: write it as a JSON string"},
		{"unknown", "none", `{"for":"10m","why":"x"}`, 404, time.Time{}, alert.ErrUnknownIncident.Error()},
		{"over", "past", `{"for":"10m","why":"x"}`, 409, time.Time{}, "it is over"},
		{"misspelt", "creep", `{"four":"10m","why":"x"}`, 400, time.Time{}, "this takes until, for, by and why"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, kept := serve(t, nil)
			got := ask(s, "POST", "/api/v1/alarms/"+test.id+"/shelve", test.body)
			assert.Equal(t, test.status, got.Code, got.Body.String())
			assert.Contains(t, got.Body.String(), test.holds)
			if test.status == 200 {
				i, err := kept.find(test.id)
				require.NoError(t, err)
				assert.Equal(t, test.until, i.Until)
			} else {
				assert.Empty(t, kept.acts)
			}
		})
	}
}

func TestUnshelve(t *testing.T) {
	s, kept := serve(t, nil)
	got := ask(s, "POST", "/api/v1/alarms/mute/unshelve", `{"by":"Rui"}`)
	assert.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, string(alert.Unacknowledged), object(t, got.Body.String())["state"])
	assert.Equal(t, []string{"unshelve|mute|Rui|"}, kept.acts)
}

func TestWhatFailsInsideIsNotTold(t *testing.T) {
	for _, target := range []string{"/api/v1/alarms", "/api/v1/alarms/creep", "/api/v1/tanks/FV3/log", "/alarms", "/tanks/FV3"} {
		s, kept := serve(t, discard)
		kept.fail = errDisk
		got := ask(s, "GET", target, "")
		assert.Equal(t, http.StatusInternalServerError, got.Code, target)
		assert.NotContains(t, got.Body.String(), "secret")
		assert.Contains(t, got.Body.String(), "could not do this just now")
	}
}
