package webhook

import (
	"crypto/x509"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// try sends the test message to a webhook by its own transport.
func try(t *testing.T, w Webhook) (Answer, error) {
	t.Helper()
	w.Name = "phone"
	s, err := New(Options{Webhooks: []Webhook{w}})
	require.NoError(t, err)
	return s.TryOnce(t.Context(), "phone")
}

func TestOwnCertificates(t *testing.T) {
	server := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	server.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	t.Cleanup(server.Close)
	trusted := x509.NewCertPool()
	trusted.AddCert(server.Certificate())

	_, err := try(t, Webhook{URL: Secret(server.URL)})
	require.EqualError(t, err, "webhook phone: the host's certificate is not trusted")
	answer, err := try(t, Webhook{URL: Secret(server.URL), CAs: trusted})
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, answer.Code)
	_, err = try(t, Webhook{URL: Secret(server.URL), CAs: x509.NewCertPool()})
	require.EqualError(t, err, "webhook phone: the host's certificate is not trusted")
}

func TestOwnProxy(t *testing.T) {
	var asked []string
	proxy := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.String())
		w.WriteHeader(http.StatusAccepted)
	}))
	t.Cleanup(proxy.Close)
	address, err := url.Parse(proxy.URL)
	require.NoError(t, err)
	answer, err := try(t, Webhook{URL: "http://push.invalid/knock", Proxy: address})
	require.NoError(t, err)
	assert.Equal(t, http.StatusAccepted, answer.Code)
	assert.Equal(t, []string{"http://push.invalid/knock"}, asked)
	proxy.Close()
	_, err = try(t, Webhook{URL: "http://push.invalid/knock", Proxy: address})
	require.EqualError(t, err, "webhook phone: the proxy cannot be reached")
}

func TestOwnTimeout(t *testing.T) {
	release := make(chan struct{})
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-release }))
	t.Cleanup(func() {
		close(release)
		server.Close()
	})
	_, err := try(t, Webhook{URL: Secret(server.URL), Timeout: 50 * time.Millisecond})
	require.EqualError(t, err, "webhook phone: no answer within 50ms")
}

func TestAnEchoOfTheSecretsIsMasked(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		_, _ = io.WriteString(w, r.Header.Get("X-Key")+" "+string(body)+" http://"+r.Host+r.URL.String())
	}))
	t.Cleanup(server.Close)
	answer, err := try(t, Webhook{
		URL: Secret(server.URL + "/t0ken"), Secret: testSecret, Headers: map[string]string{"X-Key": `{{secret "key"}}`},
		Body: testSecret, Secrets: map[string]Secret{"key": "h1dden\n"},
	})
	require.NoError(t, err)
	assert.Equal(t, "(hidden) (hidden) (hidden)", answer.Body)
}

func TestPing(t *testing.T) {
	var asked []string
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.Method+" "+r.URL.Path)
		if strings.HasSuffix(r.URL.Path, "gone") {
			w.WriteHeader(http.StatusGone)
		}
	}))
	t.Cleanup(server.Close)
	require.NoError(t, Ping(t.Context(), Webhook{URL: Secret(server.URL + "/beat\n")}))
	require.EqualError(t, Ping(t.Context(), Webhook{URL: Secret(server.URL + "/gone")}), "answered 410 Gone")
	assert.Equal(t, []string{"GET /beat", "GET /gone"}, asked)
	server.Close()
	require.EqualError(t, Ping(t.Context(), Webhook{URL: Secret(server.URL)}), "the connection was refused")
	err := Ping(t.Context(), Webhook{URL: "https://push.example:to%ken"})
	require.Error(t, err)
	assert.NotContains(t, err.Error(), "push.example")
}
