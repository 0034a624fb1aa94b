package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"spile/alert"
	"spile/cmd/config"
	"spile/cmd/daemon"
)

// runCommand is the daemon.
type runCommand struct {
	Config  string `type:"path" help:"The config, YAML; without one everything has a working default."`
	Capture string `type:"path" help:"Append every message heard to this file, for spile replay."`
	JSONLog bool   `name:"json-log" help:"Write the log as JSON lines."`
}

// Run watches until the context ends.
func (c *runCommand) Run(ctx context.Context, s *streams) (err error) {
	read, o, err := configure(c.Config)
	if err != nil {
		return err
	}
	o.Version, o.Log = version(), logger(s.err, c.JSONLog)
	out := &turns{to: s.out}
	o.Told = teller{out: out, words: alert.Words{Zone: o.Zone, Display: o.Display}}.tell
	if c.Capture != "" {
		capture, err := os.OpenFile(c.Capture, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o640)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, capture.Close()) }()
		o.Capture = capture
	}
	for _, w := range read.Warnings() {
		o.Log.Warn(w)
	}
	d := daemon.New(o)
	if err := d.Start(ctx); err != nil {
		return err
	}
	greet(out, read, d)
	<-ctx.Done()
	fmt.Fprintln(out, "stopping")
	return d.Stop(context.WithoutCancel(ctx))
}

// greet says where the daemon listens.
func greet(out io.Writer, c config.Config, d *daemon.Daemon) {
	broker := c.MQTT.Broker
	if at := d.BrokerAddr(); at != "" {
		broker = "the embedded broker, " + at
	}
	fmt.Fprintf(out, "Watching. Probes: %s. Page: http://%s/. Journal: %s. Ctrl-C ends the watch.\n", broker, d.Addr(), c.Data)
}

// configure reads a config, or takes the defaults where none is given, and
// makes the daemon's options of it. Nobody but the config's own errors speaks
// of its content.
func configure(path string) (config.Config, daemon.Options, error) {
	c := config.Default()
	if path != "" {
		var err error
		if c, err = config.Load(path); err != nil {
			return c, daemon.Options{}, err
		}
	}
	o, err := daemon.FromConfig(c)
	return c, o, err
}
