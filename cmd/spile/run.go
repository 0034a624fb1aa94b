package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	systemd "github.com/coreos/go-systemd/v22/daemon"

	"spile/alert"
	"spile/cmd/config"
	"spile/cmd/daemon"
)

// runCommand is the daemon.
type runCommand struct {
	Config  string `type:"path" help:"The config, YAML; without one everything has a working default."`
	Capture string `type:"path" help:"Append every message heard to this file, for spile replay."`
	Pprof   string `placeholder:"127.0.0.1:PORT" help:"Serve profiles of the program here, to this machine alone."`
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
	if c.Pprof != "" {
		end, err := profiles(ctx, c.Pprof)
		if err != nil {
			return err
		}
		defer end()
	}
	for _, w := range read.Warnings() {
		o.Log.Warn(w)
	}
	for {
		again, err := watch(ctx, out, read, o)
		if err != nil || !again {
			return err
		}
	}
}

// anewAfter is the pause before a start on a journal that was found damaged.
const anewAfter = time.Second

// watch runs a daemon until the context ends, or its journal is found damaged:
// then another is to take its place.
func watch(ctx context.Context, out io.Writer, c config.Config, o daemon.Options) (again bool, err error) {
	d, manager := daemon.New(o), serviceManager{o.Log}
	starting, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() { // a start waits for the judge, and the judge may wait for what is damaged
		select {
		case <-d.Damaged():
			cancel()
		case <-starting.Done():
		}
	}()
	err = d.Start(starting)
	select {
	case <-d.Damaged():
	default:
		if err != nil {
			return false, placed(c, err)
		}
		greet(out, c, d)
		manager.tell(systemd.SdNotifyReady)
		go manager.watch(starting, d.Turns)
	}
	select {
	case <-d.Damaged():
	case <-ctx.Done():
		fmt.Fprintln(out, "stopping")
		manager.tell(systemd.SdNotifyStopping)
		return false, d.Stop(context.WithoutCancel(ctx))
	}
	o.Log.Error("the journal's file is damaged: spile starts anew on what can be saved of it")
	if err := d.Stop(context.WithoutCancel(ctx)); err != nil {
		o.Log.Warn("not everything could be brought to an end", "error", err) // it comes again from the broker
	}
	select {
	case <-time.After(anewAfter):
		return true, nil
	case <-ctx.Done():
		return false, nil
	}
}

// placed names the line of the config that a start failed on, where it was on one.
func placed(c config.Config, err error) error {
	var key daemon.KeyError
	if c.Path == "" || !errors.As(err, &key) {
		return err
	}
	return config.Fault{File: c.Where(key.Key), Text: err.Error()}
}

// greet says where the daemon listens.
func greet(out io.Writer, c config.Config, d *daemon.Daemon) {
	broker := c.MQTT.Broker
	if at := d.BrokerAddr(); at != "" {
		broker = "the embedded broker, " + at
	}
	fmt.Fprintf(out, "Watching. Probes: %s. Page: %s. Journal: %s. Ctrl-C ends the watch.\n", broker, d.URL(), c.Data)
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
