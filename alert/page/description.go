package page

import (
	_ "embed"
	"net/http"
)

// description is the API in OpenAPI 3.1. A test holds every path and every answer against it.
//
//go:embed openapi.json
var description []byte

// describe answers with the description of the API.
func (s *Server) describe(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", jsonType)
	_, _ = w.Write(description) // the client has gone: nobody is left to tell
	return nil
}
