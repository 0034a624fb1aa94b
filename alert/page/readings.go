package page

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"time"

	"spile/detect"
)

const (
	ndjson  = "application/x-ndjson"
	csvType = "text/csv"
)

// readersMost is how many streams of readings there are at once: each reads some
// megabytes ahead, and one whose client is slow holds them for as long as it
// takes. Others wait for their turn, and for so long.
const (
	readersMost = 16
	turnWithin  = 20 * time.Second
)

// row is a reading as programs get it.
type row struct {
	Time     time.Time       `json:"time"`
	Tank     string          `json:"tank"`
	Probe    string          `json:"probe"`
	Quantity detect.Quantity `json:"quantity"`
	Value    float64         `json:"value"`
	Raw      float64         `json:"raw"`
	Unit     string          `json:"unit"`
	Arrived  time.Time       `json:"arrived"`
}

// columns are the names of a row's parts, for CSV.
var columns = []string{"time", "tank", "probe", "quantity", "value", "raw", "unit", "arrived"}

// cells are a row's parts as text.
func (r row) cells() []string {
	figure := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return []string{
		r.Time.Format(time.RFC3339Nano), r.Tank, r.Probe, string(r.Quantity),
		figure(r.Value), figure(r.Raw), r.Unit, r.Arrived.Format(time.RFC3339Nano),
	}
}

// readings streams every reading that passes the filter.
func (s *Server) readings(w http.ResponseWriter, r *http.Request) error {
	filter, err := parseFilter(r.URL.RawQuery)
	if err != nil {
		return err
	}
	t := newTable(w, wantsCSV(r.Header.Values("Accept")))
	if r.Method == http.MethodHead {
		return t.begin()
	}
	leave, err := s.enter(r.Context())
	if err != nil {
		if r.Context().Err() == nil {
			w.Header().Set("Retry-After", "10")
		}
		return err
	}
	defer leave()
	if err = s.Records.Readings(r.Context(), filter, t.add); err == nil {
		return t.end()
	}
	if !t.begun {
		return err
	}
	s.Log.Warn("a stream of readings was cut off", "rows", t.rows, "error", err)
	// The status has gone out as 200. Ending the connection here is how net/http lets a client see that more was to come.
	panic(http.ErrAbortHandler)
}

// enter waits for a turn to stream readings, and gives the way to end it.
func (s *Server) enter(ctx context.Context) (leave func(), err error) {
	limited, cancel := context.WithTimeout(ctx, turnWithin)
	defer cancel()
	select {
	case s.readers <- struct{}{}:
		return func() { <-s.readers }, nil
	case <-s.closing:
	case <-limited.Done():
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return nil, &problem{http.StatusServiceUnavailable, fmt.Sprintf("%d streams of readings are under way, and none has ended: ask again in a while", readersMost)}
}

// table writes readings as they come, in one of two formats.
type table struct {
	w     http.ResponseWriter
	out   *bufio.Writer
	csv   *csv.Writer // nil: NDJSON
	json  *json.Encoder
	begun bool
	rows  int
}

func newTable(w http.ResponseWriter, asCSV bool) *table {
	out := bufio.NewWriterSize(patient{w, http.NewResponseController(w)}, 32<<10)
	t := &table{w: w, out: out, json: json.NewEncoder(out)}
	if asCSV {
		t.csv = csv.NewWriter(out)
	}
	return t
}

// begin sends what stands before the first row. It waits for that row, so that a failure before it has a status.
func (t *table) begin() error {
	t.begun = true
	if t.csv == nil {
		t.w.Header().Set("Content-Type", ndjson)
		return nil
	}
	t.w.Header().Set("Content-Type", csvType+"; charset=utf-8; header=present")
	return t.csv.Write(columns)
}

// add writes one reading.
func (t *table) add(r detect.Reading) error {
	if !t.begun {
		if err := t.begin(); err != nil {
			return err
		}
	}
	t.rows++
	line := row{r.Time.UTC(), r.Tank, r.Probe, r.Quantity, r.Value, r.Raw, r.Quantity.Unit(), r.Arrived.UTC()}
	if t.csv != nil {
		return t.csv.Write(line.cells())
	}
	return t.json.Encode(line)
}

// end sends what is left.
func (t *table) end() error {
	if !t.begun {
		if err := t.begin(); err != nil {
			return err
		}
	}
	if t.csv != nil {
		t.csv.Flush()
	}
	_ = t.out.Flush() // the client has gone: nobody is left to tell
	return nil
}

// patient gives the client the whole write limit for each piece instead of one for all of them.
type patient struct {
	io.Writer
	control *http.ResponseController
}

func (p patient) Write(piece []byte) (int, error) {
	// A socket's limit is in real time, whatever clock the cellar runs on. A writer without one needs none.
	_ = p.control.SetWriteDeadline(time.Now().Add(writeTimeout))
	return p.Writer.Write(piece)
}

// wantsCSV tells whether an Accept header likes CSV better than NDJSON (RFC 9110, section 12.5.1). NDJSON wins a tie.
func wantsCSV(accept []string) bool { return likes(accept, csvType) > likes(accept, ndjson) }

// likes is how well an Accept header likes a kind, by the part that names it most narrowly.
func likes(accept []string, kind string) float64 {
	best, width := 0.0, -1
	for _, part := range strings.Split(strings.Join(accept, ","), ",") {
		if q, w := liking(part, kind); w > width {
			best, width = q, w
		}
	}
	return best
}

// liking is how well one part of an Accept header likes a kind, and how narrowly it names it; -1: not at all.
func liking(part, kind string) (q float64, width int) {
	pattern, parameters, err := mime.ParseMediaType(part)
	if err != nil {
		return 0, -1
	}
	family, _, _ := strings.Cut(kind, "/")
	switch pattern {
	case kind:
		width = 2
	case family + "/*":
		width = 1
	case "*/*":
		width = 0
	default:
		return 0, -1
	}
	weight, given := parameters["q"]
	if !given {
		return 1, width
	}
	q, err = strconv.ParseFloat(weight, 64)
	if err != nil || q < 0 || q > 1 {
		return 0, width
	}
	return q, width
}
