package page

import (
	"errors"
	"fmt"
	"net/http"

	"spile/alert"
)

// problem is a request that cannot be answered as asked: the status to answer with and words that name the mend.
type problem struct {
	status int
	text   string
}

func (p *problem) Error() string { return p.text }

// bad is a request that is wrong in itself.
func bad(format string, args ...any) error {
	return &problem{http.StatusBadRequest, fmt.Sprintf(format, args...)}
}

// missing is a request for something that is not there.
func missing(format string, args ...any) error {
	return &problem{http.StatusNotFound, fmt.Sprintf(format, args...)}
}

// forbidden is a write from somebody who may not write.
func forbidden(format string, args ...any) error {
	return &problem{http.StatusForbidden, fmt.Sprintf(format, args...)}
}

// asProblem turns any error into what the client may know of it. What is not the client's doing is told in general
// words only, and known is false: the log has the rest.
func asProblem(err error) (p *problem, known bool) {
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &p):
		return p, true
	case errors.Is(err, alert.ErrUnknownIncident):
		return &problem{http.StatusNotFound, err.Error()}, true
	case errors.Is(err, alert.ErrNotNow), errors.Is(err, ErrLogConflict):
		return &problem{http.StatusConflict, err.Error()}, true
	case errors.Is(err, alert.ErrShelving):
		return &problem{http.StatusBadRequest, err.Error()}, true
	case errors.As(err, &tooLarge):
		text := fmt.Sprintf("the body is larger than the %d bytes that are taken", tooLarge.Limit)
		return &problem{http.StatusRequestEntityTooLarge, text}, true
	}
	return &problem{http.StatusInternalServerError, "spile could not do this just now; its own log says why"}, false
}
