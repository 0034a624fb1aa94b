package page

import (
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
)

// writeJSON answers a program. An answer is small, so it is made whole before the status goes out.
func writeJSON(w http.ResponseWriter, status int, answer any) {
	body, err := json.Marshal(answer)
	if err != nil {
		status, body = http.StatusInternalServerError, []byte(`{"error":"the answer could not be written as JSON"}`)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(body, '\n')) // the client has gone: nobody is left to tell
}

// readObject reads a JSON object. With optional, no body at all stands for an empty one.
func readObject(r *http.Request, optional bool) (map[string]any, error) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		if p, known := asProblem(err); known {
			return nil, p
		}
		return nil, bad("the body cannot be read to its end: %v", err) // its client broke off
	}
	if len(body) == 0 && optional {
		return map[string]any{}, nil
	}
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		return nil, &problem{http.StatusUnsupportedMediaType, "send JSON, with the header Content-Type: application/json"}
	}
	return decodeObject(body)
}

// decodeObject takes exactly one JSON object.
func decodeObject(body []byte) (map[string]any, error) {
	var fields map[string]any
	if err := json.Unmarshal(body, &fields); err != nil {
		var kind *json.UnmarshalTypeError
		if errors.As(err, &kind) {
			return nil, bad("the body is a JSON %s; send one object, as {\"event\":\"note\"}", kind.Value)
		}
		return nil, bad("the body is not JSON: %v", err)
	}
	if fields == nil {
		return nil, bad("the body is null; send one object, as {\"event\":\"note\"}")
	}
	return fields, nil
}

// text takes a string out of fields; absent is empty.
func text(fields map[string]any, name string) (string, error) {
	value, ok := fields[name]
	if !ok || value == nil {
		return "", nil
	}
	s, ok := value.(string)
	if !ok {
		return "", bad("%s: write it as a JSON string", name)
	}
	return s, nil
}

// only refuses fields that a request does not have, so that a misspelt one is not passed over.
func only(fields map[string]any, names ...string) error {
	known := make(map[string]bool, len(names))
	for _, name := range names {
		known[name] = true
	}
	for name := range fields {
		if !known[name] {
			return bad("unknown field %q: this takes %s", name, listed(names))
		}
	}
	return nil
}
