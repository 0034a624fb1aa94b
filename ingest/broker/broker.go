// Package broker is the MQTT broker inside spile, for a cellar that has none:
// probes publish to it, people's programs may subscribe to it.
//
// It owns the listener, the clients' connections and who may connect. Every
// message that a client publishes is handed to the intake before the client
// gets its PUBACK (QoS 1) or PUBREC (QoS 2), and is passed on to subscribers
// only after that: what is acknowledged is on disk. The packets of one client
// are handled in order; some hundred messages of QoS 1 of one client, and those
// of all clients, share the intake's commits, while those of QoS 2 and retained
// ones each wait for their own.
//
// A message that is not on disk within half its client's keepalive is not
// acknowledged. MQTT 3.1.1 lets a client send it again only on a new
// connection (section 4.4), so its connection is closed: it comes back, sends
// again, and a reading that had reached the disk after all counts once. With
// QoS 0 there is nothing to withhold; such a message is lost when the journal
// does not take it, which the log says.
//
// Not every message is a reading. Topics that begin with $ are the broker's
// own business, a will is sent by the broker when its client is gone, and a
// retained message is repeated to each new subscriber: none of these reach
// the intake. A publication that asks to be retained reaches it once, marked.
//
// Sessions, retained messages and what waits for an absent subscriber are in
// memory, bounded, and gone after a restart. spile itself does not depend on
// them; whoever needs a broker that keeps them runs one, and package
// subscriber listens to it.
package broker

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"

	"spile/ingest"
)

// Bounds of what strangers can make the broker hold.
const (
	maxClients  = 1000
	maxPayload  = 64 << 10             // bytes; the decoder refuses longer ones, with a word why
	maxPacket   = 2*maxPayload + 1<<10 // the payload, the longest topic (64 KiB, MQTT 3.1.1 section 1.5.3), properties
	maxRetained = 1000                 // topics
	maxPending  = 1024                 // messages that wait for one subscriber
	maxAliases  = 100                  // topics, per client
	sessionKept = 24 * 60 * 60         // seconds that an absent client's session is kept
	sysInterval = 30                   // seconds between publications under $SYS
)

// Intake takes messages: Hear returns when one is on disk, or refused and
// counted; Offer takes it in order, and calls done then. ingest.Intake is one.
type Intake interface {
	Hear(ctx context.Context, m ingest.Message) error
	Offer(ctx context.Context, m ingest.Message, done func(error)) error
}

// Credential lets one user in.
type Credential struct {
	Username, Password string
	Tanks              []string // whose topics alone it may publish to and hear; empty: all topics
}

// Options is what a Broker is made of.
type Options struct {
	Listen      string // host:port; empty: 127.0.0.1:1883; port 0: any free one
	Intake      Intake
	Credentials []Credential              // empty: everybody who reaches the port may connect
	Anonymous   bool                      // needed to listen to other machines without Credentials
	TLS         *tls.Config               // nil: in the clear
	TankOf      func(topic string) string // the tank that a topic or filter belongs to; needed where a credential has tanks
	Log         *slog.Logger              // nil: silent
}

// Broker is the embedded broker.
type Broker struct {
	options Options
	server  *mqtt.Server
	door    *door
	cancel  context.CancelFunc // ends the hooks' patience

	sessions *sessions
}

// New makes a broker that does not listen yet.
func New(o Options) (*Broker, error) {
	if o.Intake == nil {
		return nil, errors.New("broker: needs an intake")
	}
	if o.Listen == "" {
		o.Listen = "127.0.0.1:1883"
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if len(o.Credentials) == 0 && !o.Anonymous && !loopback(o.Listen) {
		return nil, fmt.Errorf("broker: %s can be reached by other machines: set a username and password, or allow anonymous clients", o.Listen)
	}
	server := mqtt.New(&mqtt.Options{
		Capabilities:           capabilities(),
		InlineClient:           true, // by which the trays pass on what is on disk
		SysTopicResendInterval: sysInterval,
		Logger:                 slog.New(discreet{o.Log.Handler()}),
	})
	ctx, cancel := context.WithCancel(context.Background())
	b := &Broker{options: o, server: server, cancel: cancel, sessions: &sessions{server: server, log: o.Log, most: maxClients + maxAbsent}}
	err := server.AddHook(&journalHook{intake: o.Intake, server: server, log: o.Log, ctx: ctx}, nil)
	return b, errors.Join(err, server.AddHook(newGatekeeper(o), nil), server.AddHook(b.sessions, nil))
}

// loopback tells whether only this machine reaches an address to listen on.
func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// capabilities bounds memory; what is not named keeps the library's default.
func capabilities() *mqtt.Capabilities {
	c := mqtt.NewDefaultServerCapabilities()
	c.MaximumClients = maxClients
	c.MaximumPacketSize = maxPacket
	c.MaximumInflight = maxPending
	c.MaximumClientWritesPending = maxPending
	c.MaximumSessionExpiryInterval = sessionKept
	c.TopicAliasMaximum = maxAliases
	return c
}

// Start listens and returns when clients can connect.
func (b *Broker) Start(ctx context.Context) error {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", b.options.Listen)
	if err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	if b.options.TLS != nil {
		l = tls.NewListener(l, b.options.TLS)
	}
	b.door = newDoor(l, b.options.Log)
	if err := b.server.AddListener(reception{listeners.NewNet("mqtt", b.door), b.server, b.options.Log}); err != nil {
		return errors.Join(fmt.Errorf("broker: %w", err), l.Close())
	}
	if err := b.server.Serve(); err != nil {
		return errors.Join(fmt.Errorf("broker: %w", err), l.Close())
	}
	return nil
}

// Addr is where the broker listens, once started.
func (b *Broker) Addr() net.Addr { return b.door.Addr() }

// Stop takes no new clients and hears no more from those there are, waits, as
// long as ctx lasts, until what they have sent is on disk and acknowledged,
// and parts from them. Call it once.
func (b *Broker) Stop(ctx context.Context) error {
	defer b.cancel()
	if b.door == nil {
		return nil
	}
	var late error
	empty := b.door.dismiss()
	select {
	case <-empty:
	case <-ctx.Done():
		late = fmt.Errorf("broker: stopped before every client had its answer: %w", ctx.Err())
		b.cancel()
		b.door.hangUp()
		<-empty
	}
	return errors.Join(late, b.server.Close())
}
