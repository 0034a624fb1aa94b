package trial

import (
	"encoding/json"
	"io"
)

// WriteNDJSON writes the report for programs: a line for each class, then one for each measure and, if asked for, one
// for each call. The key "line" says which it is.
func (r Report) WriteNDJSON(to io.Writer, calls bool) error {
	out := json.NewEncoder(to)
	out.SetEscapeHTML(false)
	for _, c := range r.Classes {
		if err := out.Encode(classLine{"class", c}); err != nil {
			return err
		}
	}
	for _, m := range r.Measures {
		if err := out.Encode(measureLine{"measure", m}); err != nil {
			return err
		}
	}
	if !calls {
		return nil
	}
	for _, c := range r.Calls {
		if err := out.Encode(callLine{"call", c}); err != nil {
			return err
		}
	}
	return nil
}

// The lines: each is what it shows, under a word that says which it is.
type (
	classLine struct {
		Line string `json:"line"`
		Row
	}
	measureLine struct {
		Line string `json:"line"`
		Measure
	}
	callLine struct {
		Line string `json:"line"`
		Call
	}
)
