package webhook

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// longestRead is how many bytes of an answer are read.
const longestRead = 64 << 10

// Answer is what came back from a webhook.
type Answer struct {
	ID     string // the webhook-id that was sent
	Code   int    // HTTP status
	Body   string // its beginning, printable, with the webhook's own secrets masked
	Took   time.Duration
	header http.Header
}

// send makes one request. The error is in words without address or secret, except where ctx itself ended.
func (s *Sender) send(ctx context.Context, t *target, id string, object []byte) (Answer, error) {
	began := s.clock()
	out, err := t.render(object)
	if err != nil {
		return Answer{ID: id}, err
	}
	limited, cancel := context.WithTimeout(ctx, t.timeout)
	defer cancel()
	request, err := http.NewRequestWithContext(limited, out.method, out.url, bytes.NewReader(out.body))
	if err != nil {
		return Answer{ID: id}, fmt.Errorf("method %q cannot be sent", out.method)
	}
	request.Header = out.header
	t.seal(request.Header, id, began, out.body)
	response, err := t.client.Do(request)
	if err != nil {
		return Answer{ID: id}, inWords(ctx, err, t.timeout)
	}
	defer func() { _ = response.Body.Close() }()
	// The status is the answer. A body that breaks off takes nothing back.
	text, _ := io.ReadAll(io.LimitReader(response.Body, longestRead))
	return Answer{
		ID: id, Code: response.StatusCode, Body: t.masked(printable(text)), Took: s.clock().Sub(began), header: response.Header,
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

// printable keeps what a terminal may show.
func printable(text []byte) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || unicode.IsPrint(r) {
			return r
		}
		return '.'
	}, strings.ToValidUTF8(string(text), "."))
}

// masked hides the webhook's own secrets, which a receiver may send back.
func (t *target) masked(text string) string {
	for _, s := range t.secrets {
		if s = strings.TrimSpace(s); s != "" {
			text = strings.ReplaceAll(text, s, mask)
		}
	}
	return text
}
