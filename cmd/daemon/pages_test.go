package daemon

import (
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/alert/page"
	"spile/detect"
	"spile/ingest/journal"
)

// A cellar of a hundred tanks that spoke every minute for a month, thirteen million readings.
const (
	pageTanks = 100
	pageDays  = 30
)

// spoken writes the readings of a cellar in the order in which they would have come.
func spoken(b *testing.B, j *journal.Journal, start time.Time) {
	b.Helper()
	var batch []journal.Entry
	for m := range pageDays * 24 * 60 {
		at := start.Add(time.Duration(m) * time.Minute)
		for tank := range pageTanks {
			for q, value := range map[detect.Quantity]float64{
				detect.Gravity: 1.0118 + float64(m%7)*1e-4, detect.Temperature: 14.3 + float64(m%11)/20, detect.Pressure: 80 + float64(m%97)/10,
			} {
				batch = append(batch, journal.Entry{Arrived: at, Reading: &detect.Reading{
					Tank: fmt.Sprint("FV", tank), Probe: "p", Quantity: q, Time: at, Value: value, Raw: value,
				}})
			}
		}
		if len(batch) >= 30*300 || m == pageDays*24*60-1 {
			_, err := j.Commit(b.Context(), batch)
			require.NoError(b, err)
			batch = batch[:0]
		}
	}
	pitch := detect.Event{Tank: "FV7", Name: "pitch", Time: start, Arrived: start.Add(pageDays * 24 * time.Hour)}
	_, err := j.Commit(b.Context(), []journal.Entry{{Arrived: pitch.Arrived, Event: &pitch}})
	require.NoError(b, err)
}

// wholeCellar is a view of tanks with all their figures.
func wholeCellar(now time.Time) alert.View {
	view := alert.View{At: now}
	for tank := range pageTanks {
		s := detect.Status{Tank: fmt.Sprint("FV", tank), Gas: detect.GasClosed, ReliefKPa: 200, Last: map[detect.Quantity]detect.Latest{}}
		for _, q := range detect.Quantities() {
			s.Last[q] = detect.Latest{Value: 14, Time: now, Probe: "p"}
		}
		s.Probes = []detect.ProbeStatus{{Probe: "p", LastHeard: now}}
		view.Tanks = append(view.Tanks, alert.TankView{Status: s})
	}
	return view
}

// BenchmarkPages tells how long pages and drawings take beside a page that shows nothing. It takes minutes to begin.
func BenchmarkPages(b *testing.B) {
	j, err := journal.Open(b.Context(), journal.Options{Dir: b.TempDir()})
	require.NoError(b, err)
	defer func() { require.NoError(b, j.Close()) }()
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	spoken(b, j, start)
	now := start.Add(pageDays * 24 * time.Hour)
	view := wholeCellar(now)
	clock := func() time.Time { return now }
	fresh := func() *page.Server {
		brews := &batches{
			journal: j, clock: clock, log: slog.New(slog.DiscardHandler),
			settings: func(string) detect.Settings { return detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200} },
		}
		s, err := page.New(page.Options{
			Records: records{journal: j}, View: func() alert.View { return view }, Clock: clock, Rand: rand.Reader,
			Report: brews.report,
		})
		require.NoError(b, err)
		return s
	}
	look := func(s *page.Server, path string, packed bool) (pending bool) {
		w, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, path, nil)
		if packed { // as every browser asks
			r.Header.Set("Accept-Encoding", "gzip")
		}
		s.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		return strings.Contains(w.Body.String(), "is being read from the journal")
	}
	for _, c := range []struct {
		name, path string
		first      bool // of a server that has shown nothing yet
	}{
		{"nothing", "/sign-in", false},
		{"cellar, first look", "/", true}, {"cellar", "/", false},
		{"tank, night, first look", "/tanks/FV7", true}, {"tank, night", "/tanks/FV7", false},
		{"tank, week, first look", "/tanks/FV7?range=week", true}, {"tank, week", "/tanks/FV7?range=week", false},
		{"tank, batch, first look", "/tanks/FV7?range=batch", true}, {"tank, batch", "/tanks/FV7?range=batch", false},
		{"curves, batch", "/tanks/FV7/curves.svg?range=batch&size=wide", false},
		{"picture, night", "/tanks/FV7/curves.png?range=night", false},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := fresh()
			for look(s, c.path, false) && !c.first { // until its hold points are there
			}
			for b.Loop() {
				if c.first {
					_ = s.HTTPServer().Shutdown(b.Context()) // ends what it reads ahead
					s = fresh()
				}
				look(s, c.path, true)
			}
		})
	}
}
