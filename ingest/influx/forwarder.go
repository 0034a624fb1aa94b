package influx

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	influxapi "github.com/influxdata/influxdb-client-go/v2/api"
	"github.com/prometheus/client_golang/prometheus"

	"spile/ingest/journal"
)

// Reader is the name of the forwarder's position in the journal.
const Reader = "influx"

const (
	batchLines = 5000 // InfluxData's advice for the size of a batch
	timeout    = 30 * time.Second
)

// Options say where readings go and how patient the way there is. Journal,
// URL, Bucket and Registerer must be set.
type Options struct {
	Journal *journal.Journal
	URL     string
	Org     string
	Bucket  string
	Token   string
	Site    string // becomes a tag, where it is set

	Poll     time.Duration // how often to look for new readings; 2 s by default
	Retry    time.Duration // the first wait for a store that is away; 1 s by default
	RetryMax time.Duration // the longest; 1 min by default
	Pause    time.Duration // the wait for a person to mend the configuration; 5 min by default

	Clock      func() time.Time // time.Now by default
	Jitter     func() float64   // within 0 and 1; rand.Float64 by default
	Log        *slog.Logger
	Registerer prometheus.Registerer
}

// Forwarder copies the readings of one journal to one bucket.
type Forwarder struct {
	o        Options
	address  string // the URL without a password
	client   influxdb2.Client
	api      influxapi.WriteAPIBlocking
	http     *http.Client
	backoff  backoff
	standing *standing
	metrics  *metrics

	cancel context.CancelFunc // nil until Start
	done   chan struct{}
}

// New checks the options and prepares a forwarder. It does not speak to the
// store: one that is away is waited for after Start.
func New(o Options) (*Forwarder, error) {
	u, err := url.Parse(o.URL)
	switch {
	case err != nil:
		return nil, fmt.Errorf("influx.url: %w", err)
	case u.Scheme != "http" && u.Scheme != "https" || u.Host == "":
		return nil, fmt.Errorf("influx.url=%s: want http://host:8086 or https://…", u.Redacted())
	case o.Bucket == "":
		return nil, errors.New("influx.bucket is not set: name the bucket that takes the readings (for InfluxDB 1.8: database/retention-policy)")
	}
	if o.Site != "" {
		if err := checkTag("site", o.Site); err != nil {
			return nil, fmt.Errorf("influx: %w", err)
		}
	}
	f := &Forwarder{o: o.filled(), address: u.Redacted(), done: make(chan struct{})}
	f.backoff = backoff{first: f.o.Retry, longest: f.o.RetryMax, jitter: f.o.Jitter}
	f.standing = &standing{clock: f.o.Clock, log: f.o.Log}
	f.connect(u)
	f.metrics, err = newMetrics(f.o.Registerer, f.lag)
	if err != nil {
		return nil, fmt.Errorf("influx: metrics: %w", err)
	}
	return f, nil
}

func (o Options) filled() Options {
	o.Poll = orElse(o.Poll, 2*time.Second)
	o.Retry = orElse(o.Retry, time.Second)
	o.RetryMax = orElse(o.RetryMax, time.Minute)
	o.Pause = orElse(o.Pause, 5*time.Minute)
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Jitter == nil {
		o.Jitter = rand.Float64
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return o
}

func orElse(d, otherwise time.Duration) time.Duration {
	if d <= 0 {
		return otherwise
	}
	return d
}

// connect prepares the client. A redirect is an answer, not a way to follow:
// following one turns a POST into a GET, and nothing would be written.
func (f *Forwarder) connect(u *url.URL) {
	transport := &http.Transport{
		Proxy:               http.ProxyFromEnvironment,
		DialContext:         (&net.Dialer{Timeout: 10 * time.Second}).DialContext,
		TLSHandshakeTimeout: 10 * time.Second,
		IdleConnTimeout:     90 * time.Second,
		ForceAttemptHTTP2:   true,
	}
	f.http = &http.Client{
		Transport:     strict{transport},
		Timeout:       timeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	options := influxdb2.DefaultOptions().
		SetApplicationName("spile").
		SetHTTPClient(f.http).
		SetPrecision(time.Millisecond).
		SetUseGZip(!onThisMachine(u)) // there it only costs: 240k lines/s with, 340k without, measured on 2 cores
	f.client = influxdb2.NewClientWithOptions(f.o.URL, f.o.Token, options)
	f.api = f.client.WriteAPIBlocking(f.o.Org, f.o.Bucket)
}

func onThisMachine(u *url.URL) bool {
	ip := net.ParseIP(u.Hostname())
	return u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
}

// Start begins to copy, in a goroutine of its own, until Stop or the end of
// ctx. It must be called once.
func (f *Forwarder) Start(ctx context.Context) {
	ctx, f.cancel = context.WithCancel(ctx)
	go func() {
		defer close(f.done)
		f.run(ctx)
	}()
}

// Stop ends the copying; what is on its way is sent again after the next
// start. It waits until nothing runs any more, or ctx is over.
func (f *Forwarder) Stop(ctx context.Context) error {
	if f.cancel == nil {
		return nil
	}
	f.cancel()
	select {
	case <-f.done:
		f.http.CloseIdleConnections()
		return nil
	case <-ctx.Done():
		return fmt.Errorf("influx: stop: %w", ctx.Err())
	}
}

// State tells how the copying stands.
func (f *Forwarder) State() State { return f.standing.get() }
