package page

import (
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
)

// guard decides who may write.
type guard struct {
	token  string
	public *url.URL
	cross  *http.CrossOriginProtection
}

func newGuard(o Options) (*guard, error) {
	g := &guard{token: o.Token, public: o.Public, cross: http.NewCrossOriginProtection()}
	if g.public == nil {
		return g, nil
	}
	// A proxy may hand on its own Host header; the page's own forms still come from the public address.
	if err := g.cross.AddTrustedOrigin(g.public.Scheme + "://" + g.public.Host); err != nil {
		return nil, fmt.Errorf("http.public %s: %w", g.public, err)
	}
	return g, nil
}

// admit lets a write pass or says why not. For a page it reads the form, which may carry the token: then the browser is
// signed in with the same step.
func (s *Server) admit(w http.ResponseWriter, r *http.Request) error {
	if !isAPI(r) {
		if err := readForm(r); err != nil {
			return err
		}
	}
	if s.guard.token == "" {
		return s.guard.local(r)
	}
	if sent, ok := bearer(r); ok {
		return s.byToken(r, sent)
	}
	if err := s.guard.sameSite(r); err != nil {
		return err
	}
	if s.guard.signedIn(r, s.Clock()) || s.hasPass(r) {
		return nil
	}
	if sent := r.PostForm.Get(tokenField); sent != "" {
		if err := s.byToken(r, sent); err != nil {
			return err
		}
		http.SetCookie(w, s.guard.session(r, s.Clock()))
		return nil
	}
	return &problem{http.StatusUnauthorized, "this needs the token: send it as Authorization: Bearer TOKEN"}
}

// byToken admits who has the right token and notes who had a wrong one.
func (s *Server) byToken(r *http.Request, sent string) error {
	if s.guard.isToken(sent) {
		return nil
	}
	s.Log.Warn("wrong token", "peer", r.RemoteAddr, "path", r.URL.Path)
	return &problem{http.StatusUnauthorized, "that is not the token of this cellar"}
}

// isToken compares in a time that tells nothing of the token, its length included.
func (g *guard) isToken(sent string) bool {
	a, b := sha256.Sum256([]byte(sent)), sha256.Sum256([]byte(g.token))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}

// local admits writes from this machine where no token is set.
func (g *guard) local(r *http.Request) error {
	if g.public != nil {
		return forbidden("writes need a token where http.public is set: give http.token_file in the configuration")
	}
	if !loopbackPeer(r.RemoteAddr) {
		return forbidden("without a token, writes are taken from this machine only: give http.token_file in the configuration")
	}
	if header, ok := proxied(r.Header); ok {
		return forbidden("this came through a proxy (%s), so nobody can tell who sent it: give http.token_file in the configuration", header)
	}
	if !loopbackHost(r.Host) {
		return forbidden("without a token, writes must name this machine (localhost, 127.0.0.1), not %q", r.Host)
	}
	return g.sameSite(r)
}

// sameSite refuses what a browser sends on behalf of another site. Programs send neither of the headers looked at.
func (g *guard) sameSite(r *http.Request) error {
	if err := g.cross.Check(r); err != nil {
		return forbidden("another site sent this through your browser: open spile's own page and do it there")
	}
	return nil
}

// bearer returns the token of the Authorization header.
func bearer(r *http.Request) (string, bool) {
	scheme, token, _ := strings.Cut(strings.TrimSpace(r.Header.Get("Authorization")), " ")
	return strings.TrimSpace(token), strings.EqualFold(scheme, "Bearer")
}

// proxied finds a header that only a proxy adds.
func proxied(h http.Header) (string, bool) {
	for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Via"} {
		if h.Get(name) != "" {
			return name, true
		}
	}
	return "", false
}

// loopbackPeer tells whether a connection comes from this machine.
func loopbackPeer(remote string) bool {
	peer, err := netip.ParseAddrPort(remote)
	return err == nil && peer.Addr().Unmap().IsLoopback()
}

// loopbackHost tells whether a Host header names this machine. A page elsewhere can point a name of its own at this
// machine, but it cannot make the browser say localhost.
func loopbackHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	if strings.EqualFold(name, "localhost") {
		return true
	}
	addr, err := netip.ParseAddr(strings.Trim(name, "[]"))
	return err == nil && addr.Unmap().IsLoopback()
}
