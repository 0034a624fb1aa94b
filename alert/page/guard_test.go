package page

import (
	"crypto/tls"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func parseURL(t testing.TB, text string) *url.URL {
	t.Helper()
	u, err := url.Parse(text)
	require.NoError(t, err)
	return u
}

func peer(address string) func(*http.Request) {
	return func(r *http.Request) { r.RemoteAddr = address }
}
func host(name string) func(*http.Request) { return func(r *http.Request) { r.Host = name } }

type change = func(*http.Request)

// Who may write over the API, and who may not. A refused write leaves no trace in the records.
func TestWhoMayWrite(t *testing.T) {
	const secret = "correct horse"
	lan := peer("192.168.1.20:50000")
	tests := []struct {
		name          string
		token, public string
		change        []change
		status        int
	}{
		{"this machine", "", "", nil, 200},
		{"this machine by name", "", "", []change{host("localhost:8420")}, 200},
		{"this machine by name, without a port", "", "", []change{host("LocalHost")}, 200},
		{"this machine over IPv6", "", "", []change{peer("[::1]:50000"), host("[::1]:8420")}, 200},
		{"this machine over IPv6, without a port", "", "", []change{peer("[::1]:50000"), host("[::1]")}, 200},
		{"this machine, IPv4 in IPv6", "", "", []change{peer("[::ffff:127.0.0.1]:50000")}, 200},
		{"another machine", "", "", []change{lan}, 403},
		{"another machine that names this one", "", "", []change{lan, host("127.0.0.1:8420")}, 403},
		{"a peer that cannot be read", "", "", []change{peer("@")}, 403},
		{"a name that was pointed here", "", "", []change{host("evil.example:8420")}, 403},
		{"a name that looks like this machine", "", "", []change{host("localhost.evil.example")}, 403},
		{"no host", "", "", []change{host("")}, 403},
		{"through a proxy", "", "", []change{header("X-Forwarded-For", "203.0.113.9")}, 403},
		{"through a proxy of the standard's manner", "", "", []change{header("Forwarded", "for=203.0.113.9")}, 403},
		{"public without a token, from this machine", "", "https://cellar.example/", nil, 403},
		{"token asked, none sent, from this machine", secret, "", nil, 401},
		{"token asked, none sent, from another", secret, "", []change{lan}, 401},
		{"right token", secret, "", []change{lan, header("Authorization", "Bearer "+secret)}, 200},
		{"right token, other case and space", secret, "", []change{lan, header("Authorization", "bearer   "+secret+" ")}, 200},
		{"right token through a proxy", secret, "https://cellar.example/", []change{header("X-Forwarded-For", "203.0.113.9"), host("cellar.example"), header("Authorization", "Bearer "+secret)}, 200},
		{"wrong token", secret, "", []change{header("Authorization", "Bearer wrong")}, 401},
		{"beginning of the token", secret, "", []change{header("Authorization", "Bearer correct")}, 401},
		{"empty token", secret, "", []change{header("Authorization", "Bearer ")}, 401},
		{"token in another scheme", secret, "", []change{header("Authorization", "Basic "+secret)}, 401},
		{"token in the query", secret, "", []change{func(r *http.Request) { r.URL.RawQuery = "token=" + url.QueryEscape(secret) }}, 401},
		{"a token where none is configured", "", "", []change{lan, header("Authorization", "Bearer ")}, 403},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, kept := serve(t, func(o *Options) {
				o.Token = test.token
				if test.public != "" {
					o.Public = parseURL(t, test.public)
				}
			})
			for _, target := range []string{"/api/v1/alarms/creep/acknowledge", "/api/v1/alarms/creep/shelve", "/api/v1/alarms/mute/unshelve", "/api/v1/tanks/FV3/log"} {
				acts, events := len(kept.acts), len(kept.events)
				body := map[string]string{"/api/v1/alarms/creep/shelve": `{"for":"5m","why":"x"}`, "/api/v1/tanks/FV3/log": `{"event":"seal"}`}[target]
				got := ask(s, "POST", target, body, test.change...)
				if test.status == 200 {
					assert.Less(t, got.Code, 300, target)
					continue
				}
				assert.Equal(t, test.status, got.Code, target)
				assert.NotEmpty(t, object(t, got.Body.String())["error"])
				assert.Len(t, kept.acts, acts, "nothing was done")
				assert.Len(t, kept.events, events, "nothing was kept")
				if test.status == 401 {
					assert.Contains(t, got.Header().Get("WWW-Authenticate"), "Bearer")
				}
			}
		})
	}
}

