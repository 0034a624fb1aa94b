package page

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/detect/batch"
)

// anyRequest is a way in for whatever bytes a client sends: a cellar that is made anew before each of them.
type anyRequest struct {
	server *Server
	kept   *records
	token  string
}

func newAnyRequest(f *testing.F, token string) *anyRequest {
	a := &anyRequest{token: token}
	a.server, a.kept = serve(f, func(o *Options) {
		discard(o)
		o.Rand, o.Token = rand.Reader, token
		o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("spile_build_info 1\n")) })
		o.Doubt = detect.Settings{BeerLiters: 2000}.Doubt
		o.Before = func(_ context.Context, e detect.Event) []string { return []string{"before " + e.Name} }
		report := func(tank string, at time.Time) (batch.Report, error) {
			return batch.NewRecord(tank, detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}, batch.Limits{}).Report(at), nil
		}
		o.Report = func(_ context.Context, tank string) (batch.Report, error) { return report(tank, now) }
		o.ReportAt = func(_ context.Context, tank string, at time.Time) (batch.Report, error) { return report(tank, at) }
		if token != "" {
			o.Public = &url.URL{Scheme: "https", Host: "cellar.example", Path: "/"}
			o.Links = alert.NewLinks(o.Public, token)
		}
	})
	return a
}

// answers sends a request, as read from a connection of this machine; ok is false where there is none in the bytes.
func (a *anyRequest) answers(raw []byte) (r *http.Request, w *httptest.ResponseRecorder, ok bool) {
	r, err := http.ReadRequest(bufio.NewReader(bytes.NewReader(raw)))
	if err != nil || r.RequestURI == "*" { // the library answers these itself
		return nil, nil, false
	}
	fresh, _ := cellar()
	a.kept.mu.Lock() // somebody may still be reading ahead
	a.kept.alarms, a.kept.events, a.kept.acts = fresh.alarms, fresh.events, nil
	a.kept.mu.Unlock()
	ctx, cancel := context.WithCancel(context.Background())
	if strings.Contains(r.URL.Path, "changes") {
		cancel() // a stream lasts as long as its client
	}
	defer cancel()
	r, w = r.WithContext(ctx), httptest.NewRecorder()
	r.RemoteAddr = "127.0.0.1:50000"
	a.server.ServeHTTP(w, r)
	return r, w, true
}

// wrote tells what a request changed.
func (a *anyRequest) wrote() bool {
	a.kept.mu.Lock()
	defer a.kept.mu.Unlock()
	return len(a.kept.acts) > 0 || len(a.kept.events) != 2
}

// check holds what is promised of every answer.
func (a *anyRequest) check(t *testing.T, r *http.Request, w *httptest.ResponseRecorder) {
	t.Helper()
	body := w.Body.String()
	require.Less(t, w.Code, 500, "%s %s: %s", r.Method, r.URL, body)
	require.NotEmpty(t, w.Header().Get("Content-Security-Policy"))
	require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
	if w.Code >= 400 && r.Method != http.MethodHead {
		if isAPI(r) {
			var refusal struct{ Error string }
			require.NoError(t, json.Unmarshal([]byte(body), &refusal), body)
			body = refusal.Error
		}
		require.Contains(t, strings.TrimSpace(body), " ", "%d without a sentence", w.Code)
	}
	if a.wrote() {
		require.Equal(t, http.MethodPost, r.Method, "a GET changes nothing")
		require.Less(t, w.Code, 400, "what is refused is not done")
	}
}

// Any request at all: no panic, no fault inside, a sentence with every refusal, nothing written but by a POST that was
// admitted; and where a token is set, nothing by who does not have it.
func FuzzRequest(f *testing.F) {
	const from = "Host: 127.0.0.1:8420\r\nSec-Fetch-Site: same-origin\r\nOrigin: http://127.0.0.1:8420\r\n"
	add := func(method, target, kind, body string) {
		head := from
		if kind != "" {
			head += "Content-Type: " + kind + "\r\n"
		}
		f.Add(fmt.Appendf(nil, "%s %s HTTP/1.1\r\n%sContent-Length: %d\r\n\r\n%s", method, target, head, len(body), body))
	}
	open, locked := newAnyRequest(f, ""), newAnyRequest(f, "one-long-random-line")
	fill := strings.NewReplacer("{tank}", "FV3", "{id}", "creep", "{name}", strings.TrimPrefix(open.server.style.Path(), "/static/"), "{$}", "")
	for pattern := range open.server.served {
		add("GET", fill.Replace(pattern), "", "")
	}
	for target, body := range map[string]string{
		"/api/v1/tanks/FV3/log":            `{"event":"dry-hop","mass":"9 kg","time":"2026-03-02T00:40:00Z","by":"Ana"}`,
		"/api/v1/tanks/FV9/log":            `{"event":"crash","setpoint":{"value":58,"unit":"degF"},"id":"e1"}`,
		"/api/v1/alarms/creep/acknowledge": `{"by":"Ines","why":"on my way"}`, "/api/v1/alarms/over/shelve": `{"for":"1h","why":"I stand here"}`,
		"/api/v1/alarms/creep/shelve": `{"until":"2026-03-02T08:00:00+01:00","why":"x"}`, "/api/v1/alarms/mute/unshelve": `{}`,
	} {
		add("POST", target, "application/json", body)
	}
	for target, body := range map[string]string{
		"/tanks/FV3/log": "event=dry-hop&v.mass=9&u.mass=kg&time=2026-03-02T02:00&id=form-1&by=Ana", "/alarms/creep/acknowledge": "by=Ines&pass=1772420000.AAAA",
		"/alarms/creep/shelve": "for=1h&why=sampling&by=Rui", "/alarms/mute/unshelve": "by=Rui", "/sign-in": "token=wrong", "/sign-out": "",
	} {
		add("POST", target, "application/x-www-form-urlencoded", body)
	}
	for _, target := range []string{
		"/tanks/FV3/curves.svg?range=batch&size=wide&scheme=dark&until=0001-01-01T00:00:00Z", "/tanks/FV3/curves.png?range=week",
		"/api/v1/readings?tank=FV3&quantity=gravity&from=2026-03-01T00:00:00Z", "/alarms/creep?pass=9999999999.AAAAAAAAAAAAAAAAAAAAAA",
		"/api/v1/tanks/FV3/report?at=9999-12-31T23:59:59Z", "/tanks/FV3/log?event=vent&lap=2", "/tanks/%2e%2e/log", "//alarms", "/tanks/FV3%00?%zz",
		"/alarms?to=2026-03-02T00:00:00Z", "/api/v1/alarms/figures?from=1970-01-01T00:00:00Z&to=9999-01-01T00:00:00Z", "http://elsewhere/alarms", "/?still",
	} {
		add("GET", target, "", "")
	}
	add("DELETE", "/alarms", "", "")
	add("CONNECT", "127.0.0.1:8420", "", "")
	f.Add([]byte("POST /api/v1/tanks/FV3/log HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer y\r\nCookie: spile-session=9999999999.x\r\nTransfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n"))
	f.Add([]byte("POST /api/v1/tanks/FV3/log HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{")) // broken off
	f.Fuzz(func(t *testing.T, raw []byte) {
		if r, w, ok := open.answers(raw); ok {
			open.check(t, r, w)
		}
		if r, w, ok := locked.answers(raw); ok {
			locked.check(t, r, w)
			require.False(t, locked.wrote(), "without the token")
			require.NotContains(t, w.Body.String(), locked.token)
		}
	})
}
