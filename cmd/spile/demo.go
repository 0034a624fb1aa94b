package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"spile/alert"
	"spile/cmd/daemon"
	"spile/detect"
	"spile/detect/beer"
	"spile/detect/cellarsim"
)

// demoCommand runs the daemon on a simulated cellar.
type demoCommand struct {
	Speed     float64 `default:"1800" help:"Simulated seconds per second: 1800 shows two and a half days in two minutes."`
	Seed      uint64  `default:"1" help:"Another seed, another cellar."`
	HTTP      string  `default:"127.0.0.1:8420" help:"Where the page is served; a free port is taken where this one is busy."`
	Capture   string  `type:"path" help:"Write every message to this file, for spile replay."`
	StopAtEnd bool    `help:"Stop when the simulated time is over, instead of leaving the page up."`
}

// demoNotice stands on every page and at the top of the terminal.
const demoNotice = "Simulated cellar: no tank, beer or reading here is real."

const (
	demoPace   = 50 * time.Millisecond // between looks at the simulated clock
	demoStatus = 6 * time.Hour         // of simulated time between status lines
)

// Run starts daemon and cellar, and shows both until the end or Ctrl-C.
func (c *demoCommand) Run(ctx context.Context, s *streams) (err error) {
	if c.Speed < 1 || c.Speed > 36000 {
		return usageError{fmt.Errorf("--speed=%g: give 1 to 36000 simulated seconds per second", c.Speed)}
	}
	show, o := c.prepare(time.Now().UTC().Truncate(time.Minute), s)
	capture, err := createCapture(c.Capture)
	if err != nil {
		return err
	}
	if capture != nil {
		defer func() { err = errors.Join(err, capture.Close()) }()
		o.Capture = capture
	}
	show.daemon = daemon.New(o)
	if err := show.daemon.Start(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, show.daemon.Stop(context.WithoutCancel(ctx))) }()
	show.greet(c.Speed)
	if err := show.run(ctx); err != nil {
		return err
	}
	if c.StopAtEnd {
		return nil
	}
	fmt.Fprintf(show.teller.out, "\nThe simulated days are over. The page stays at http://%s/ until Ctrl-C.\n", show.daemon.Addr())
	<-ctx.Done()
	return nil
}

// prepare makes the cellar and the options of the daemon that will hear it.
func (c *demoCommand) prepare(start time.Time, s *streams) (*demo, daemon.Options) {
	show := &demo{
		teller: teller{out: &turns{to: s.out}},
		cellar: cellarsim.Demo(start, c.Seed),
		clock:  newSimulatedClock(start, c.Speed),

		cautioned: map[string]bool{},
	}
	return show, daemon.Options{
		Site: "demo", Notice: demoNotice, Version: version(), Clock: show.clock.now, Told: show.teller.tell,
		Watch: alert.Options{Site: "demo", Tanks: demoTanks(show.cellar)},
		HTTP:  daemon.HTTP{Listen: freeOr(c.HTTP)}, Log: logger(s.err, false),
	}
}

// demo is a simulated cellar and the daemon that hears it.
type demo struct {
	teller teller
	cellar *cellarsim.Cellar
	daemon *daemon.Daemon
	clock  *simulatedClock

	cautioned map[string]bool // which cautions were printed
}

// simulatedClock is the daemon's clock in the simulated cellar. It follows the
// wall's, speed times as fast, but never runs ahead of what the cellar has
// published: a machine that stalls must not look like probes that fell silent.
type simulatedClock struct {
	start time.Time
	began time.Time
	speed float64
	at    atomic.Int64 // ns since start
}

func newSimulatedClock(start time.Time, speed float64) *simulatedClock {
	return &simulatedClock{start: start.UTC(), began: time.Now(), speed: speed}
}

// now is the time that the cellar has come to.
func (c *simulatedClock) now() time.Time { return c.start.Add(time.Duration(c.at.Load())) }

// due is the time that it should come to.
func (c *simulatedClock) due() time.Time {
	return c.start.Add(time.Duration(float64(time.Since(c.began)) * c.speed))
}

// reach moves the clock on.
func (c *simulatedClock) reach(t time.Time) {
	if d := int64(t.Sub(c.start)); d > c.at.Load() {
		c.at.Store(d)
	}
}

// demoTanks are the settings of the simulated vessels, as a config would give them.
func demoTanks(c *cellarsim.Cellar) map[string]detect.Settings {
	out := map[string]detect.Settings{}
	for _, t := range c.Plan().Tanks {
		out[t.Name] = detect.Settings{
			BeerLiters: t.BeerLiters, HeadspaceLiters: t.HeadspaceLiters, ReliefKPa: t.ReliefKPa,
			Sealed: !t.Open && t.SpundKPa == 0 && t.HoldKPa == 0,
		}
	}
	return out
}

