package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"
)

// receiveCommand is somebody to call, for trying: it prints what a webhook
// sends. It is no part of the watch.
type receiveCommand struct {
	Listen string `default:"127.0.0.1:9000" help:"Where it listens, host:port."`
	Count  int    `help:"End after so many messages; 0: go on."`
}

const (
	longestMessage = 1 << 20
	headerWithin   = 10 * time.Second
)

// Run answers 204 to everything and prints it, until the context ends.
func (c *receiveCommand) Run(ctx context.Context, s *streams) error {
	if c.Count < 0 {
		return usageError{fmt.Errorf("--count=%d: give how many messages to wait for", c.Count)}
	}
	var listen net.ListenConfig
	l, err := listen.Listen(ctx, "tcp", c.Listen)
	if err != nil {
		return err
	}
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	out, got := &turns{to: s.out}, make(chan struct{})
	web := &http.Server{ReadHeaderTimeout: headerWithin, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(io.LimitReader(r.Body, longestMessage))
		if err != nil {
			return // it broke off; it will come again
		}
		fmt.Fprint(out, written(r, body))
		w.WriteHeader(http.StatusNoContent)
		select {
		case got <- struct{}{}:
		case <-ctx.Done():
		}
	})}
	go func() {
		for n := 1; ; n++ {
			select {
			case <-got:
			case <-ctx.Done():
				return
			}
			if n == c.Count {
				enough()
			}
		}
	}()
	fmt.Fprintf(out, "waiting for messages at http://%s/\n", l.Addr())
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if err := web.Shutdown(last); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return nil
}

// written is a message for people: who sent it, and an object line by line.
func written(r *http.Request, body []byte) string {
	var lines bytes.Buffer
	if json.Indent(&lines, body, "", "  ") != nil {
		lines.Reset()
		lines.Write(body)
	}
	return fmt.Sprintf("%s %s %s\n%s\n\n", r.Method, r.URL.Path, r.Header.Get("webhook-id"), bytes.TrimSpace(lines.Bytes()))
}
