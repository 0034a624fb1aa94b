package page

import (
	"net/http"
	"slices"
	"strings"
)

// action answers a request, or says why it does not.
type action func(http.ResponseWriter, *http.Request) error

// methods are the actions of one path.
type methods map[string]action

const apiRoot = "/api/v1"

// routes names every path. Paths are matched without their method, so that a wrong method is answered in the manner of
// its path.
func (s *Server) routes() {
	s.at("/healthz", methods{"GET": s.health})
	s.at("/readyz", methods{"GET": s.readiness})
	s.at("/metrics", methods{"GET": s.metrics})
	s.at("/changes", methods{"GET": s.changesStream})
	s.at("/static/{name}", methods{"GET": s.static})

	s.at("/{$}", methods{"GET": s.cellarPage})
	s.at("/tanks/{tank}", methods{"GET": s.tankPage})
	s.at("/tanks/{tank}/log", methods{"GET": s.logForm, "POST": s.postLogForm})
	s.at("/tanks/{tank}/curves.svg", methods{"GET": s.curvesSVG})
	s.at("/tanks/{tank}/curves.png", methods{"GET": s.curvesPNG})
	s.at("/tanks/{tank}/report", methods{"GET": s.wholeReport})
	s.at("/alarms", methods{"GET": s.alarmsPage})
	s.at("/alarms/{id}", methods{"GET": s.alarmPage})
	s.at(acknowledgePath, methods{"GET": s.backToAlarm, "POST": s.postAcknowledge})
	s.at("/alarms/{id}/shelve", methods{"GET": s.backToAlarm, "POST": s.postShelve})
	s.at("/alarms/{id}/unshelve", methods{"GET": s.backToAlarm, "POST": s.postUnshelve})
	s.at("/sign-in", methods{"GET": s.signInPage, "POST": s.signedIn})
	s.at("/sign-out", methods{"POST": s.signOut})

	s.at(apiRoot+"/tanks", methods{"GET": s.tanks})
	s.at(apiRoot+"/tanks/{tank}", methods{"GET": s.tank})
	s.at(apiRoot+"/tanks/{tank}/log", methods{"GET": s.log, "POST": s.writeLog})
	s.at(apiRoot+"/readings", methods{"GET": s.readings})
	s.at(apiRoot+"/alarms", methods{"GET": s.alarms})
	s.at(apiRoot+"/alarms/figures", methods{"GET": s.figuresAnswer})
	s.at(apiRoot+"/alarms/{id}", methods{"GET": s.alarm})
	s.at(apiRoot+"/alarms/{id}/acknowledge", methods{"POST": s.acknowledge})
	s.at(apiRoot+"/alarms/{id}/shelve", methods{"POST": s.shelve})
	s.at(apiRoot+"/alarms/{id}/unshelve", methods{"POST": s.unshelve})
	s.at(apiRoot+"/refusals", methods{"GET": s.refusals})
	s.at(apiRoot+"/webhooks", methods{"GET": s.webhooks})
	s.at(apiRoot+"/tanks/{tank}/report", methods{"GET": s.report})
	s.at(apiRoot+"/tanks/{tank}/holds", methods{"GET": s.holds})
	s.at(apiRoot+"/openapi.json", methods{"GET": s.describe})

	s.at("/", methods{"GET": nothingHere})
}

// nothingHere answers for every path that is not named above.
func nothingHere(_ http.ResponseWriter, r *http.Request) error {
	return missing("there is nothing at %s", r.URL.Path)
}

// at serves a path by its methods. Every POST is a write, and passes the guard first.
func (s *Server) at(pattern string, m methods) {
	s.served[pattern] = m
	if get, ok := m["GET"]; ok {
		m["HEAD"] = get
	}
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		if err := s.serve(w, r, m); err != nil {
			s.refuse(w, r, err)
		}
	})
}

func (s *Server) serve(w http.ResponseWriter, r *http.Request, m methods) error {
	do, ok := m[r.Method]
	if !ok {
		allowed := make([]string, 0, len(m))
		for name := range m {
			allowed = append(allowed, name)
		}
		slices.Sort(allowed)
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		return &problem{http.StatusMethodNotAllowed, r.Method + " does nothing here; use " + strings.Join(allowed, " or ")}
	}
	if r.Method == http.MethodPost {
		if err := s.admit(w, r); err != nil {
			return err
		}
	}
	return do(w, r)
}

// refuse tells the client what is wrong: programs in JSON, people on a page.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	p, known := asProblem(err)
	if !known && r.Context().Err() == nil {
		s.Log.Error("request failed", "method", r.Method, "path", r.URL.Path, "error", err)
	}
	switch {
	case p.status == http.StatusUnauthorized && isAPI(r):
		w.Header().Set("WWW-Authenticate", `Bearer realm="spile"`)
	case p.status == http.StatusUnauthorized:
		s.askToken(w, r, p)
		return
	}
	if isAPI(r) {
		writeJSON(w, p.status, map[string]string{"error": p.text})
		return
	}
	s.problemPage(w, r, p)
}

// isAPI tells whether a program asks.
func isAPI(r *http.Request) bool {
	switch r.URL.Path {
	case "/healthz", "/readyz", "/metrics":
		return true
	}
	return strings.HasPrefix(r.URL.Path, "/api/")
}
