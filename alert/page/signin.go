package page

import (
	"net/http"
	"net/url"
	"slices"
)

// carried is one input of a form that waits until its sender has shown the token.
type carried struct{ Name, Value string }

// signInData is what the sign-in page shows.
type signInData struct {
	frame
	Action  string    // where the form goes
	Carried []carried // what was to be done, so that it is done with the same step
	Wrong   bool      // a token came and was wrong
}

// askToken asks for the token and takes what was to be done along.
func (s *Server) askToken(w http.ResponseWriter, r *http.Request, p *problem) {
	data := signInData{
		frame:   s.frameFor(r, s.View(), "Sign in", false),
		Action:  r.URL.Path,
		Carried: carry(r.PostForm),
		Wrong:   r.PostForm.Get(tokenField) != "",
	}
	if err := s.show(w, r, p.status, "signin", data); err != nil {
		s.Log.Error("request failed", "path", r.URL.Path, "error", err)
		http.Error(w, p.text, p.status)
	}
}

// carry lists a form's inputs, by name, without the token.
func carry(form url.Values) []carried {
	var inputs []carried
	for name, values := range form {
		for _, v := range values {
			if name != tokenField {
				inputs = append(inputs, carried{name, v})
			}
		}
	}
	slices.SortStableFunc(inputs, func(a, b carried) int {
		switch {
		case a.Name < b.Name:
			return -1
		case a.Name > b.Name:
			return 1
		}
		return 0
	})
	return inputs
}

// signInPage lets a browser show the token before there is anything to do.
func (s *Server) signInPage(w http.ResponseWriter, r *http.Request) error {
	data := signInData{frame: s.frameFor(r, s.View(), "Sign in", false), Action: "/sign-in"}
	return s.show(w, r, http.StatusOK, "signin", data)
}

// signedIn answers a browser whose token was good: the guard has set its cookie.
func (s *Server) signedIn(w http.ResponseWriter, r *http.Request) error {
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// signOut forgets a browser's cookie.
func (s *Server) signOut(w http.ResponseWriter, r *http.Request) error {
	http.SetCookie(w, &http.Cookie{
		Name: sessionCookie, Path: "/", MaxAge: -1,
		HttpOnly: true, Secure: s.guard.secure(r), SameSite: http.SameSiteStrictMode,
	})
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}
