package influx

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// logbook is a log that can be read while it is written.
type logbook struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logbook) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logbook) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func TestForwarderOutlastsEveryAnswer(t *testing.T) {
	page := func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("<html>welcome</html>")) }
	tests := map[string]struct {
		answer  http.HandlerFunc
		problem string // what State says meanwhile
	}{
		"busy":          {status(http.StatusServiceUnavailable, "engine: cache maximum memory size exceeded"), "asks to wait (503)"},
		"too much":      {status(http.StatusTooManyRequests, "limit"), "asks to wait (429)"},
		"broken":        {status(http.StatusInternalServerError, "timeout"), "asks to wait (500)"},
		"hung up":       {hangup, "out of reach"},
		"wrong token":   {status(http.StatusUnauthorized, "no "+secret+" here"), "refuses the token (401): look at influx.token_file"},
		"not allowed":   {status(http.StatusForbidden, ""), "refuses the token (403)"},
		"no bucket":     {status(http.StatusNotFound, "bucket not found"), `knows no bucket "cellar/raw" of org "cellar"`},
		"another world": {status(http.StatusMethodNotAllowed, ""), "does not answer like InfluxDB (405): look at influx.url"},
		"moved":         {func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, "/", http.StatusFound) }, "does not answer like InfluxDB (302)"},
		"a page":        {page, "look at influx.url"},
		"refuses all":   {status(http.StatusBadRequest, "Client sent an HTTP request to an HTTPS server."), "refuses (400): x: Client sent"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			s, j, log := newStore(t), openJournal(t), &logbook{}
			hear(t, j, 0, 30)
			answers := make([]http.HandlerFunc, 300)
			for i := range answers {
				answers[i] = test.answer
			}
			s.next(answers...)
			o := hasty(j, s.URL)
			o.Log = slog.New(slog.NewTextHandler(log, nil))
			f := begin(t, o)

			require.Eventually(t, func() bool { return strings.Contains(f.State().Problem, test.problem) },
				time.Minute, time.Millisecond, "%+v", f.State())
			state := f.State()
			assert.False(t, state.Since.IsZero())
			assert.Zero(t, state.Position)
			s.next()
			caughtUp(t, f)
			assert.Empty(t, f.State().Problem)
			points, lines := s.count()
			assert.Equal(t, 30, points)
			if name != "refuses all" { // there the store may come back between halves
				assert.Equal(t, 30, lines, "an answer that takes nothing is followed by one copy")
			}
			aside, err := j.Aside(t.Context(), Reader, 10)
			require.NoError(t, err)
			assert.Empty(t, aside)

			halt(t, f)
			assert.Equal(t, 1, strings.Count(log.String(), "readings wait for InfluxDB"), "%s", log)
			assert.Equal(t, 1, strings.Count(log.String(), "readings go to InfluxDB again"), "%s", log)
			assert.NotContains(t, log.String()+state.Problem, secret)
		})
	}
}

func TestForwarderSetsAsideWhatTheStoreRefuses(t *testing.T) {
	s, j := newStore(t), openJournal(t)
	s.refuses = func(p point) bool { return p.field == "pressure" }
	hear(t, j, 0, 30)
	o := hasty(j, s.URL)
	registry := prometheus.NewRegistry()
	o.Registerer = registry
	f := begin(t, o)
	caughtUp(t, f)

	points, _ := s.count()
	assert.Equal(t, 20, points)
	aside, err := j.Aside(t.Context(), Reader, 100)
	require.NoError(t, err)
	require.Len(t, aside, 10)
	for _, a := range aside {
		assert.Contains(t, a.Problem, "InfluxDB refuses (400)")
		assert.Contains(t, a.Problem, "field type conflict")
	}
	assert.NoError(t, testutil.GatherAndCompare(registry, strings.NewReader(`
# HELP spile_influx_lag_readings Entries of the journal not yet copied to InfluxDB: readings, and the few log events among them.
# TYPE spile_influx_lag_readings gauge
spile_influx_lag_readings 0
# HELP spile_influx_refused_readings_total Readings that InfluxDB did not take and that were set aside in the journal.
# TYPE spile_influx_refused_readings_total counter
spile_influx_refused_readings_total 10
`)))
}

