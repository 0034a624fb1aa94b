package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"spile/detect/beer/calc"
)

// calcCommand is the physics as a hand calculator: figures in, one JSON object out.
type calcCommand struct {
	Name    string   `arg:"" optional:"" help:"The calculation; without one, all are listed."`
	Figures []string `arg:"" optional:"" name:"key=value" help:"Its figures, each with its unit: temperature=38degF."`
	Explain bool     `help:"Show the formula, its source, its range and the working too."`
}

// Help lists the calculations in the command's help, indented so that its lines stay as they are.
func (c *calcCommand) Help() string {
	var b strings.Builder
	if err := listCalculations(&b); err != nil {
		return "" // a strings.Builder takes everything
	}
	return "    " + strings.ReplaceAll(strings.TrimSpace(b.String()), "\n", "\n    ")
}

// Run works the calculation, or lists all where none is named.
func (c *calcCommand) Run(s *streams) error {
	if c.Name == "" {
		return listCalculations(s.out)
	}
	args, err := keyValues(c.Figures)
	if err != nil {
		return usageError{err}
	}
	result, err := calc.Run(c.Name, args)
	if errors.Is(err, calc.ErrUsage) {
		return usageError{err}
	}
	if err != nil {
		return err
	}
	return c.print(s.out, result)
}

// print writes an answer as indented JSON.
func (c *calcCommand) print(out io.Writer, result calc.Result) error {
	marshal := result.MarshalJSON
	if c.Explain {
		marshal = result.MarshalExplained
	}
	line, err := marshal()
	if err != nil {
		return err
	}
	var pretty bytes.Buffer
	if err := json.Indent(&pretty, line, "", "  "); err != nil {
		return fmt.Errorf("laying out the answer: %w", err)
	}
	pretty.WriteByte('\n')
	_, err = pretty.WriteTo(out)
	return err
}

// keyValues splits the figures of a command line.
func keyValues(figures []string) (map[string]string, error) {
	args := make(map[string]string, len(figures))
	for _, figure := range figures {
		key, value, ok := strings.Cut(figure, "=")
		if !ok || key == "" {
			return nil, fmt.Errorf("%q is no figure; write key=value, as in temperature=38degF", figure)
		}
		if _, twice := args[key]; twice {
			return nil, fmt.Errorf("%s is given twice", key)
		}
		args[key] = value
	}
	return args, nil
}

// listCalculations writes the table of calculations, each with an example that can be typed as it stands, and the figures
// that may be given besides.
func listCalculations(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, c := range calc.All() {
		lines := []string{c.Meaning, "spile calc " + c.Name + " " + c.Example}
		if more := c.More(); more != "" {
			lines = append(lines, "also takes "+more)
		}
		if _, err := fmt.Fprintf(w, "%s\t%s\n", c.Name, strings.Join(lines, "\n\t")); err != nil {
			return err
		}
	}
	return w.Flush()
}
