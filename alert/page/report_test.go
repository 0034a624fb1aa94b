package page

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
	"spile/detect/cellarsim"
)

// seasoned serves an invented batch of three weeks as it stood on a day.
func seasoned(t *testing.T, day float64) *Server {
	t.Helper()
	start := time.Date(2026, 3, 2, 14, 0, 0, 0, time.UTC)
	record := batch.NewRecord("FV7", detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}, batch.Limits{})
	require.NoError(t, cellarsim.Season(start, 7).Each(start.Add(cellarsim.SeasonLength), func(a cellarsim.Arrival) error {
		for _, r := range a.Readings {
			record.Take(r)
		}
		if a.Event != nil {
			record.Log(*a.Event)
		}
		return nil
	}))
	record.Alarms([]batch.Alarm{{
		Alarm: detect.Leak, Title: "head pressure is gone, was it opened?", Raised: start.Add(300 * time.Hour), Ended: start.Add(310 * time.Hour), Summary: "FV7: closed as far as spile knows",
	}})
	at := start.Add(time.Duration(day * 24 * float64(time.Hour)))
	s, _ := serve(t, func(o *Options) {
		o.View = func() alert.View {
			return alert.View{At: at, Tanks: []alert.TankView{{Status: detect.Status{Tank: "FV7"}}}}
		}
		o.Report = func(context.Context, string) (batch.Report, error) { return record.Report(at), nil }
		o.ReportAt = func(_ context.Context, _ string, then time.Time) (batch.Report, error) {
			return record.Report(then), nil
		}
	})
	return s
}

// fetch asks for a path in a form.
func fetch(s *Server, path, accept string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	if accept != "" {
		r.Header.Set("Accept", accept)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

func TestAReportComesInTheFormAskedFor(t *testing.T) {
	s := seasoned(t, 20.9)
	const path = "/api/v1/tanks/FV7/report"
	tests := []struct{ accept, kind, holds string }{
		{"", "application/json", `"hold_points":[{"name":"crash"`},
		{"*/*", "application/json", `"curves":[{"quantity":"gravity"`},
		{"text/plain", "text/plain; charset=utf-8", "May this beer be packaged? YES"},
		{"text/html,application/xhtml+xml,*/*;q=0.8", "text/html; charset=utf-8", "<svg"},
	}
	for _, tt := range tests {
		got := fetch(s, path, tt.accept)
		assert.Equal(t, http.StatusOK, got.Code)
		assert.Equal(t, tt.kind, got.Header().Get("Content-Type"))
		assert.Contains(t, got.Body.String(), tt.holds, "asked for %q", tt.accept)
	}
	page := fetch(s, path, "text/html").Body.String()
	assert.NotContains(t, page, "<script")
	assert.NotContains(t, page, "http://www.w3.org/1999/xlink\" href")
	assert.Contains(t, page, "spile is no safety device")
}

// A question that was put is no leak that was found: neither on a sheet, nor on its curves, nor in text.
func TestAQuestionReadsAsOneInAReport(t *testing.T) {
	s := seasoned(t, 20.9)
	text := fetch(s, "/api/v1/tanks/FV7/report", "text/plain").Body.String()
	assert.Contains(t, text, "Sun 15 Mar 02:00  head pressure is gone, was it opened? (until Sun 15 Mar 12:00):")
	sheet := fetch(s, "/api/v1/tanks/FV7/report", "text/html").Body.String()
	assert.Contains(t, sheet, "<td>Head pressure is gone, was it opened? (until Sun 15 Mar 12:00)<br>")
	assert.Contains(t, sheet, ">leak?</text>")
	for _, said := range []string{text, sheet} {
		assert.NotContains(t, said, "osing head pressure")
	}
}

func TestAReportOfAPastMoment(t *testing.T) {
	got := fetch(seasoned(t, 20.9), "/api/v1/tanks/FV7/report?at=2026-03-06T14:00:00Z", "text/plain")
	assert.Contains(t, got.Body.String(), "as of Fri 6 Mar 2026 14:00, day 4\nFermenting since Mon 2 Mar 14:00")
	assert.Equal(t, http.StatusBadRequest, fetch(seasoned(t, 20.9), "/api/v1/tanks/FV7/report?at=soon", "").Code)
}

func TestHoldPointsAreGivenWithTheirEvidence(t *testing.T) {
	got := fetch(seasoned(t, 12.9), "/api/v1/tanks/FV7/holds", "")
	require.Equal(t, http.StatusOK, got.Code)
	var answer holdsAnswer
	require.NoError(t, json.Unmarshal(got.Body.Bytes(), &answer))
	assert.Equal(t, batch.OnHops, answer.Stage.Name)
	crash := answer.HoldPoints[0]
	assert.Equal(t, batch.No, crash.Verdict)
	assert.True(t, crash.Next)
	for _, c := range crash.Conditions {
		assert.NotEmpty(t, c.Evidence, c.Name)
	}
	assert.Contains(t, got.Body.String(), `"met":false`)
}
