package daemon

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"golang.org/x/net/netutil"

	"spile/alert"
	"spile/alert/page"
	"spile/alert/standby"
	"spile/alert/webhook"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/broker"
	"spile/ingest/influx"
	"spile/ingest/journal"
	"spile/ingest/subscriber"
)

// clockBack is how far the clock may stand behind what was judged.
const clockBack = time.Minute

// maxConnections is how many the pages hold at once; more wait. Those that say
// nothing are cut off within seconds.
const maxConnections = 1000

// anyPort is a free port of the loopback interface.
const anyPort = "127.0.0.1:0"

// Daemon is one running spile. Start it once, then Stop it once.
type Daemon struct {
	options  Options
	registry *prometheus.Registry
	stack    stack

	journal    *journal.Journal
	intake     *ingest.Intake
	tankOf     func(topic string) string
	judge      *judge
	sender     *webhook.Sender
	disk       *disk
	retention  *retention
	broken     chan struct{} // closed once the journal's file was found damaged
	standings  *standings
	standby    *standby.Standby // nil: this one watches alone
	broker     *broker.Broker
	subscriber *subscriber.Subscriber
	listener   net.Listener
	copied     func() influx.State // how the copy in InfluxDB stands; of none at all: the zero State

	mu     sync.Mutex // guards what follows
	failed error      // a part that ended by itself
	marred bool       // broken is closed
}

// New makes a daemon that is not running.
func New(o Options) *Daemon {
	if o.Clock == nil {
		o.Clock = time.Now
		began := time.Now()
		o.Passed = func() time.Duration { return time.Since(began) }
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Told == nil {
		o.Told = func([]alert.Transition) {}
	}
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	if o.HTTP.Listen == "" {
		o.HTTP.Listen = anyPort
	}
	if o.Embedded.Listen == "" {
		o.Embedded.Listen = anyPort
	}
	return &Daemon{broken: make(chan struct{}), options: o, registry: prometheus.NewRegistry(), stack: stack{log: o.Log}}
}

// Start brings the parts up in their order. If one fails, those before it are
// stopped again.
func (d *Daemon) Start(ctx context.Context) error {
	d.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	parts := []struct {
		name  string
		start func(context.Context) error
	}{
		{"journal", d.startJournal},
		{"check", d.startCheck},
		{"disk", d.prepareDisk},
		{"intake", d.startIntake},
		{"outbox", d.startOutbox},
		{"judge", d.startJudge},
		{"standings", d.startStandings},
		{"room", d.startDisk},
		{"influx", d.startInflux},
		{"retention", d.startRetention},
		{"folds", d.startFolding},
		{"pages", d.startPages},
		{"broker", d.startBroker},
		{"standby", d.startStandby},
		{"heartbeat", d.startHeartbeat},
	}
	for _, part := range parts {
		if err := part.start(ctx); err != nil {
			return errors.Join(fmt.Errorf("start %s: %w", part.name, err), d.stack.unwind(context.WithoutCancel(ctx)))
		}
	}
	return nil
}

// Stop ends every part in reverse order, within a deadline of its own or
// ctx's, whichever is sooner.
func (d *Daemon) Stop(ctx context.Context) error {
	d.mu.Lock()
	failed := d.failed
	d.mu.Unlock()
	return errors.Join(failed, d.stack.unwind(ctx))
}

// Addr is where pages and API are served, host:port.
func (d *Daemon) Addr() string { return d.listener.Addr().String() }

// URL is where the pages begin.
func (d *Daemon) URL() string {
	if d.options.HTTP.TLS != nil {
		return "https://" + d.Addr() + "/"
	}
	return "http://" + d.Addr() + "/"
}

// BrokerAddr is where the embedded broker listens, host:port; empty where an
// outside broker is used.
func (d *Daemon) BrokerAddr() string {
	if d.broker == nil {
		return ""
	}
	return d.broker.Addr().String()
}

// View is the cellar as it stands.
func (d *Daemon) View() alert.View { return d.judge.view() }

// Turns counts how often the judge has gone round since Start; a count that
// stands still is a daemon that hangs.
func (d *Daemon) Turns() uint64 { return d.judge.turns.Load() }

func (d *Daemon) startIntake(ctx context.Context) error {
	decoder, err := ingest.NewDecoder(d.options.Decoder)
	if err != nil {
		return err
	}
	d.tankOf = decoder.Tank
	floods := newHerald(d)
	d.intake, err = ingest.NewIntake(ingest.IntakeOptions{
		Journal: d.journal, Decoder: decoder, Clock: d.options.Clock, Passed: d.options.Passed, Log: d.options.Log,
		Registerer: d.registry, Capture: d.options.Capture, Failing: d.disk.failing,
		Names: d.names(), Flooded: floods.flooded,
	})
	if err != nil {
		return err
	}
	if len(d.options.Topics) == 0 {
		d.options.Topics = decoder.Topics()
	}
	d.intake.Start(ctx)
	d.stack.push("intake", d.intake.Stop)
	floods.start(ctx)
	d.stack.push("floods", floods.stop)
	return nil
}

// names are the tanks and probes that the config names.
func (d *Daemon) names() ingest.Names {
	out := ingest.Names{Tanks: map[string]bool{}, Probes: map[string]bool{}}
	for tank := range d.options.Watch.Tanks {
		out.Tanks[tank] = true
	}
	for probe := range d.options.Decoder.Probes {
		out.Probes[probe] = true
	}
	return out
}

func (d *Daemon) startOutbox(ctx context.Context) error {
	d.standings = newStandings(d.options.Webhooks)
	gate, err := d.newStandby()
	if err != nil {
		return err
	}
	d.sender, err = webhook.New(webhook.Options{
		Gate:   gate,
		Outbox: outbox{d.journal, d.disk.emergency, d.told}, Webhooks: d.options.Webhooks, Words: d.words(), Turned: d.standings.report,
		Log: d.options.Log, Registerer: d.registry,
	})
	if err != nil {
		return err
	}
	d.sender.Start(ctx)
	d.stack.push("outbox", d.stopOutbox)
	return nil
}

// messagesWithin is how long a stop waits for messages under way. What a
// webhook that hangs leaves unanswered goes out again at the next start.
const messagesWithin = 3 * time.Second

func (d *Daemon) stopOutbox(ctx context.Context) error {
	limited, cancel := context.WithTimeout(ctx, messagesWithin)
	defer cancel()
	if err := d.sender.Stop(limited); err != nil {
		d.options.Log.Warn("messages are left for the next start", "reason", err)
	}
	return nil
}

func (d *Daemon) words() alert.Words {
	return alert.Words{Zone: d.options.Zone, Display: d.options.Display}
}

func (d *Daemon) startJudge(ctx context.Context) error {
	d.judge = &judge{
		journal: d.journal, horizon: d.intake.Horizon, heard: d.intake.Committed(),
		links: alert.NewLinks(d.options.HTTP.Public, d.options.HTTP.Token), told: d.options.Told, wake: d.sender.Wake, log: d.options.Log,
		watch: alert.NewWatch(d.options.Watch), answers: map[int64]error{}, progress: make(chan struct{}), relieve: d.disk.relieve,
		silent: d.standby != nil, tracks: new(alert.Tracks),
	}
	if err := d.judge.restore(ctx); err != nil {
		return err
	}
	d.registry.MustRegister(alert.NewCollector(d.judge.view, d.options.Clock, d.options.Version))
	if err := d.mark(ctx, markStarted, d.judge.until.UTC().Format(time.RFC3339Nano)); err != nil {
		return err
	}
	if err := d.markVoice(ctx); err != nil {
		return err
	}
	if d.judge.isBehind() {
		if err := d.startVigil(ctx); err != nil {
			return err
		}
	}
	judging, cancel := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		d.judge.run(judging)
	}()
	d.stack.push("judge", func(ctx context.Context) error {
		cancel()
		<-ended
		return d.judge.last(ctx)
	})
	return nil
}

