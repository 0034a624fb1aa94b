package page

import "net/http"

// health says that the process lives, and nothing more.
func (s *Server) health(w http.ResponseWriter, _ *http.Request) error {
	writeJSON(w, http.StatusOK, map[string]any{"alive": true, "version": s.Version})
	return nil
}

// readiness says whether every part is up, and if not, which is not and why.
func (s *Server) readiness(w http.ResponseWriter, _ *http.Request) error {
	if reasons := s.Ready(); len(reasons) > 0 {
		writeJSON(w, http.StatusServiceUnavailable, map[string]any{"ready": false, "reasons": reasons})
		return nil
	}
	writeJSON(w, http.StatusOK, map[string]any{"ready": true, "reasons": []string{}})
	return nil
}

// metrics hands over to the handler that was given.
func (s *Server) metrics(w http.ResponseWriter, r *http.Request) error {
	if s.Metrics == nil {
		return missing("no metrics are collected here")
	}
	s.Metrics.ServeHTTP(w, r)
	return nil
}
