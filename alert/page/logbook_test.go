package page

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestWriteLogKeepsAndEchoes(t *testing.T) {
	s, kept := serve(t, nil)
	body := `{"event":"crash","setpoint":"14.4 degC","time":"2026-03-02T02:10:00Z"}`
	got := ask(s, "POST", "/api/v1/tanks/FV3/log", body)
	require.Equal(t, http.StatusCreated, got.Code, got.Body.String())
	answer := object(t, got.Body.String())
	assert.Equal(t, "FV3 crash at 02:10: setpoint 14.4 degC (57.9 degF)", answer["echo"])
	assert.Equal(t, "crash", answer["event"].(map[string]any)["event"])
	assert.Len(t, kept.events, 3)

	again := ask(s, "POST", "/api/v1/tanks/FV3/log", body)
	assert.Equal(t, http.StatusOK, again.Code, "a repeat is kept already")
	assert.Equal(t, answer["echo"], object(t, again.Body.String())["echo"])
	assert.Len(t, kept.events, 3)
}

func TestEchoIsOnTheCellarsClock(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Zone = time.FixedZone("cellar", 2*3600) })
	got := ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"seal"}`)
	assert.Equal(t, "FV3 seal at 05:15", object(t, got.Body.String())["echo"])
}

func TestATankMayBeginWithItsLog(t *testing.T) {
	s, kept := serve(t, nil)
	got := ask(s, "POST", "/api/v1/tanks/FV9/log", `{"event":"pitch","gravity":1.06}`)
	assert.Equal(t, http.StatusCreated, got.Code)
	assert.Equal(t, "FV9", kept.events[2].Tank)
}

func TestWriteLogRefuses(t *testing.T) {
	tests := []struct {
		name, target, kind, body string
		status                   int
		holds                    string
	}{
		{"a figure that was meant otherwise", "FV3", "application/json", `{"event":"crash","setpoint":58}`, 400, "58degF"},
		{"an unknown event", "FV3", "application/json", `{"event":"crsh","setpoint":14}`, 400, "crash"},
		{"another tank's event", "FV3", "application/json", `{"event":"seal","tank":"FV4"}`, 400, "FV4"},
		{"a bad name", "-x", "application/json", `{"event":"seal"}`, 400, "begins with a letter"},
		{"a form", "FV3", "application/x-www-form-urlencoded", `event=seal`, 415, "application/json"},
		{"no kind", "FV3", "", `{"event":"seal"}`, 415, "application/json"},
		{"a list", "FV3", "application/json", `[]`, 400, "send one object"},
		{"null", "FV3", "application/json", `null`, 400, "send one object"},
		{"half an object", "FV3", "application/json", `{"event":`, 400, "not JSON"},
		{"two objects", "FV3", "application/json", `{"event":"seal"}{}`, 400, "not JSON"},
		{"nothing", "FV3", "application/json", ``, 400, "not JSON"},
		{"too much", "FV3", "application/json", `{"event":"note","note":"` + strings.Repeat("x", maxBody) + `"}`, 413, "larger than the 65536 bytes"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, kept := serve(t, nil)
			got := ask(s, "POST", "/api/v1/tanks/"+test.target+"/log", test.body, header("Content-Type", test.kind))
			assert.Equal(t, test.status, got.Code)
			assert.Contains(t, object(t, got.Body.String())["error"], test.holds)
			assert.Len(t, kept.events, 2, "nothing is kept")
		})
	}
}

func TestADiskThatFailsIsNoSuccess(t *testing.T) {
	s, kept := serve(t, discard)
	kept.fail = errDisk
	got := ask(s, "POST", "/api/v1/tanks/FV3/log", `{"event":"seal"}`)
	assert.Equal(t, http.StatusInternalServerError, got.Code)
}

func FuzzWriteLog(f *testing.F) {
	for _, seed := range []string{
		`{"event":"crash","setpoint":"14.4 degC"}`, `{"event":"dry-hop","mass":{"value":9,"unit":"kg"},"id":"a"}`, `{"event":"probe","probe":"h","state":"in"}`,
		`{"event":"note","note":"\u0000<b>"}`, `{"event":"note","note":"\u0000"}`, `[]`, `null`, ``, `{"event":{}}`, `{"time":1e400}`, `{"event":"vent","pressure":"NaN kPa"}`,
	} {
		f.Add(seed)
	}
	s, kept := serve(f, nil)
	first := kept.events
	f.Fuzz(func(t *testing.T, body string) {
		kept.events = first[:len(first):len(first)]
		before := len(kept.events)
		got := ask(s, "POST", "/api/v1/tanks/FV3/log", body, header("Content-Type", "application/json"))
		switch got.Code {
		case http.StatusCreated:
			require.Len(t, kept.events, before+1)
			answer := object(t, got.Body.String())
			require.NotEmpty(t, answer["echo"])
			written, err := json.Marshal(answer["event"])
			require.NoError(t, err)
			var back detect.Event
			require.NoError(t, json.Unmarshal(written, &back))
			event := kept.events[before]
			require.Equal(t, []string{event.Tank, event.Name, event.ID}, []string{back.Tank, back.Name, back.ID}, "what is answered is what was kept")
			require.True(t, event.Time.Equal(back.Time))
			require.Equal(t, event.Amounts, back.Amounts)
		case http.StatusOK:
			require.Len(t, kept.events, before)
		default:
			require.Contains(t, []int{http.StatusBadRequest, http.StatusRequestEntityTooLarge}, got.Code)
			require.NotEmpty(t, object(t, got.Body.String())["error"])
			require.Len(t, kept.events, before)
		}
	})
}
