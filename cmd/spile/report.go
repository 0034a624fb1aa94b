package main

import (
	"context"
	"net/url"
)

// reportCommand shows the batch in a tank.
type reportCommand struct {
	running
	Tank   string `arg:"" help:"The tank, as probes name it: FV3."`
	Format string `enum:"text,json,html" default:"text" help:"Text for people, JSON for programs, or HTML: one page to print, with the curves."`
}

// Run asks the daemon for the report and prints it as it comes.
func (c *reportCommand) Run(ctx context.Context, s *streams) error {
	form := map[string]string{"text": "text/plain", "json": "application/json", "html": "text/html"}[c.Format]
	page, err := c.page(ctx, "/api/v1/tanks/"+url.PathEscape(c.Tank)+"/report", form)
	if err != nil {
		return err
	}
	_, err = s.out.Write(page)
	return err
}