func TestForwarderGoesPastWhatIsOlderThanTheBucketKeeps(t *testing.T) {
	s, j, log := newStore(t), openJournal(t), &logbook{}
	hear(t, j, 0, 3)
	s.next(status(http.StatusUnprocessableEntity, "partial write: points beyond retention policy dropped=3"))
	o := hasty(j, s.URL)
	o.Log = slog.New(slog.NewTextHandler(log, nil))
	f := begin(t, o)
	caughtUp(t, f)
	aside, err := j.Aside(t.Context(), Reader, 1)
	require.NoError(t, err)
	assert.Empty(t, aside)
	halt(t, f)
	assert.Contains(t, log.String(), "drops readings older than its bucket keeps")
}

func TestForwarderGoesOnWhereItStopped(t *testing.T) {
	s, j := newStore(t), openJournal(t)
	hear(t, j, 0, 2*batchLines+10)
	f := begin(t, hasty(j, s.URL))
	caughtUp(t, f)
	halt(t, f)
	hear(t, j, 2*batchLines+10, 5)

	f = begin(t, hasty(j, s.URL))
	caughtUp(t, f)
	points, lines := s.count()
	assert.Equal(t, 2*batchLines+15, points)
	assert.Equal(t, points, lines, "nothing is sent twice over an orderly restart")
}

func TestForwarderRefusesAtOnceWhatNoLineCanCarry(t *testing.T) {
	s, j := newStore(t), openJournal(t)
	r := detect.Reading{Tank: `FV3\`, Probe: "hyd-1", Quantity: detect.Gravity, Time: at("2026-03-02T01:00:00Z"), Value: 1.01, Raw: 1.01}
	f, err := New(hasty(j, s.URL))
	require.NoError(t, err)
	lines, unfit := f.encode(entriesOf(r))
	assert.Empty(t, lines)
	require.Len(t, unfit, 1)
	assert.Contains(t, unfit[0].problem, "backslash")
}

func TestNewNamesTheKeyToMend(t *testing.T) {
	j := openJournal(t)
	tests := map[string]struct {
		spoil func(*Options)
		want  string
	}{
		"no scheme": {func(o *Options) { o.URL = "influx.lan:8086" }, "influx.url=influx.lan:8086: want http"},
		"no url":    {func(o *Options) { o.URL = ":" }, "influx.url"},
		"no bucket": {func(o *Options) { o.Bucket = "" }, "influx.bucket is not set"},
		"a site":    {func(o *Options) { o.Site = "a\nb" }, `site "a\nb"`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			o := hasty(j, "http://127.0.0.1:1")
			test.spoil(&o)
			_, err := New(o)
			require.ErrorContains(t, err, test.want)
		})
	}
}

func TestNewRefusesARegistryThatHasItsMetrics(t *testing.T) {
	o := hasty(openJournal(t), "http://127.0.0.1:1")
	_, err := New(o)
	require.NoError(t, err)
	_, err = New(o)
	require.ErrorContains(t, err, "influx: metrics")
}

func TestStopBeforeStartIsNothing(t *testing.T) {
	f, err := New(hasty(openJournal(t), "http://127.0.0.1:1"))
	require.NoError(t, err)
	require.NoError(t, f.Stop(context.Background()))
}

func TestGzipIsForTheNetwork(t *testing.T) {
	j := openJournal(t)
	for url, want := range map[string]bool{
		"http://127.0.0.1:8086": false, "http://localhost:8086": false, "http://[::1]:8086": false,
		"https://influx.example:8086": true, "http://192.0.2.7:8086": true,
	} {
		f, err := New(hasty(j, url))
		require.NoError(t, err)
		assert.Equal(t, want, f.client.Options().UseGZip(), url)
	}
}
