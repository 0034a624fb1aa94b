package page

import "net/http"

// passField is the input, and in a link the parameter, that holds a pass.
const passField = "pass"

// acknowledgePath is the one path that a pass opens.
const acknowledgePath = "/alarms/{id}/acknowledge"

// hasPass tells whether a form was sent from the page that a message's link opened, to acknowledge that alarm. Opening
// the page is a GET and changes nothing, so a messenger that fetches links before people do acknowledges nothing.
func (s *Server) hasPass(r *http.Request) bool {
	return r.Pattern == acknowledgePath && s.Links.Good(r.PathValue("id"), r.PostForm.Get(passField), s.Clock())
}

// passOf takes the pass out of the link that opened an alarm's page, or tells that it is no good.
func (s *Server) passOf(r *http.Request) (pass string, runOut bool) {
	pass = r.FormValue(passField)
	if pass == "" || s.Links.Good(r.PathValue("id"), pass, s.Clock()) {
		return pass, false
	}
	return "", true
}
