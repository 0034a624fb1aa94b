package page

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// A browser that showed the token once carries a cookie that says until when it is signed in, sealed with the token. So
// nothing is kept here, a restart signs nobody out, and a new token signs everybody out. SameSite=Strict keeps it from
// going out with other sites' requests; pages are read without it, so a link from a messenger still opens.
const (
	sessionCookie = "spile-session"
	sessionLife   = 30 * 24 * time.Hour
	tokenField    = "token"
)

// session makes the cookie of a browser that has shown the token.
func (g *guard) session(r *http.Request, now time.Time) *http.Cookie {
	until := now.Add(sessionLife)
	stamp := strconv.FormatInt(until.Unix(), 10)
	return &http.Cookie{
		Name:     sessionCookie,
		Value:    stamp + "." + g.seal(stamp),
		Path:     "/",
		Expires:  until,
		HttpOnly: true,
		Secure:   g.secure(r),
		SameSite: http.SameSiteStrictMode,
	}
}

// secure tells whether the browser came over TLS, here or at the proxy that the public address names.
func (g *guard) secure(r *http.Request) bool {
	if r.TLS != nil {
		return true
	}
	return g.public != nil && g.public.Scheme == "https" && strings.EqualFold(r.Host, g.public.Host)
}

// seal is what only who knows the token can put beside a time.
func (g *guard) seal(stamp string) string {
	mac := hmac.New(sha256.New, []byte(g.token))
	mac.Write([]byte("spile session until " + stamp))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// signedIn tells whether a request carries a good cookie.
func (g *guard) signedIn(r *http.Request, now time.Time) bool {
	cookie, err := r.Cookie(sessionCookie)
	if err != nil || g.token == "" {
		return false
	}
	stamp, seal, _ := strings.Cut(cookie.Value, ".")
	if !hmac.Equal([]byte(seal), []byte(g.seal(stamp))) {
		return false
	}
	until, err := strconv.ParseInt(stamp, 10, 64)
	return err == nil && now.Unix() < until
}