func (d *demo) greet(speed float64) {
	fmt.Fprintf(d.teller.out, "%s\n\n", demoNotice)
	fmt.Fprintf(d.teller.out, "Four tanks publish over MQTT to %s, %g times as fast as a cellar.\n", d.daemon.BrokerAddr(), speed)
	fmt.Fprintf(d.teller.out, "The page: http://%s/    Ctrl-C ends the demo.\n\n", d.daemon.Addr())
}

// run publishes what the cellar sends, as its clock comes to it.
func (d *demo) run(ctx context.Context) error {
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + d.daemon.BrokerAddr()).SetClientID("simulated-cellar"))
	if t := client.Connect(); !t.WaitTimeout(10*time.Second) || t.Error() != nil {
		return fmt.Errorf("connect the simulated cellar: %w", errors.Join(t.Error(), errIfSlow(t)))
	}
	defer client.Disconnect(250)
	end := d.clock.start.Add(cellarsim.DemoLength)
	status := d.clock.start.Add(demoStatus)
	pace := time.NewTicker(demoPace)
	defer pace.Stop()
	for now := d.clock.start; now.Before(end); {
		if now = d.clock.due(); now.After(end) {
			now = end
		}
		err := d.cellar.Run(now, func(m cellarsim.Message) error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return d.publish(client, m)
		})
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		d.clock.reach(now)
		if now.After(status) {
			status = status.Add(demoStatus)
			d.teller.say(now, "  ", glance(d.daemon.View()))
		}
		select {
		case <-ctx.Done():
			return nil
		case <-pace.C:
		}
	}
	return nil
}

// errTimeout says that the broker was too slow to answer.
var errTimeout = errors.New("no answer within 10 s")

func errIfSlow(t mqtt.Token) error {
	select {
	case <-t.Done():
		return nil
	default:
		return errTimeout
	}
}

// publish sends one message at QoS 1 and waits until the daemon has it on disk.
func (d *demo) publish(client mqtt.Client, m cellarsim.Message) error {
	d.clock.reach(m.Arrived)
	t := client.Publish(m.Topic, 1, false, m.Payload)
	if !t.WaitTimeout(10*time.Second) || t.Error() != nil {
		return fmt.Errorf("publish on %s: %w", m.Topic, errors.Join(t.Error(), errIfSlow(t)))
	}
	if strings.HasSuffix(m.Topic, "/log") {
		d.teller.say(m.Arrived, "  ", d.logged(m)...)
	}
	return nil
}

// logged says in words what a message of the cellar log holds, and below it the caution that spile log would print. What
// was done before the demo began needs each caution once.
func (d *demo) logged(m cellarsim.Message) []string {
	tank := strings.Split(m.Topic, "/")[1]
	e, err := parseLogLine(tank, m.Payload, m.Arrived)
	if err != nil {
		return []string{"log  " + err.Error()}
	}
	lines := []string{"log  " + e.Echo()}
	kind, _ := detect.LookupEvent(e.Name)
	if kind.Caution == "" || e.Time.Before(d.clock.start) && d.cautioned[kind.Caution] {
		return lines
	}
	d.cautioned[kind.Caution] = true
	return append(lines, kind.Caution)
}

// glance is the cellar in one line.
func glance(v alert.View) string {
	var parts []string
	for _, t := range v.Tanks {
		part := t.Tank
		for _, q := range []struct {
			of   detect.Quantity
			kind beer.Kind
		}{{detect.Gravity, beer.KindGravity}, {detect.Temperature, beer.KindTemperature}, {detect.Pressure, beer.KindPressure}} {
			if l, ok := t.Last[q.of]; ok {
				if text, err := beer.Print(l.Value, "", q.kind); err == nil {
					part += " " + strings.TrimSuffix(text, " SG")
				}
			}
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, "  |  ")
}

// freeOr gives the address, or a free port of the loopback interface where it is busy.
func freeOr(address string) string {
	l, err := net.Listen("tcp", address)
	if errors.Is(err, syscall.EADDRINUSE) {
		return "127.0.0.1:0"
	}
	if err == nil {
		err = l.Close()
	}
	_ = err // a bad address is told by the daemon, with its reason
	return address
}

// createCapture creates the capture file; nil where none is asked for.
func createCapture(path string) (*os.File, error) {
	if path == "" {
		return nil, nil
	}
	return os.Create(path)
}

// turns lets several goroutines write whole lines to one stream.
type turns struct {
	mu sync.Mutex
	to io.Writer
}

// Write writes p whole.
func (t *turns) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.to.Write(p)
}

// parseLogLine reads a message of the cellar log.
func parseLogLine(tank string, payload []byte, arrived time.Time) (detect.Event, error) {
	var fields map[string]any
	if err := json.Unmarshal(payload, &fields); err != nil {
		return detect.Event{}, err
	}
	return detect.ParseEvent(tank, fields, arrived)
}
