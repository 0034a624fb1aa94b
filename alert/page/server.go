package page

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"spile/alert"
	"spile/alert/webhook"
	"spile/detect"
	"spile/detect/batch"
)

// maxBody is the largest body that is read: a log event or a form has a few hundred bytes.
const maxBody = 64 << 10

// Limits of one connection. Streams of readings move the write limit on as long as the client takes what it is sent.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 15 * time.Second
	writeTimeout  = 30 * time.Second
	idleTimeout   = 2 * time.Minute
	maxHeader     = 16 << 10
)

// Options are what a Server needs. Records, View, Clock and Rand must be given.
type Options struct {
	Records  Records
	View     func() alert.View
	Report   func(ctx context.Context, tank string) (batch.Report, error)               // the batch in a tank as it stands; nil: nobody keeps batches
	ReportAt func(ctx context.Context, tank string, at time.Time) (batch.Report, error) // the same as it stood at a moment; nil: only now
	Doubt    func(detect.Event) error                                                   // asks back where a figure hardly fits its tank; nil: nobody asks
	Before   func(ctx context.Context, e detect.Event) []string                         // what an act in the log leads to; nil: nobody says
	Tracks   func(tank string, from, to time.Time) []alert.TrackPoint                   // what the watch took a tank for; nil: nobody remembers
	Ready    func() []string                                                            // why spile is not ready yet, empty once it is; nil: always ready
	Metrics  http.Handler                                                               // serves /metrics; nil: there is none
	Webhooks func() []webhook.Standing                                                  // how those who are told are reached; nil: nobody is told
	Copying  func() (problem string, since time.Time)                                   // what keeps the copy in InfluxDB behind, empty where nothing does; nil: there is none
	Stamina  func(tank, probe string) Stamina                                           // what a probe says of its battery and signal; nil: none says
	Speaks   func() bool                                                                // whether this one of two spiles tells people; nil: it watches alone
	Links    *alert.Links                                                               // those in messages, whose passes acknowledge one alarm without the token; nil: there are none
	Token    string                                                                     // writes need it; empty: see the package comment
	Public   *url.URL                                                                   // where people reach the pages from outside; nil: not given
	Clock    func() time.Time
	Rand     io.Reader      // for the ids of forms; safe for concurrent use, as crypto/rand's is
	Zone     *time.Location // the cellar's; nil: UTC
	Display  detect.Display
	Site     string
	Version  string
	Notice   string // stands on top of every page, such as "Simulated cellar: nothing here is real"
	Log      *slog.Logger
}

// Server answers for the pages and the API. It is an http.Handler and safe for concurrent use.
type Server struct {
	Options
	served  map[string]methods
	mux     *http.ServeMux
	guard   *guard
	traces  *traceCache
	trends  *trends
	held    *holdCache
	ahead   *readAhead
	pulse   *pulse
	streams atomic.Int64  // pages that are kept fresh
	readers chan struct{} // holds one for each stream of readings
	packers sync.Pool     // of *gzip.Writer
	closing chan struct{} // closed when the server shuts down, so that streams end
	pages   map[string]*template.Template
	sheet   *template.Template // the report of a batch
	style   asset
	icon    asset
	script  asset
}

// New makes a Server.
func New(o Options) (*Server, error) {
	if err := o.complete(); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	s := &Server{Options: o, mux: http.NewServeMux(), served: map[string]methods{}, readers: make(chan struct{}, readersMost)}
	s.traces = &traceCache{records: o.Records, clock: o.Clock}
	s.pulse, s.closing = &pulse{view: o.View, notes: s.standing}, make(chan struct{})
	s.ahead = &readAhead{clock: o.Clock, read: s.foldAhead, ended: s.closing, fault: func(tank string, err error) {
		o.Log.Warn("the curves of a tank were not read ahead", "tank", tank, "error", err)
	}}
	s.held = &holdCache{report: o.Report, clock: o.Clock, patience: holdsPatience, ended: s.closing, fault: func(tank string, err error) {
		o.Log.Error("hold points are not known", "tank", tank, "error", err)
	}}
	s.trends = &trends{records: o.Records, clock: o.Clock}
	var err error
	if s.guard, err = newGuard(o); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	if s.style, err = loadAsset("spile", ".css", "text/css; charset=utf-8"); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	if s.script, err = loadAsset("spile", ".js", "text/javascript; charset=utf-8"); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	if s.icon, err = loadAsset("spile", ".svg", "image/svg+xml"); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	if s.pages, err = loadPages(s.words()); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	if s.sheet, err = loadSheet(s.words()); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	s.routes()
	return s, nil
}

// complete checks the options and fills in those that may be left out.
func (o *Options) complete() error {
	if o.Records == nil || o.View == nil || o.Clock == nil || o.Rand == nil {
		return errors.New("records, view, clock and rand must be given")
	}
	if o.Public != nil && strings.Trim(o.Public.Path, "/") != "" {
		return fmt.Errorf("http.public %s: the pages need a host of their own; leave out the path %q", o.Public, o.Public.Path)
	}
	o.Token = strings.TrimSpace(o.Token)
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	if o.Tracks == nil {
		o.Tracks = func(string, time.Time, time.Time) []alert.TrackPoint { return nil }
	}
	if o.Ready == nil {
		o.Ready = func() []string { return nil }
	}
	if o.Stamina == nil {
		o.Stamina = func(string, string) Stamina { return Stamina{} }
	}
	if o.Speaks == nil {
		o.Speaks = func() bool { return true }
	}
	if o.Webhooks == nil {
		o.Webhooks = func() []webhook.Standing { return nil }
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return nil
}

// HTTPServer returns the server for s with its limits set; ask for it once. The caller listens and shuts it down.
func (s *Server) HTTPServer() *http.Server {
	server := &http.Server{
		Handler:           s,
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader,
		ErrorLog:          slog.NewLogLogger(s.Log.Handler(), slog.LevelDebug),
	}
	server.RegisterOnShutdown(sync.OnceFunc(func() { close(s.closing) }))
	return server
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	protect(w.Header())
	r.Body = http.MaxBytesReader(w, r.Body, maxBody)
	s.mux.ServeHTTP(w, r)
}

// protect sets the headers that keep a page to itself: nothing from outside is loaded, run, framed or told where the
// reader came from. The referrer stays within the site instead of going altogether, because with "no-referrer" a
// browser sends its own forms with "Origin: null" (Fetch Standard, "append a request Origin header"), and on plain HTTP
// nothing else tells them from another site's.
func protect(h http.Header) {
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self'; form-action 'self'; "+
		"base-uri 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}
