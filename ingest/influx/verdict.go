package influx

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	api "github.com/influxdata/influxdb-client-go/v2/api/http"
)

// kind is what an answer of the store asks us to do.
type kind int

const (
	taken   kind = iota // go on
	again               // the store is busy or away: the same lines after a while
	refused             // something in the lines is wrong: halve them
	closed              // this address, token or bucket is wrong: wait for a person
)

// verdict is an answer, understood.
type verdict struct {
	kind    kind
	problem string        // for people; never holds the token
	after   time.Duration // the store's own wish for the next attempt, if any
}

// beyondRetention is how InfluxDB words that lines were older than the bucket
// keeps. Its source (1.8, coordinator's WritePointsPrivileged) says so only
// when all other points were written, so there is nothing to find by halving.
const beyondRetention = "points beyond retention policy"

// judge reads the result of a write. A status of 0 is the client's for no
// answer at all.
func (f *Forwarder) judge(err error) verdict {
	if err == nil {
		return verdict{}
	}
	var answer *api.Error
	if !errors.As(err, &answer) {
		return verdict{kind: again, problem: f.scrub(err.Error())}
	}
	v := verdict{after: time.Duration(answer.RetryAfter) * time.Second}
	words := f.scrub(answer.Error())
	switch code := answer.StatusCode; {
	case code == 0 && errors.Is(err, errNotInflux):
		v.kind, v.problem = closed, words
	case code == 0:
		v.kind, v.problem = again, "InfluxDB is out of reach: "+words
	case code == http.StatusTooManyRequests, code == http.StatusRequestTimeout, code/100 == 5:
		v.kind, v.problem = again, fmt.Sprintf("InfluxDB asks to wait (%d): %s", code, words)
	case strings.Contains(answer.Message, beyondRetention):
		v.problem = "InfluxDB drops readings older than its bucket keeps: " + words
	case code == http.StatusBadRequest, code == http.StatusRequestEntityTooLarge, code == http.StatusUnprocessableEntity:
		v.kind, v.problem = refused, fmt.Sprintf("InfluxDB refuses (%d): %s", code, words)
	default:
		v.kind, v.problem = closed, f.explain(code, words)
	}
	return v
}

// explain says where to mend what no waiting mends.
func (f *Forwarder) explain(code int, words string) string {
	switch code {
	case http.StatusUnauthorized, http.StatusForbidden:
		return fmt.Sprintf("InfluxDB refuses the token (%d): look at influx.token_file, and whether it may write to %s", code, f.o.Bucket)
	case http.StatusNotFound:
		return fmt.Sprintf("InfluxDB knows no bucket %q of org %q (404): look at influx.bucket, influx.org and influx.url", f.o.Bucket, f.o.Org)
	}
	return fmt.Sprintf("%s does not answer like InfluxDB (%d): look at influx.url: %s", f.address, code, words)
}

// scrub takes the token out of words that came from outside, and keeps them short.
func (f *Forwarder) scrub(words string) string {
	if f.o.Token != "" {
		words = strings.ReplaceAll(words, f.o.Token, "[token]")
	}
	if runes := []rune(words); len(runes) > longestProblem {
		words = string(runes[:longestProblem]) + "…"
	}
	return strings.TrimSpace(words)
}

const longestProblem = 300

var errNotInflux = errors.New("this is not InfluxDB's answer to a write: look at influx.url")

// strict is the transport under the client, which takes every 2xx for success.
// InfluxDB says 204; a proxy's page of 200 would else swallow readings.
type strict struct{ next http.RoundTripper }

// RoundTrip makes an error of a success that is not InfluxDB's.
func (s strict) RoundTrip(req *http.Request) (*http.Response, error) {
	resp, err := s.next.RoundTrip(req)
	if err != nil {
		return nil, err
	}
	if resp.StatusCode/100 == 2 && resp.StatusCode != http.StatusNoContent {
		return nil, errors.Join(fmt.Errorf("%s: %w", resp.Status, errNotInflux), resp.Body.Close())
	}
	return resp, nil
}
