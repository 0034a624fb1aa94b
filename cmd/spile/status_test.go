package main

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestStatusSpeaksInTheUnitsOfTheCellar(t *testing.T) {
	const answer = `{"display":{"temperature":"degF","pressure":"psi"},"tanks":[
		{"tank":"FV3","at":"2026-03-02T03:15:00Z","gas":"closed, holding pressure","crash_setpoint_celsius":14.4,
		 "readings":{"gravity":{"value":1.0122},"temperature":{"value":14.3},"pressure":{"value":82.4}},
		 "probes":[{"probe":"head-3","last_heard":"2026-03-02T03:13:00Z"},{"probe":"hyd-3","last_heard":"2026-03-01T01:15:00Z"}],
		 "alarms":[{"priority":"high","alarm":"crash-drift","state":"unacknowledged","summary":"FV3: warm",
		            "now":{"temperature_celsius":14.3,"setpoint_celsius":14.4}},
		           {"priority":"low","alarm":"leak","state":"unacknowledged","summary":"FV3: was it opened?"}]},
		{"tank":"FV4","at":"2026-03-02T03:15:00Z","gas":"open","readings":{},"probes":[{"probe":"baro-1","last_heard":"2026-03-02T03:15:00Z","outside":true}],"alarms":[]},
		{"tank":"FV5","at":"2026-03-02T03:15:00Z","gas":"open","readings":{},
		 "probes":[{"probe":"hyd-5","last_heard":"2026-03-02T03:15:03Z"}],"alarms":[]}],
		"air":{"at":"2026-03-02T03:15:00Z","barometers":[{"tank":"yard","probe":"baro-1","value":100.9,"unit":"kPa","time":"2026-03-02T03:12:00Z"}],
		       "alarms":[{"priority":"medium","alarm":"probe-silent","tank":"yard","state":"unacknowledged","summary":"barometer baro-1 (yard) has said nothing"}]}}`
	daemon := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte(answer)) }))
	defer daemon.Close()
	var out bytes.Buffer
	assert.Equal(t, exitOK, execute(t.Context(), []string{"status", "--url", daemon.URL}, streams{out: &out, err: &out}))
	said := out.String()
	assert.Contains(t, said, "1.0122 SG (3.1 degP)  57.7 degF (14.3 degC)  57.9 degF (14.4 degC)  12.0 psi (82.4 kPa)", "the chosen unit first")
	assert.Regexp(t, `(?m)^FV3 .* 2 min ago$`, said, "the age of what was heard last, as the pages write it")
	assert.Regexp(t, `(?m)^FV4 .* never$`, said)
	assert.Regexp(t, `(?m)^FV5 .* just now$`, said)
	assert.Contains(t, said, "LOW: leak? unacknowledged: FV3: was it opened?", "a question reads as one")
	assert.Contains(t, said, "MEDIUM: probe-silent, unacknowledged: barometer baro-1 (yard) has said nothing\nAir outside 14.6 psi (100.9 kPa), baro-1, 3 min ago\n")
	assert.Contains(t, said, "now beer 57.7 degF, setpoint 57.9 degF")
}

func TestACommandThatMeetsTLSSaysHowToAsk(t *testing.T) {
	daemon := httptest.NewTLSServer(http.NotFoundHandler())
	defer daemon.Close()
	plain := strings.Replace(daemon.URL, "https://", "http://", 1)
	var out bytes.Buffer
	assert.Equal(t, exitFailed, execute(t.Context(), []string{"status", "--url", plain}, streams{out: &out, err: &out}))
	assert.Equal(t, "spile: the daemon at "+plain+" speaks TLS: give --url https://NAME:PORT, by the name in its certificate, and --ca-file\n", out.String())
}
