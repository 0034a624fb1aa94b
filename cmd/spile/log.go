package main

import (
	"context"
	"fmt"
	"net/url"
	"strings"
	"text/tabwriter"
	"time"

	"spile/detect"
)

// logCommand writes a line into the cellar log.
type logCommand struct {
	running
	Tank   string   `arg:"" help:"The tank, as probes name it: FV3."`
	Event  string   `arg:"" help:"What was done: dry-hop, crash, vent …"`
	Fields []string `arg:"" optional:"" name:"key=value" help:"Its figures and words: mass=9kg setpoint=58degF."`
}

// Help lists the events and their fields.
func (c *logCommand) Help() string {
	var b strings.Builder
	b.WriteString("The events and what each takes:\n\n")
	table := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, kind := range detect.Logbook() {
		fmt.Fprintf(table, "    %s\t%s\t%s\n", kind.Name, kind.Means, strings.Join(kind.FieldNames(), " "))
	}
	if err := table.Flush(); err != nil {
		return "" // a strings.Builder takes everything
	}
	return b.String() + "\nEvery event takes time=, by=, note= and id= too. Setpoints are the beer's, not the glycol's."
}

// Run checks the line here, sends it, and prints it back with every figure in both units.
func (c *logCommand) Run(ctx context.Context, s *streams) error {
	e, err := detect.ParseFields(c.Tank, c.Event, c.Fields, time.Now())
	if err != nil {
		return usageError{err}
	}
	var answer struct {
		Echo    string   `json:"echo"`
		Follows []string `json:"follows"`
	}
	if err := c.post(ctx, "/api/v1/tanks/"+url.PathEscape(c.Tank)+"/log", e, &answer); err != nil {
		return err
	}
	if _, err = fmt.Fprintln(s.out, answer.Echo); err != nil {
		return err
	}
	for _, line := range answer.Follows {
		if _, err = fmt.Fprintln(s.out, sentence(line)); err != nil {
			return err
		}
	}
	if kind, ok := detect.LookupEvent(e.Name); ok && kind.Caution != "" {
		_, err = fmt.Fprintln(s.out, kind.Caution)
	}
	return err
}

// sentence ends a line with a full stop where it has none.
func sentence(line string) string { return strings.TrimSuffix(line, ".") + "." }
