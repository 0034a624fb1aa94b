package influx

import (
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"spile/detect"
	"spile/ingest/journal"
)

const secret = "s3cret-token"

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// store is an InfluxDB as far as writing goes, with answers to order.
type store struct {
	*httptest.Server
	t *testing.T

	mu      sync.Mutex // guards what follows
	points  map[point]float64
	lines   int                // taken, repeats included
	answers []http.HandlerFunc // for the next requests; then it takes
	refuses func(point) bool   // lines that make it refuse a batch
}

func newStore(t *testing.T) *store {
	s := &store{t: t, points: map[point]float64{}}
	s.Server = httptest.NewServer(http.HandlerFunc(s.serve))
	t.Cleanup(s.Close)
	return s
}

func (s *store) serve(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	assert.Equal(s.t, "Token "+secret, r.Header.Get("Authorization"))
	assert.Equal(s.t, "ms", r.URL.Query().Get("precision"))
	assert.Equal(s.t, "/api/v2/write", r.URL.Path)
	if len(s.answers) > 0 {
		answer := s.answers[0]
		s.answers = s.answers[1:]
		answer(w, r)
		return
	}
	text, err := body(r)
	if !assert.NoError(s.t, err) {
		return
	}
	points := parse(s.t, text)
	for _, p := range points {
		if s.refuses != nil && s.refuses(p) {
			http.Error(w, `{"code":"invalid","message":"partial write: field type conflict"}`, http.StatusBadRequest)
			return
		}
	}
	s.lines += len(points)
	for _, p := range points {
		s.points[p.identity()] = p.value
	}
	w.WriteHeader(http.StatusNoContent)
}

func body(r *http.Request) ([]byte, error) {
	if r.Header.Get("Content-Encoding") != "gzip" {
		return io.ReadAll(r.Body)
	}
	z, err := gzip.NewReader(r.Body)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}

// next orders answers for the coming requests.
func (s *store) next(answers ...http.HandlerFunc) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.answers = answers
}

// count gives the points that stand and the lines taken in all.
func (s *store) count() (points, lines int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.points), s.lines
}

// status answers with a status and a body as InfluxDB words it.
func status(code int, message string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(code)
		_, _ = fmt.Fprintf(w, `{"code":"x","message":%q}`, message)
	}
}

// hangup closes the connection without an answer.
func hangup(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }

func openJournal(t *testing.T) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, j.Close()) })
	return j
}

// hear commits n readings of a tank, a second apart, the first at second from.
// Every third is a pressure; a log event stands in front.
func hear(t *testing.T, j *journal.Journal, from, n int) {
	t.Helper()
	start := at("2026-03-02T01:15:00Z")
	entries := []journal.Entry{{
		Arrived: start,
		Event:   &detect.Event{Tank: "FV3", Name: "note", Time: start.Add(time.Duration(from) * time.Second), Arrived: start},
	}}
	for i := from; i < from+n; i++ {
		r := detect.Reading{
			Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity,
			Time: start.Add(time.Duration(i) * time.Second), Arrived: start, Value: 1.01, Raw: 1.01,
		}
		if i%3 == 2 {
			r.Quantity, r.Value, r.Raw = detect.Pressure, 80, 80
		}
		entries = append(entries, journal.Entry{Arrived: start, Reading: &r})
	}
	outcomes, err := j.Commit(context.Background(), entries)
	require.NoError(t, err)
	for _, o := range outcomes {
		require.Equal(t, journal.Accepted, o)
	}
}

// hasty are the options of a test: as in a cellar, but quicker.
func hasty(j *journal.Journal, url string) Options {
	return Options{
		Journal: j, URL: url, Org: "cellar", Bucket: "cellar/raw", Token: secret, Site: "north-quay",
		Poll: time.Millisecond, Retry: time.Millisecond, RetryMax: 20 * time.Millisecond, Pause: 20 * time.Millisecond,
		Jitter: func() float64 { return 0.5 }, Registerer: prometheus.NewRegistry(),
	}
}

func begin(t *testing.T, o Options) *Forwarder {
	t.Helper()
	f, err := New(o)
	require.NoError(t, err)
	f.Start(context.Background())
	t.Cleanup(func() { halt(t, f) })
	return f
}

func halt(t *testing.T, f *Forwarder) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	assert.NoError(t, f.Stop(ctx))
}

// caughtUp waits until the forwarder has dealt with the whole journal.
func caughtUp(t *testing.T, f *Forwarder) {
	t.Helper()
	require.Eventually(t, func() bool {
		lag, err := f.lag(context.Background())
		return err == nil && lag == 0
	}, time.Minute, 5*time.Millisecond, "%+v", f.State())
}

func entriesOf(readings ...detect.Reading) (entries []journal.Entry) {
	for i := range readings {
		entries = append(entries, journal.Entry{Seq: int64(i + 1), Reading: &readings[i]})
	}
	return entries
}
