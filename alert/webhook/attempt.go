package webhook

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unicode"
)

// Limits of one request.
const (
	timeout     = 15 * time.Second
	longestRead = 64 << 10 // bytes of an answer
)

// Answer is what came back from a webhook.
type Answer struct {
	ID     string // the webhook-id that was sent
	Code   int    // HTTP status
	Body   string // its beginning, printable
	Took   time.Duration
	header http.Header
}

// send makes one request. The error is in words without address or secret, except where ctx itself ended.
func (s *Sender) send(ctx context.Context, t *target, id string, object []byte) (Answer, error) {
	began := s.clock()
	body, headers, err := t.render(object)
	if err != nil {
		return Answer{ID: id}, err
	}
	limited, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	request, err := http.NewRequestWithContext(limited, t.method, t.url.String(), bytes.NewReader(body))
	if err != nil {
		return Answer{ID: id}, fmt.Errorf("method %q cannot be sent", t.method)
	}
	request.Header = headers
	t.seal(request.Header, id, began, body)
	response, err := s.client.Do(request)
	if err != nil {
		return Answer{ID: id}, inWords(ctx, err)
	}
	defer func() { _ = response.Body.Close() }()
	// The status is the answer. A body that breaks off takes nothing back.
	text, _ := io.ReadAll(io.LimitReader(response.Body, longestRead))
	return Answer{
		ID: id, Code: response.StatusCode, Body: printable(text), Took: s.clock().Sub(began), header: response.Header,
	}, nil
}

// seal sets the headers of the Standard Webhooks specification. The id stays over all tries, the time is that of this
// one, so that a receiver's tolerance for old requests holds.
func (t *target) seal(h http.Header, id string, at time.Time, body []byte) {
	h.Set("webhook-id", id)
	h.Set("webhook-timestamp", strconv.FormatInt(at.Unix(), 10))
	if t.key != nil {
		h.Set("webhook-signature", sign(t.key, id, at, body))
	}
}

// outcome judges an answer to the try that follows so many failures.
func (s *Sender) outcome(m Message, a Answer, err error, now time.Time) Attempt {
	out := Attempt{At: now, Result: Retry}
	switch {
	case err != nil:
		out.Problem = err.Error()
	case a.Code >= 200 && a.Code < 300:
		return Attempt{At: now, Result: Delivered}
	case a.Code == http.StatusGone:
		return Attempt{At: now, Result: Dead, Problem: status(a.Code) + ": the webhook wants no more messages"}
	case a.Code >= 300 && a.Code < 400:
		out.Problem = status(a.Code) + ": redirects are not followed, give the final address"
	default:
		out.Problem = status(a.Code)
	}
	wait := max(s.pause(m.Attempts+1, now.Sub(m.Created), s.random()), askedFor(a.header, now))
	out.Next = now.Add(wait)
	return out
}

// status words an HTTP status.
func status(code int) string {
	return strings.TrimSpace(fmt.Sprintf("answered %d %s", code, http.StatusText(code)))
}

// inWords says why a request failed. The library's own errors show the address, so none of their text is used. When
// the caller's context has ended, the error is that of the context.
func inWords(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var (
		dns         *net.DNSError
		certificate *tls.CertificateVerificationError
		network     net.Error
	)
	switch {
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("no answer within %s", timeout)
	case errors.As(err, &dns):
		return errors.New("the host's name cannot be looked up")
	case errors.As(err, &certificate):
		return errors.New("the host's certificate is not trusted")
	case errors.Is(err, http.ErrSchemeMismatch):
		return errors.New("the host does not speak TLS there: http instead of https?")
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("the connection was refused")
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, syscall.ECONNRESET):
		return errors.New("the connection was closed before an answer")
	}
	return errors.New("the host cannot be reached")
}

// printable keeps what a terminal may show.
func printable(text []byte) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || unicode.IsPrint(r) {
			return r
		}
		return '.'
	}, strings.ToValidUTF8(string(text), "."))
}