// Anybody may read, whatever is configured.
func TestReadsAreOpen(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token, o.Public = "secret", parseURL(t, "https://cellar.example/") })
	for _, target := range []string{"/", "/tanks/FV3", "/alarms", "/alarms/creep", "/api/v1/tanks", "/api/v1/readings", "/api/v1/alarms"} {
		assert.Equal(t, 200, ask(s, "GET", target, "", peer("203.0.113.9:1"), host("cellar.example")).Code, target)
	}
}

// What a browser sends for another site is refused on both roads, signed in or not.
func TestOtherSitesCannotWrite(t *testing.T) {
	tests := []struct {
		name    string
		headers map[string]string
		pass    bool
	}{
		{"own page", map[string]string{"Sec-Fetch-Site": "same-origin", "Origin": "http://127.0.0.1:8420"}, true},
		{"typed by the user", map[string]string{"Sec-Fetch-Site": "none", "Origin": ""}, true},
		{"own page in a browser without Sec-Fetch-Site", map[string]string{"Sec-Fetch-Site": "", "Origin": "http://127.0.0.1:8420"}, true},
		{"a program", map[string]string{"Sec-Fetch-Site": "", "Origin": ""}, true},
		{"another site", map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://evil.example"}, false},
		{"another port of this machine", map[string]string{"Sec-Fetch-Site": "same-site", "Origin": "http://127.0.0.1:9999"}, false},
		{"another site without Sec-Fetch-Site", map[string]string{"Sec-Fetch-Site": "", "Origin": "https://evil.example"}, false},
		{"another port without Sec-Fetch-Site", map[string]string{"Sec-Fetch-Site": "", "Origin": "http://127.0.0.1:9999"}, false},
		{"a sandboxed frame", map[string]string{"Sec-Fetch-Site": "", "Origin": "null"}, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var changes []change
			for name, v := range test.headers {
				changes = append(changes, header(name, v))
			}
			open, kept := serve(t, nil)
			locked, lockedKept := serve(t, func(o *Options) { o.Token = "secret" })
			signedIn := append(changes, func(r *http.Request) { r.AddCookie(locked.guard.session(r, now)) })
			answers := []int{
				submit(open, "/alarms/creep/acknowledge", nil, changes...).Code,
				submit(locked, "/alarms/creep/acknowledge", nil, signedIn...).Code,
				submit(locked, "/alarms/over/acknowledge", url.Values{"token": {"secret"}}, changes...).Code,
			}
			if test.pass {
				assert.Equal(t, []int{303, 303, 303}, answers)
				return
			}
			assert.Equal(t, []int{403, 403, 403}, answers)
			assert.Empty(t, kept.acts)
			assert.Empty(t, lockedKept.acts)
			api := append([]change{header("Content-Type", "application/json")}, changes...)
			assert.Equal(t, 403, ask(open, "POST", "/api/v1/alarms/creep/acknowledge", "", api...).Code)
		})
	}
}

// Behind a proxy that puts its own name into Host, the page's forms still come from the public address.
func TestThePublicAddressIsOwn(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token, o.Public = "secret", parseURL(t, "https://cellar.example/") })
	got := submit(s, "/alarms/creep/acknowledge", url.Values{"token": {"secret"}},
		header("Sec-Fetch-Site", ""), header("Origin", "https://cellar.example"), host("127.0.0.1:8420"))
	assert.Equal(t, http.StatusSeeOther, got.Code)
}

