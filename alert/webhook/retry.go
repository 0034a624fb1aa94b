package webhook

import (
	"net/http"
	"strconv"
	"strings"
	"time"
)

// The pace of tries. An alarm of the night must not wait hours for a webhook that was away for minutes, so the first
// hour is much denser than the specification's example; then the pace follows the age of the message.
const (
	steady          = 3 * time.Minute
	slowest         = 30 * time.Minute
	dense           = time.Hour
	ageOverPace     = 12 // a message of six hours is tried every half hour
	jitter          = 0.2
	longestAskedFor = time.Hour // how long a webhook's Retry-After is obeyed
)

// firstPauses are those after the first failures.
var firstPauses = [...]time.Duration{time.Second, 5 * time.Second, 15 * time.Second, time.Minute}

// pause is how long to wait after so many failures of a message so old. Random is in [0, 1) and spreads the tries by
// 20 %, so that many messages do not knock together.
func pause(failures int, age time.Duration, random float64) time.Duration {
	d := steady
	switch {
	case failures <= len(firstPauses):
		d = firstPauses[max(failures, 1)-1]
	case age >= dense:
		d = age / ageOverPace
	}
	return min(time.Duration(float64(d)*(1-jitter/2+jitter*random)), slowest)
}

// askedFor reads a Retry-After header, seconds or a date by RFC 9110, section 10.2.3. What cannot be read is zero.
func askedFor(h http.Header, now time.Time) time.Duration {
	text := strings.TrimSpace(h.Get("Retry-After"))
	var d time.Duration
	if seconds, err := strconv.ParseUint(text, 10, 31); err == nil {
		d = time.Duration(seconds) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		d = at.Sub(now)
	}
	return min(max(d, 0), longestAskedFor)
}
