package config

import (
	"fmt"
	"strings"
)

// Fault is one thing wrong with a configuration.
type Fault struct {
	File string
	Line int    // 0: of the file as a whole
	Text string // names the key and the mend
}

// Error is the fault as a compiler would print it: "spile.yaml:12: …".
func (f Fault) Error() string {
	if f.Line == 0 {
		return f.File + ": " + f.Text
	}
	return fmt.Sprintf("%s:%d: %s", f.File, f.Line, f.Text)
}

// Errors is everything wrong with a configuration, in the order of its lines.
type Errors []Fault

// Error lists the faults, one a line.
func (e Errors) Error() string {
	lines := make([]string, len(e))
	for i, f := range e {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap gives the faults one by one.
func (e Errors) Unwrap() []error {
	out := make([]error, len(e))
	for i, f := range e {
		out[i] = f
	}
	return out
}
