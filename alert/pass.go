package alert

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// passLife is how long the link in a message acknowledges: a message of Friday night still serves on Monday (our choice).
const passLife = 72 * time.Hour

// passSize is the length of a seal in bytes: 128 bits, beyond any guessing.
const passSize = 16

// Links make the link by which a person acknowledges from a message, and know their own again. A link opens a page, and
// the button there acknowledges: whoever fetches links before people do, as messengers do, changes nothing.
//
// A link holds a pass that is bound to one incident, runs out, and is sealed with the cellar's token, so nothing is
// kept: it outlives a restart, and a new token ends every link there is. Nil makes no links and knows none.
type Links struct {
	public *url.URL
	key    []byte
}

// NewLinks makes links on the address where people reach the pages from outside. It gives nil where that address or
// the token is missing: one that points at the cellar's own machine cannot be opened from bed, and one without a seal
// could be made by anybody.
func NewLinks(public *url.URL, token string) *Links {
	if public == nil || strings.TrimSpace(token) == "" {
		return nil
	}
	return &Links{public: public, key: []byte(strings.TrimSpace(token))}
}

// Acknowledge is the link for an incident in a message of that moment; empty where there are none.
func (l *Links) Acknowledge(incident string, at time.Time) string {
	if l == nil {
		return ""
	}
	link := l.public.JoinPath("alarms", incident)
	link.RawQuery = url.Values{"pass": {l.pass(incident, at.Add(passLife))}}.Encode()
	return link.String()
}

// Picture is where a tank's curves are drawn as they were at a moment; empty where there are no links, or it is about no
// tank. Whoever reaches the pages sees it: reading needs no pass.
func (l *Links) Picture(tank string, at time.Time) string {
	if l == nil || tank == "" {
		return ""
	}
	link := l.public.JoinPath("tanks", tank, "curves.png")
	link.RawQuery = url.Values{"range": {"night"}, "until": {at.UTC().Format(time.RFC3339)}}.Encode()
	return link.String()
}

// Good tells whether a pass is one of these links' own, for this incident, and has not run out.
func (l *Links) Good(incident, pass string, now time.Time) bool {
	if l == nil {
		return false
	}
	stamp, _, _ := strings.Cut(pass, ".")
	seconds, err := strconv.ParseInt(stamp, 10, 64)
	if err != nil {
		return false
	}
	until := time.Unix(seconds, 0)
	return hmac.Equal([]byte(pass), []byte(l.pass(incident, until))) && now.Before(until)
}

// pass is the time it runs out, and the seal of that time and the incident.
func (l *Links) pass(incident string, until time.Time) string {
	stamp := strconv.FormatInt(until.Unix(), 10)
	mac := hmac.New(sha256.New, l.key)
	mac.Write([]byte("spile acknowledges " + incident + " until " + stamp))
	return stamp + "." + base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:passSize])
}
