package page

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
)

// public makes a server that people reach from outside, and its link for an alarm. The clock can be moved on.
func public(t *testing.T) (s *Server, kept *records, link *url.URL, later *time.Duration) {
	t.Helper()
	later = new(time.Duration)
	s, kept = serve(t, func(o *Options) {
		o.Token, o.Public = "secret", parseURL(t, "https://cellar.example/")
		o.Links = alert.NewLinks(o.Public, o.Token)
		o.Clock = func() time.Time { return now.Add(*later) }
	})
	return s, kept, parseURL(t, s.Links.Acknowledge("creep", now)), later
}

// fromPhone is a browser on a phone that opened the public address.
func fromPhone(r *http.Request) {
	r.Host, r.RemoteAddr = "cellar.example", "203.0.113.9:5"
	if r.Method == http.MethodPost {
		r.Header.Set("Origin", "https://cellar.example")
	}
}

// pressed sends the form behind a page's button as a browser would.
func pressed(t *testing.T, s *Server, page string) int {
	t.Helper()
	action, form := "", url.Values{}
	for _, n := range nodes(t, page) {
		switch {
		case n.Data == "form" && action == "":
			action = attribute(n, "action")
		case n.Data == "input" && attribute(n, "type") == "hidden":
			form.Set(attribute(n, "name"), attribute(n, "value"))
		}
	}
	require.NotEmpty(t, action)
	return submit(s, action, form, fromPhone).Code
}

func TestOneTapFromAMessageAcknowledges(t *testing.T) {
	s, kept, link, _ := public(t)
	opened := ask(s, http.MethodGet, link.RequestURI(), "", fromPhone)
	require.Equal(t, http.StatusOK, opened.Code)
	assert.Contains(t, said(t, opened.Body.String()), "It changes nothing in the tank.")
	assert.Equal(t, http.StatusSeeOther, pressed(t, s, opened.Body.String()))
	assert.Equal(t, []string{"acknowledge|creep|link|"}, kept.acts)
}

// A messenger that shows a preview, a scanner for malware, a browser that loads ahead: none of them acknowledges.
func TestWhoFetchesALinkBeforePeopleDoAcknowledgesNothing(t *testing.T) {
	s, kept, link, _ := public(t)
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		for _, target := range []string{link.RequestURI(), link.Path + "/acknowledge?" + link.RawQuery, link.Path + "/acknowledge"} {
			for range 3 {
				got := ask(s, method, target, "", fromPhone, header("Purpose", "prefetch"), header("User-Agent", "linkpreview"))
				assert.Less(t, got.Code, 400)
			}
		}
	}
	assert.Empty(t, kept.acts)
	assert.Equal(t, alert.Unacknowledged, kept.alarms[2].State)
}

func TestAPassOpensNothingElse(t *testing.T) {
	s, kept, link, later := public(t)
	pass := url.Values{passField: {link.Query().Get(passField)}}
	with := func(name, value string) url.Values {
		v := url.Values{name: {value}}
		v.Set(passField, pass.Get(passField))
		return v
	}
	elsewhere := func(r *http.Request) {
		r.Header.Set("Origin", "https://evil.example")
		r.Header.Set("Sec-Fetch-Site", "cross-site")
	}
	for _, row := range []struct {
		name, target string
		form         url.Values
		change       change
		status       int
	}{
		{"another alarm", "/alarms/over/acknowledge", pass, fromPhone, 401},
		{"a shelving", "/alarms/creep/shelve", with("for", "30m"), fromPhone, 401},
		{"an end of a shelving", "/alarms/creep/unshelve", pass, fromPhone, 401},
		{"the log", "/tanks/FV3/log", with("event", "seal"), fromPhone, 401},
		{"signing in", "/sign-in", pass, fromPhone, 401},
		{"a pass in the query alone", "/alarms/creep/acknowledge?" + pass.Encode(), nil, fromPhone, 401},
		{"no pass", "/alarms/creep/acknowledge", nil, fromPhone, 401},
		{"another site's form", "/alarms/creep/acknowledge", pass, elsewhere, 403},
	} {
		got := submit(s, row.target, row.form, fromPhone, row.change)
		assert.Equal(t, row.status, got.Code, row.name)
		assert.Empty(t, got.Result().Cookies(), "a pass signs nobody in")
	}
	api := ask(s, http.MethodPost, "/api/v1/alarms/creep/acknowledge", `{"pass":"`+pass.Get(passField)+`"}`, fromPhone)
	assert.Equal(t, http.StatusUnauthorized, api.Code)
	*later = 73 * time.Hour
	assert.Equal(t, http.StatusUnauthorized, submit(s, "/alarms/creep/acknowledge", pass, fromPhone).Code, "run out")
	assert.Empty(t, kept.acts)
}

func TestALinkThatHasRunOutSaysSoAndAsksForTheToken(t *testing.T) {
	s, kept, link, later := public(t)
	*later = 73 * time.Hour
	opened := ask(s, http.MethodGet, link.RequestURI(), "", fromPhone)
	assert.Contains(t, said(t, opened.Body.String()), "The link in the message has run out")
	assert.NotContains(t, opened.Body.String(), link.Query().Get(passField))
	assert.Equal(t, http.StatusUnauthorized, pressed(t, s, opened.Body.String()))
	signed := submit(s, "/alarms/creep/acknowledge", url.Values{"token": {"secret"}}, fromPhone)
	assert.Equal(t, http.StatusSeeOther, signed.Code)
	assert.Equal(t, []string{"acknowledge|creep|page|"}, kept.acts)
}

func TestAPassForWhatIsOverShowsTheAlarm(t *testing.T) {
	s, kept, _, _ := public(t)
	link := parseURL(t, s.Links.Acknowledge("past", now))
	assert.Equal(t, http.StatusOK, ask(s, http.MethodGet, link.RequestURI(), "", fromPhone).Code)
	got := submit(s, "/alarms/past/acknowledge", link.Query(), fromPhone)
	assert.Equal(t, http.StatusConflict, got.Code)
	assert.Contains(t, said(t, got.Body.String()), "it is over")
	assert.Empty(t, kept.acts)
	gone := ask(s, http.MethodGet, parseURL(t, s.Links.Acknowledge("nowhere", now)).RequestURI(), "", fromPhone)
	assert.Equal(t, http.StatusNotFound, gone.Code)
}
