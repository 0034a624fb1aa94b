package page

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestReadingsAsNDJSON(t *testing.T) {
	s, kept := serve(t, nil)
	got := ask(s, "GET", "/api/v1/readings?tank=FV3&quantity=gravity&probe=hyd-3&from=2026-03-01T01:00:00%2B01:00&to=2026-03-03T00:00:00Z", "")
	assert.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "application/x-ndjson", got.Header().Get("Content-Type"))
	assert.JSONEq(t, `{"time":"2026-03-02T03:13:00Z","tank":"FV3","probe":"hyd-3","quantity":"gravity","value":1.0118,"raw":1.0121,"unit":"SG","arrived":"2026-03-02T03:14:00Z"}`, got.Body.String())
	assert.True(t, strings.HasSuffix(got.Body.String(), "}\n"), "a line a reading")
	assert.Equal(t, Filter{
		Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity,
		From: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC),
	}, kept.asked)
}

func TestReadingsAsCSV(t *testing.T) {
	s, kept := serve(t, nil)
	got := ask(s, "GET", "/api/v1/readings", "", header("Accept", "text/csv"))
	assert.Equal(t, Filter{}, kept.asked, "no filter chooses all")
	assert.Contains(t, got.Header().Get("Content-Type"), "text/csv")
	rows, err := csv.NewReader(got.Body).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, [][]string{
		{"time", "tank", "probe", "quantity", "value", "raw", "unit", "arrived"},
		{"2026-03-02T03:13:00Z", "FV3", "hyd-3", "gravity", "1.0118", "1.0121", "SG", "2026-03-02T03:14:00Z"},
		{"2026-03-02T03:14:00Z", "FV5", "head-5", "pressure", "91.5", "91.5", "kPa", "2026-03-02T03:14:30Z"},
	}, rows)
}

func TestNoReadingsIsAnAnswer(t *testing.T) {
	s, kept := serve(t, nil)
	kept.readings = nil
	got := ask(s, "GET", "/api/v1/readings", "")
	assert.Equal(t, http.StatusOK, got.Code)
	assert.Empty(t, got.Body.String())
	asCSV := ask(s, "GET", "/api/v1/readings", "", header("Accept", "text/csv"))
	assert.Equal(t, strings.Join(columns, ",")+"\n", asCSV.Body.String())
}

func TestHeadOfReadingsAsksForNone(t *testing.T) {
	s, kept := serve(t, nil)
	kept.broken = errDisk
	got := ask(s, "HEAD", "/api/v1/readings", "")
	assert.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "application/x-ndjson", got.Header().Get("Content-Type"))
}

func TestABadFilterIsNamed(t *testing.T) {
	tests := []struct{ query, holds string }{
		{"tnak=FV3", `unknown parameter "tnak": this takes tank, probe, quantity, from and to`},
		{"tank=FV%203", `tank="FV 3": a name has`},
		{"probe=../x", `probe="../x": a name has`},
		{"quantity=colour", `quantity="colour": write gravity, temperature or pressure`},
		{"from=yesterday", `from="yesterday": write the time by RFC 3339`},
		{"to=2026-03-02", `to="2026-03-02": write the time by RFC 3339`},
		{"from=2026-03-02T01:00:00+01:00", `write the + of a time zone as %2B`},
		{"from=2026-03-02T01:00:00Z&to=2026-03-02T01:00:00Z", "is not before to="},
		{"tank=FV3&tank=FV4", "tank is given 2 times: give it once"},
		{"tank=%zz", "the query cannot be read"},
		{"tank=a;probe=b", "the query cannot be read"},
	}
	for _, test := range tests {
		t.Run(test.query, func(t *testing.T) {
			s, _ := serve(t, nil)
			got := ask(s, "GET", "/api/v1/readings?"+test.query, "")
			assert.Equal(t, http.StatusBadRequest, got.Code)
			assert.Contains(t, object(t, got.Body.String())["error"], test.holds)
		})
	}
}

func TestAnEmptyParameterIsAbsent(t *testing.T) {
	f, err := parseFilter("tank=&probe=&quantity=&from=&to=")
	require.NoError(t, err)
	assert.Equal(t, Filter{}, f)
}

func TestAccept(t *testing.T) {
	tests := []struct {
		accept string
		csv    bool
	}{
		{"", false}, {"*/*", false}, {"text/csv", true}, {"TEXT/CSV", true}, {"text/csv;q=0.5, */*;q=0.1", true}, {"text/csv;q=0.5, */*", false},
		{"application/x-ndjson, text/csv", false}, {"application/x-ndjson;q=0.5, text/csv", true}, {"text/*", true}, {"text/csv;q=0", false},
		{"text/html,application/xhtml+xml,*/*;q=0.8", false}, {"application/json", false}, {"text/csv;q=lots", false}, {"text/csv;q=7", false},
		{"text/*;q=0.9, text/csv;q=0.1, */*;q=0.5", false}, {";;,text/csv", true},
	}
	for _, test := range tests {
		assert.Equal(t, test.csv, wantsCSV([]string{test.accept}), test.accept)
	}
}

