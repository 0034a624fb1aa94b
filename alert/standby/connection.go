package standby

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net"
	"net/url"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTime  = 5 * time.Second
	connectAgain = time.Second
	writeTime    = 2 * time.Second
	keepAlive    = 10 * time.Second // a broker gives up on a client after one and a half of it (MQTT 3.1.1, 3.1.2.10)
	quiesceMilli = 100
	qos          = 1
	signOfLife   = 0 // QoS: an old one is worth nothing, and must not fill a queue
)

// topics are where the two agree. They lie apart from those of the probes.
type topics struct {
	lease, presence, handover, done, echo   string
	otherPresence, otherHandover, otherDone string
	run                                     string
}

func newTopics(site string, role Role) topics {
	of := func(r Role, what string) string { return fmt.Sprintf("spile/%s/%s/%s", site, r, what) }
	return topics{
		lease: "spile/" + site + "/lease", presence: of(role, "presence"), handover: of(role, "handover"), done: of(role, "done"), echo: of(role, "echo"),
		otherPresence: of(role.Other(), "presence"), otherHandover: of(role.Other(), "handover"), otherDone: of(role.Other(), "done"),
		run: rand.Text(),
	}
}

// heard lists what is listened to.
func (t topics) heard() map[string]byte {
	return map[string]byte{t.lease: qos, t.otherPresence: signOfLife, t.otherHandover: qos, t.otherDone: qos, t.echo: qos}
}

// stayConnected keeps a connection while ctx lasts.
func (s *Standby) stayConnected(ctx context.Context) {
	said := ""
	for ctx.Err() == nil {
		if err := s.connection(ctx); err != nil && ctx.Err() == nil && err.Error() != said {
			said = err.Error()
			s.log.Warn("the other spile is out of reach", "problem", err)
		}
		pause := time.NewTimer(connectAgain)
		select {
		case <-pause.C:
		case <-ctx.Done():
		}
		pause.Stop()
	}
}

// connection lasts until it is lost, or hung up.
func (s *Standby) connection(ctx context.Context) error {
	lost := make(chan error, 1)
	hung, hangUp := context.WithCancel(ctx)
	defer hangUp()
	client := paho.NewClient(s.clientOptions(ctx, lost))
	defer client.Disconnect(quiesceMilli)
	if err := await(ctx, client.Connect()); err != nil {
		return err
	}
	if err := await(ctx, client.SubscribeMultiple(s.topics.heard(), nil)); err != nil {
		return fmt.Errorf("subscribing to spile/%s/#: %w", s.options.Site, err)
	}
	s.then(ctx, func() {
		s.client, s.drop = client, hangUp
		s.show()
		s.linkEcho = s.echo()
	})
	var err error
	select {
	case err = <-lost:
	case <-hung.Done():
	}
	if ctx.Err() != nil { // a broker sends no last will for one that leaves in peace
		client.Publish(s.topics.presence, qos, true, presence{Alive: false}.json()).WaitTimeout(time.Second)
	}
	s.then(ctx, func() {
		if s.client == client {
			s.client, s.drop = nil, nil
			s.machine.link(false, time.Now())
		}
	})
	return err
}

func (s *Standby) clientOptions(ctx context.Context, lost chan<- error) *paho.ClientOptions {
	o := paho.NewClientOptions()
	o.AddBroker(withPort(s.options.Broker))
	o.SetClientID(s.options.ClientID)
	o.SetUsername(s.options.Username)
	o.SetPassword(s.options.Password)
	if s.options.TLS != nil {
		o.SetTLSConfig(s.options.TLS)
	}
	o.SetProtocolVersion(4)
	o.SetCleanSession(false) // what a person did at the other waits here
	o.SetOrderMatters(true)
	o.SetAutoReconnect(false)
	o.SetDialer(&net.Dialer{Timeout: connectTime})
	o.SetConnectTimeout(connectTime)
	o.SetWriteTimeout(writeTime)
	o.SetKeepAlive(keepAlive)
	o.SetPingTimeout(checkTime)
	o.SetBinaryWill(s.topics.presence, presence{Alive: false}.json(), qos, true)
	o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
		topic, payload, retained := m.Topic(), m.Payload(), m.Retained()
		s.then(ctx, func() { s.hear(ctx, topic, payload, retained) })
	})
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	return o
}

// withPort adds the usual port where an address has none.
func withPort(broker string) string {
	u, err := url.Parse(broker)
	if err != nil || u.Port() != "" {
		return broker
	}
	u.Host += map[string]string{"mqtts": ":8883", "ws": ":80", "wss": ":443"}[u.Scheme]
	if u.Scheme == "mqtt" {
		u.Host += ":1883"
	}
	return u.String()
}

// await waits for the library to finish something, for as long as connecting may take.
func await(ctx context.Context, token paho.Token) error {
	limited, cancel := context.WithTimeout(ctx, 2*connectTime)
	defer cancel()
	select {
	case <-token.Done():
		return token.Error()
	case <-limited.Done():
		return limited.Err()
	}
}

// publish sends a message, and tells whether there was a connection to send it
// by. Whether the broker has it the next echo shows.
func (s *Standby) publish(topic string, payload []byte, qos byte, retain bool) bool {
	if s.client == nil || !s.client.IsConnectionOpen() {
		return false
	}
	s.client.Publish(topic, qos, retain, payload)
	return true
}

// show gives a sign of life.
func (s *Standby) show() {
	s.beaten = time.Now()
	s.publish(s.topics.presence, presence{Alive: true}.json(), signOfLife, true)
}

// echo sends the next echo.
func (s *Standby) echo() uint64 {
	s.echoes++
	body, err := json.Marshal(echo{Number: s.echoes, Of: s.topics.run})
	if err != nil {
		panic(err) // a number and a word
	}
	s.publish(s.topics.echo, body, qos, false)
	return s.echoes
}

// hangUp ends the connection; another will be made.
func (s *Standby) hangUp() {
	if s.drop != nil {
		s.drop()
	}
	s.client, s.drop = nil, nil
}
