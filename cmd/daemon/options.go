package daemon

import (
	"crypto/tls"
	"io"
	"log/slog"
	"net/url"
	"time"

	"spile/alert"
	"spile/alert/standby"
	"spile/alert/webhook"
	"spile/detect"
	"spile/detect/batch"
	"spile/ingest"
	"spile/ingest/broker"
)

// Options are what a Daemon is made of. The zero value is a working cellar in
// memory on free ports of the loopback interface.
type Options struct {
	Site    string
	Zone    *time.Location // the cellar's; nil: UTC
	Display detect.Display
	Version string
	Notice  string // stands on every page, as in a demonstration
	Data    string // the journal's folder; empty: in memory, nothing is kept

	Decoder ingest.DecoderOptions
	Topics  []string     // what an outside broker is asked for; empty: what the decoder knows
	Limits  batch.Limits // of the hold points
	Watch   alert.Options

	Embedded  Embedded
	Outside   *Outside // nil: the embedded broker
	HTTP      HTTP
	Influx    *Influx // nil: none
	Webhooks  []webhook.Webhook
	Heartbeat *Heartbeat // nil: none
	Standby   *Standby   // nil: this spile watches alone
	Retention Retention

	Clock   func() time.Time         // nil: time.Now; a simulated cellar has its own
	Passed  func() time.Duration     // with a Clock: time that passes whatever it is set to; nil: not known
	Capture io.Writer                // gets every message heard, see ingest.CaptureReader; nil: none
	Told    func([]alert.Transition) // called with what was committed, in order; nil: nobody
	Log     *slog.Logger             // nil: silent
}

// Embedded is the broker within.
type Embedded struct {
	Listen      string              // host:port; empty: a free port of the loopback interface
	Credentials []broker.Credential // empty: anybody who reaches the port
	Anonymous   bool                // said aloud: other machines may connect without credentials
	TLS         *tls.Config         // nil: in the clear
}

// Outside is a broker that stands already.
type Outside struct {
	URL      string
	ClientID string
	Username string
	Password string
	TLS      *tls.Config
}

// HTTP is where pages and API are served.
type HTTP struct {
	Listen string // host:port; empty: a free port of the loopback interface
	Token  string
	Public *url.URL
	TLS    *tls.Config // nil: in the clear
}

// Influx is where readings are forwarded to.
type Influx struct {
	URL    string
	Org    string
	Bucket string
	Token  string
}

// Standby is this one's part where two spiles watch one cellar by an outside
// broker.
type Standby struct {
	Role  standby.Role
	After time.Duration // of the first's silence, until the second speaks; 0: the usual
}
