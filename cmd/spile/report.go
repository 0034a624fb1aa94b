package main

import (
	"context"
	"net/url"
	"time"
)

// reportCommand shows the batch in a tank.
type reportCommand struct {
	running
	Tank   string    `arg:"" help:"The tank, as probes name it: FV3."`
	At     time.Time `placeholder:"TIME" help:"As it stood at a moment: 2026-03-15T12:00:00Z. Now where it is not given."`
	Format string    `enum:"text,json,html" default:"text" help:"Text for people, JSON for programs, or HTML: one page to print, with the curves."`
}

// Run asks the daemon for the report and prints it as it comes.
func (c *reportCommand) Run(ctx context.Context, s *streams) error {
	form := map[string]string{"text": "text/plain", "json": "application/json", "html": "text/html"}[c.Format]
	page, err := c.page(ctx, "/api/v1/tanks/"+url.PathEscape(c.Tank)+"/report", c.At, form)
	if err != nil {
		return err
	}
	_, err = s.out.Write(page)
	return err
}