func TestSessionCookie(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token, o.Public = "secret", parseURL(t, "https://cellar.example/") })
	got := submit(s, "/sign-in", url.Values{"token": {"secret"}}, host("cellar.example"), header("Origin", "https://cellar.example"))
	require.Equal(t, http.StatusSeeOther, got.Code)
	cookies := got.Result().Cookies()
	require.Len(t, cookies, 1)
	c := cookies[0]
	assert.True(t, c.HttpOnly)
	assert.True(t, c.Secure)
	assert.Equal(t, http.SameSiteStrictMode, c.SameSite)
	assert.Equal(t, "/", c.Path)
	assert.NotContains(t, c.Value, "secret")

	plain, _ := serve(t, func(o *Options) { o.Token = "secret" })
	lan := submit(plain, "/sign-in", url.Values{"token": {"secret"}}).Result().Cookies()[0]
	assert.False(t, lan.Secure, "a browser would drop it on plain HTTP")
	withTLS := submit(plain, "/sign-in", url.Values{"token": {"secret"}}, func(r *http.Request) { r.TLS = &tls.ConnectionState{} })
	assert.True(t, withTLS.Result().Cookies()[0].Secure)
}

func TestWhichCookiesAreGood(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token = "secret" })
	other, _ := serve(t, func(o *Options) { o.Token = "changed" })
	r, err := http.NewRequest(http.MethodGet, "/", nil)
	require.NoError(t, err)
	good := s.guard.session(r, now).Value
	stamp, seal := good[:10], good[10:]
	tests := []struct {
		name, value string
		at          time.Time
		good        bool
	}{
		{"fresh", good, now, true},
		{"on its last day", good, now.Add(sessionLife - time.Second), true},
		{"run out", good, now.Add(sessionLife), false},
		{"moved on", "9999999999" + seal, now, false},
		{"unsealed", stamp, now, false},
		{"empty seal", stamp + ".", now, false},
		{"empty", "", now, false},
		{"of another token", other.guard.session(r, now).Value, now, false},
		{"no number", "x." + s.guard.seal("x"), now, false},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r, err := http.NewRequest(http.MethodGet, "/", nil)
			require.NoError(t, err)
			r.AddCookie(&http.Cookie{Name: sessionCookie, Value: test.value})
			assert.Equal(t, test.good, s.guard.signedIn(r, test.at))
		})
	}
	open, _ := serve(t, nil)
	r.AddCookie(open.guard.session(r, now))
	assert.False(t, open.guard.signedIn(r, now), "without a token a cookie means nothing: its seal could be made by anybody")
}

func TestSignOutForgetsTheCookie(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token = "secret" })
	got := submit(s, "/sign-out", nil, func(r *http.Request) { r.AddCookie(s.guard.session(r, now)) })
	require.Len(t, got.Result().Cookies(), 1)
	assert.Negative(t, got.Result().Cookies()[0].MaxAge)
}

func TestHeadersKeepAPageToItself(t *testing.T) {
	s, _ := serve(t, nil)
	for _, target := range []string{"/", "/api/v1/tanks", "/nowhere", "/alarms/none"} {
		h := ask(s, "GET", target, "").Header()
		assert.Contains(t, h.Get("Content-Security-Policy"), "default-src 'none'")
		assert.Contains(t, h.Get("Content-Security-Policy"), "frame-ancestors 'none'")
		assert.NotContains(t, h.Get("Content-Security-Policy"), "unsafe")
		assert.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
		assert.Equal(t, "same-origin", h.Get("Referrer-Policy"))
		assert.Equal(t, "no-store", h.Get("Cache-Control"))
		assert.Empty(t, h.Get("Access-Control-Allow-Origin"))
	}
}

func TestNewRefusesWhatCannotWork(t *testing.T) {
	kept, view := cellar()
	o := options(kept, view)
	o.Public = parseURL(t, "https://brewery.example/cellar/")
	_, err := New(o)
	require.ErrorContains(t, err, "leave out the path")
	o.Public = parseURL(t, "cellar.example")
	_, err = New(o)
	require.ErrorContains(t, err, "cellar.example")
	o = options(kept, view)
	o.Records = nil
	_, err = New(o)
	require.ErrorContains(t, err, "must be given")
}