// startVigil watches the vessels until the judge has caught up.
func (d *Daemon) startVigil(ctx context.Context) error {
	v, err := newVigil(ctx, d.options.Watch, d.judge, quickly)
	if err != nil {
		return err
	}
	d.aside(ctx, "vigil", v.run)
	return nil
}

// startStandings journals how the webhooks do, once the judge can take it.
func (d *Daemon) startStandings(ctx context.Context) error {
	last, err := d.journal.Last(ctx)
	if err != nil {
		return err
	}
	s := d.standings
	s.mark, s.words, s.clock = d.mark, d.words(), time.Now
	s.told = func(ctx context.Context) ([]string, error) {
		if err := d.judge.reach(ctx, last); err != nil {
			return nil, err
		}
		return d.judge.failingWebhooks(), nil
	}
	s.fault = func(err error) { d.options.Log.Error("how a webhook does was not kept", "error", err) }
	s.start(ctx)
	d.stack.push("standings", s.stop)
	return nil
}

func (d *Daemon) startHeartbeat(ctx context.Context) error {
	if d.options.Heartbeat == nil {
		return nil
	}
	h := newHeart(*d.options.Heartbeat, d.ill, d.options.Log, d.registry)
	h.start(ctx)
	d.stack.push("heartbeat", h.stop)
	return nil
}

