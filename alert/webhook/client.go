package webhook

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"syscall"
	"time"
)

// newClient makes the HTTP client of a webhook. A transport that is given takes the place of its own.
func newClient(w Webhook, transport http.RoundTripper) *http.Client {
	if transport == nil {
		transport = newTransport(w)
	}
	return &http.Client{
		Transport:     transport,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// newTransport heeds the webhook's proxy and certificates, or else those of the environment and the system.
func newTransport(w Webhook) http.RoundTripper {
	own := &http.Transport{
		Proxy:               http.ProxyFromEnvironment,
		DialContext:         (&net.Dialer{Timeout: defaultTimeout}).DialContext,
		TLSHandshakeTimeout: defaultTimeout,
		IdleConnTimeout:     time.Minute,
		ForceAttemptHTTP2:   true,
	}
	if w.Proxy != nil {
		own.Proxy = http.ProxyURL(w.Proxy)
	}
	if w.CAs != nil {
		own.TLSClientConfig = &tls.Config{RootCAs: w.CAs, MinVersion: tls.VersionTLS12}
	}
	return own
}

// Ping calls the address of a webhook once, with GET and nothing else, as a watchdog that waits for it wants. The error
// is in words without the address, except where ctx itself ended.
func Ping(ctx context.Context, w Webhook) error {
	client := newClient(w, nil)
	defer client.CloseIdleConnections()
	limited, cancel := context.WithTimeout(ctx, max(w.Timeout, time.Second))
	defer cancel()
	request, err := http.NewRequestWithContext(limited, http.MethodGet, strings.TrimSpace(string(w.URL)), http.NoBody)
	if err != nil {
		return errAddress
	}
	request.Header.Set("User-Agent", "spile")
	response, err := client.Do(request)
	if err != nil {
		return inWords(ctx, err, w.Timeout)
	}
	defer func() { _ = response.Body.Close() }()
	if response.StatusCode < 200 || response.StatusCode > 299 {
		return errors.New(status(response.StatusCode))
	}
	return nil
}

// status words an HTTP status.
func status(code int) string {
	return strings.TrimSpace(fmt.Sprintf("answered %d %s", code, http.StatusText(code)))
}

// inWords says why a request failed. The library's own errors show the address, so none of their text is used. When
// the caller's context has ended, the error is that of the context.
func inWords(ctx context.Context, err error, timeout time.Duration) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	var (
		dns         *net.DNSError
		certificate *tls.CertificateVerificationError
		network     net.Error
		operation   *net.OpError
	)
	switch {
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return fmt.Errorf("no answer within %s", timeout)
	case errors.As(err, &operation) && operation.Op == "proxyconnect":
		return errors.New("the proxy cannot be reached")
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
