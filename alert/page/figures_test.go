package page

import (
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
)

func TestFigures(t *testing.T) {
	s, kept := serve(t, nil)
	got := ask(s, http.MethodGet, "/api/v1/alarms/figures", "")
	require.Equal(t, http.StatusOK, got.Code)
	report := object(t, got.Body.String())
	assert.Equal(t, "2026-01-31T03:15:00Z", report["from"], "thirty days")
	assert.Equal(t, "2026-03-02T03:15:00Z", report["to"])
	assert.InDelta(t, 1, report["calls"], 0)
	assert.InDelta(t, 1.0/30, report["calls_per_day"], 1e-9)
	assert.InDelta(t, 1, report["night_calls"], 0)

	before := object(t, ask(s, http.MethodGet, "/api/v1/alarms/figures?from=2026-02-01T00:00:00Z&to=2026-03-01T00:00:00Z", "").Body.String())
	assert.InDelta(t, 0, before["calls"], 0)
	for _, query := range []string{"from=yesterday", "to=x", "from=2026-03-02T03:15:00Z", "since=2026-03-02T03:15:00Z"} {
		assert.Equal(t, http.StatusBadRequest, ask(s, http.MethodGet, "/api/v1/alarms/figures?"+query, "").Code, query)
	}
	kept.fail = errDisk
	assert.Equal(t, http.StatusInternalServerError, ask(s, http.MethodGet, "/api/v1/alarms/figures", "").Code)
}

func TestTheAlarmsPageSaysWhatPeopleBear(t *testing.T) {
	s, _ := serve(t, nil)
	page := said(t, ask(s, "GET", "/alarms", "").Body.String())
	for _, words := range []string{
		"The last 30 days Calls 1, or 0.0 a day", "Of these between 22:00 and 07:00 1", "Most within ten minutes 1", "Called most FV3 refermentation",
	} {
		assert.Contains(t, page, words)
	}
}

func TestFiguresOfAYoungJournal(t *testing.T) {
	s, kept := serve(t, nil)
	kept.began = now.Add(-60 * time.Hour)
	page := said(t, ask(s, "GET", "/alarms", "").Body.String())
	assert.Contains(t, page, "The last 2.5 days, since spile began Calls 1, or 0.4 a day")
	report := object(t, ask(s, "GET", "/api/v1/alarms/figures", "").Body.String())
	assert.Equal(t, "2026-02-27T15:15:00Z", report["from"])
	assert.InDelta(t, 1/2.5, report["calls_per_day"], 1e-9)
	kept.began = now.Add(-time.Hour)
	assert.Contains(t, said(t, ask(s, "GET", "/alarms", "").Body.String()), "The last 24 h Calls 1, or 1.0 a day")
}

func TestMostNamesAFew(t *testing.T) {
	counts := []alert.AlarmCount{{Tank: "FV3", Alarm: "leak", Count: 4}, {Alarm: "link-lost", Count: 1}, {Tank: "FV1", Alarm: "vacuum", Count: 1}, {Tank: "FV9"}}
	assert.Equal(t, "FV3 leak (4), link-lost, FV1 vacuum", most(counts))
}