// mark journals what happened to spile itself.
func (d *Daemon) mark(ctx context.Context, name, detail string) error {
	_, err := d.intake.Write(ctx, journal.Entry{Mark: &journal.Mark{Name: name, Detail: detail}})
	return err
}

func (d *Daemon) startInflux(ctx context.Context) error {
	d.copied = func() influx.State { return influx.State{} }
	if err := d.startForwarder(ctx); err != nil {
		return err
	}
	c := &copying{
		state: d.copied, failing: func() bool { return d.judge.failing(alert.InfluxBehind) }, mark: d.mark, words: d.words(), now: time.Now,
		fault: func(err error) { d.options.Log.Error("how the copy in InfluxDB does was not kept", "error", err) },
	}
	d.each(ctx, "copy", copyPace, c.look)
	return nil
}

func (d *Daemon) startForwarder(ctx context.Context) error {
	o := d.options.Influx
	if o == nil {
		return nil
	}
	forwarder, err := influx.New(influx.Options{
		Journal: d.journal, URL: o.URL, Org: o.Org, Bucket: o.Bucket, Token: o.Token, Site: d.options.Site,
		Log: d.options.Log, Registerer: d.registry,
	})
	if err != nil {
		return err
	}
	forwarder.Start(ctx)
	d.stack.push("influx", forwarder.Stop)
	d.copied = forwarder.State
	return nil
}

func (d *Daemon) startPages(ctx context.Context) error {
	brews := d.batches()
	kept := records{d.journal, d.intake, d.judge, d.pass}
	(&figures{steps: kept.Steps, began: kept.Began, clock: d.options.Clock, zone: d.options.Zone, log: d.options.Log}).register(d.registry)
	server, err := page.New(page.Options{
		Copying: func() (problem string, since time.Time) {
			state := d.copied()
			return state.Problem, state.Since
		},
		Records: kept, View: d.judge.view, Tracks: d.judge.tracks.Of, Report: brews.report, ReportAt: brews.reportAt, Before: brews.before, Doubt: brews.doubt, Ready: d.notReady,
		Metrics:  promhttp.HandlerFor(d.registry, promhttp.HandlerOpts{}),
		Stamina:  func(tank, probe string) page.Stamina { return page.Stamina(d.intake.Stamina(tank, probe)) },
		Speaks:   d.speaks,
		Webhooks: d.sender.Standings, Links: alert.NewLinks(d.options.HTTP.Public, d.options.HTTP.Token),
		Token: d.options.HTTP.Token, Public: d.options.HTTP.Public, Clock: d.options.Clock, Zone: d.options.Zone,
		Rand: rand.Reader, Display: d.options.Display, Site: d.options.Site, Version: d.options.Version, Notice: d.options.Notice, Log: d.options.Log,
	})
	if err != nil {
		return err
	}
	var listen net.ListenConfig
	if d.listener, err = listen.Listen(ctx, "tcp", d.options.HTTP.Listen); err != nil {
		return unheard("http.listen", d.options.HTTP.Listen, "give another port, or stop it if it is another spile", err)
	}
	web, serving := server.HTTPServer(), netutil.LimitListener(d.listener, maxConnections)
	if d.options.HTTP.TLS != nil {
		serving = tls.NewListener(serving, d.options.HTTP.TLS)
	}
	go func() {
		if err := web.Serve(serving); !errors.Is(err, http.ErrServerClosed) {
			d.fail(fmt.Errorf("pages: %w", err))
		}
	}()
	d.stack.push("pages", func(ctx context.Context) error {
		if err := web.Shutdown(ctx); err != nil {
			return errors.Join(err, web.Close())
		}
		return nil
	})
	return nil
}

func (d *Daemon) fail(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.failed = errors.Join(d.failed, err)
	d.options.Log.Error("a part has ended by itself", "error", err)
}

// notReady lists why spile is not ready to be relied on.
func (d *Daemon) notReady() []string {
	var out []string
	if err := d.intake.Trouble(); err != nil {
		out = append(out, "the journal takes no readings: "+err.Error())
	}
	if d.judge.isBehind() {
		out = append(out, "the past is being judged again: only over-pressure and vacuum are watched until that is done")
	}
	if err := d.judge.problem(); err != nil {
		out = append(out, "judging stands still: "+err.Error())
	}
	if ahead := d.judge.moment().Sub(d.options.Clock()); ahead > clockBack {
		ahead = ahead.Round(time.Minute) // every page is read again when this changes
		out = append(out, fmt.Sprintf("the clock was set back by %s: delays take twice as long until it has caught up", detect.Spell(ahead)))
	}
	if d.subscriber != nil {
		if up, why := d.subscriber.Ready(); !up {
			out = append(out, "the broker has not granted the subscription: "+why)
		}
	}
	return out
}