func TestAFailureBeforeTheFirstReadingHasItsStatus(t *testing.T) {
	s, kept := serve(t, discard)
	kept.readings, kept.broken = nil, errDisk
	got := ask(s, "GET", "/api/v1/readings", "")
	assert.Equal(t, http.StatusInternalServerError, got.Code)
	assert.NotContains(t, got.Body.String(), "secret")
}

// A client must see that a stream was cut off, however much of it came before.
func TestAFailureInTheStreamBreaksTheTransfer(t *testing.T) {
	for _, rows := range []int{1, 5000} {
		t.Run(fmt.Sprint(rows), func(t *testing.T) {
			s, kept := serve(t, discard)
			kept.readings, kept.broken = many(rows), errDisk
			server := httptest.NewServer(s)
			defer server.Close()
			answer, err := server.Client().Get(server.URL + "/api/v1/readings")
			if err != nil {
				return // the connection ended before the status: seen as well
			}
			defer func() { _ = answer.Body.Close() }()
			_, err = io.Copy(io.Discard, answer.Body)
			require.Error(t, err)
		})
	}
}

// many makes readings a second apart.
func many(n int) []detect.Reading {
	readings := make([]detect.Reading, n)
	for i := range readings {
		at := now.Add(time.Duration(i) * time.Second)
		readings[i] = detect.Reading{Tank: "FV3", Probe: "hyd-3", Quantity: detect.Gravity, Time: at, Value: 1.01, Raw: 1.01, Arrived: at}
	}
	return readings
}

// A long stream outlives the write limit of the server as long as the client reads on.
func TestAStreamOutlivesTheWriteLimit(t *testing.T) {
	s, kept := serve(t, nil)
	kept.readings = many(20_000)
	server := httptest.NewUnstartedServer(s)
	server.Config = s.HTTPServer()
	server.Config.WriteTimeout = time.Nanosecond // passed long before the first row
	server.Start()
	defer server.Close()
	answer, err := server.Client().Get(server.URL + "/api/v1/readings")
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	lines := 0
	scanner := bufio.NewScanner(answer.Body)
	for scanner.Scan() {
		var r row
		require.NoError(t, json.Unmarshal(scanner.Bytes(), &r))
		require.Equal(t, kept.readings[lines].Time, r.Time, "oldest first, none missing")
		lines++
	}
	require.NoError(t, scanner.Err())
	assert.Equal(t, 20_000, lines)
}

func FuzzFilter(f *testing.F) {
	for _, seed := range []string{
		"", "tank=FV3&probe=hyd-3&quantity=gravity&from=2026-03-02T01:00:00Z&to=2026-03-03T01:00:00Z", "tank=%00", "from=0000-01-01T00:00:00Z",
		"tank=a&tank=b", "%", "quantity=", "to=9999-12-31T23:59:59.999999999%2B14:00", "a;b",
		"to=9999-12-31T10:00:00%2d17:00",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, query string) {
		filter, err := parseFilter(query)
		if err != nil {
			p, known := asProblem(err)
			require.True(t, known)
			require.Equal(t, http.StatusBadRequest, p.status)
			return
		}
		require.True(t, filter.Tank == "" || detect.ValidName(filter.Tank))
		require.True(t, filter.Probe == "" || detect.ValidName(filter.Probe))
		require.True(t, filter.Quantity == "" || filter.Quantity.Unit() != "")
		require.True(t, filter.From.IsZero() || filter.To.IsZero() || filter.From.Before(filter.To))
		again, err := parseFilter(url.Values{
			"tank": {filter.Tank}, "probe": {filter.Probe}, "quantity": {string(filter.Quantity)},
			"from": {written(filter.From)}, "to": {written(filter.To)},
		}.Encode())
		require.NoError(t, err)
		require.Equal(t, filter, again, "what was understood can be said again")
	})
}

func written(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339Nano)
}

func BenchmarkReadings(b *testing.B) {
	s, kept := serve(b, nil)
	kept.readings = many(10_000)
	r := httptest.NewRequest(http.MethodGet, "/api/v1/readings", nil)
	for b.Loop() {
		s.ServeHTTP(nowhere{http.Header{}}, r)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/10_000, "ns/reading")
}

// nowhere is a client that keeps nothing.
type nowhere struct{ h http.Header }

func (n nowhere) Header() http.Header         { return n.h }
func (n nowhere) Write(p []byte) (int, error) { return len(p), nil }
func (n nowhere) WriteHeader(int)             {}
