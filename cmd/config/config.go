package config

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"spile/detect"
	"spile/ingest"
)

// Config is what a brewer told spile. Figures are in inside units.
type Config struct {
	Path string // of the file; empty: there is none

	Site          string
	Zone          *time.Location // the cellar's clock
	Data          string         // folder of the journal
	Display       detect.Display
	AltitudeM     *float64 // over the sea; nil: not given
	AtmosphereKPa float64  // absolute, by the altitude; 0: the standard atmosphere
	HTTP          HTTP
	MQTT          MQTT
	Influx        *Influx // nil: none
	Sources       []ingest.Source
	Tanks         map[string]Tank
	Probes        map[string]Probe
	Alarms        map[detect.Alarm]AlarmRule
	HoldPoints    HoldPoints
	Heartbeat     *Heartbeat // nil: none
	Standby       *Standby   // nil: this spile watches alone
	Retention     Retention
	Webhooks      []Webhook

	given map[string]int // line of every key given, by its path such as tanks.FV3.relief
}

// HTTP is where pages and API are served.
type HTTP struct {
	Listen    string
	Token     Secret // writes need it
	Public    string // where people reach the pages from outside; empty: not said
	Anonymous bool   // reached from other machines without a token, on purpose
	CertFile  string // served under TLS
	KeyFile   string
}

// MQTT is where probes are heard: the embedded broker listens, or a broker
// stands already.
type MQTT struct {
	Listen    string // of the embedded broker; empty where Broker is given
	Broker    string // URL of the broker that stands already
	Username  string
	Password  Secret
	CAFile    string
	CertFile  string
	KeyFile   string
	ClientID  string // of spile at that broker
	Anonymous bool   // the embedded broker lets other machines in without a password, on purpose
	Users     []User // of the embedded broker, beside Username
}

// User may speak to the embedded broker.
type User struct {
	Name     string
	Password Secret
	Tanks    []string // whose topics alone it may use; empty: all
}

// Influx is where readings are forwarded to.
type Influx struct {
	URL    string
	Org    string
	Bucket string
	Token  Secret
}

// Tank is what was told of one tank. The cellar log and the readings override it.
type Tank struct {
	BeerLiters      float64 // 0: not given
	HeadspaceLiters float64 // 0: not given
	ReliefKPa       float64 // 0: not given
	Sealed          bool
	GasGroup        string // tanks whose head spaces are joined; empty: alone
}

// Probe is what was told of one probe.
type Probe struct {
	At          detect.Place // empty: not given
	Calibration *float64     // degC at which a hydrometer reads right; nil: it corrects itself
	Offset      map[detect.Quantity]float64
	Solutions   []ingest.Solution // known ones that a hydrometer was dipped in
	Line        *ingest.Straight  // fitted through them; nil: none are given
	From        time.Time         // when offsets and solutions begin to count; zero: they always did
}

// AlarmRule is how one alarm departs from the catalogue. Nil: as there.
type AlarmRule struct {
	Above      *float64 // K, crash-drift
	Below      *float64 // K, crash-drift
	FalseCalls *float64 // a tank-year, refermentation
	OnDelay    *time.Duration
	OffDelay   *time.Duration
	Wake       string // refermentation: always, or near; empty: always
}

// Heartbeat is a watchdog outside that is pinged while all is well.
type Heartbeat struct {
	URL   Secret // whoever knows it can ping
	Every time.Duration
	Road  Road
}

// Retention is how long readings are kept.
type Retention struct {
	Raw  time.Duration // 0: for ever
	Size uint64        // bytes of the journal; 0: no limit
}

// Webhook is one way to tell somebody.
type Webhook struct {
	Name        string
	URL         Secret
	Signing     Secret // signs by the Standard Webhooks specification; empty: unsigned
	Priority    detect.Priority
	Hours       *Hours         // nil: at any hour
	Days        []time.Weekday // on which Hours hold; empty: every day
	Repeat      time.Duration  // until acknowledged; 0: told once
	Then        string         // the webhook that is told where nobody acknowledged
	After       time.Duration  // for so long
	Report      *time.Duration // time of day of the morning report, since midnight; nil: none
	Method      string         // this, what is behind the URL's host, and the next three are text/templates
	ContentType string
	Headers     map[string]string
	Body        string            // empty: the alarm as JSON
	Secrets     map[string]Secret // for the templates, by name
	Road        Road
}

// Hours is a stretch of every day; where To is not after From it goes over midnight.
type Hours struct{ From, To time.Duration } // since midnight

// Default is the configuration of somebody who wrote none.
func Default() Config {
	return Config{
		Site:   "cellar",
		Zone:   time.UTC,
		Data:   "spile-data",
		HTTP:   HTTP{Listen: "127.0.0.1:8420"},
		MQTT:   MQTT{Listen: "127.0.0.1:1883", ClientID: "spile"},
		Tanks:  map[string]Tank{},
		Probes: map[string]Probe{},
		Alarms: map[detect.Alarm]AlarmRule{},
		given:  map[string]int{},
	}
}

// Load reads a file. Its error is of type Errors where the file could be read.
func Load(path string) (Config, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return Config{}, Errors{{File: path, Text: "there is no such file: leave --config out to run with the defaults"}}
	}
	if err != nil {
		return Config{}, fmt.Errorf("reading the configuration: %w", err)
	}
	return Parse(path, text)
}

// Parse reads the text of a file; path is where it stands.
func Parse(path string, text []byte) (Config, error) {
	c := Default()
	c.Path = path
	r := &reader{file: path, folder: filepath.Dir(path), given: c.given}
	if root := r.parse(text); root != nil {
		r.config(&c, root)
		r.crossCheck(&c)
	}
	if len(r.faults) == 0 {
		return c, nil
	}
	slices.SortStableFunc(r.faults, func(a, b Fault) int { return cmp.Compare(a.Line, b.Line) })
	return Config{}, r.faults
}

// Where names the place of a key in the file, such as "spile.yaml:12" for
// "webhooks.0.body", and the file alone for one that was not given.
func (c Config) Where(key string) string {
	if line, ok := c.given[key]; ok {
		return fmt.Sprintf("%s:%d", c.Path, line)
	}
	return c.Path
}
