package subscriber

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTime  = 10 * time.Second // for the network, and again for the broker's CONNACK
	grantTime    = 10 * time.Second // that the broker may say nothing, before it answers a subscription
	keepAlive    = 30 * time.Second
	pingTime     = 10 * time.Second
	checkEach    = time.Second
	quiesceMilli = 250  // for the DISCONNECT to leave
	failure      = 0x80 // return code of SUBACK, MQTT 3.1.1 section 3.9.3
)

// errLost is the end of a connection of which nothing more is known.
var errLost = errors.New("the connection is lost")

// serve connects, subscribes and stays until the connection is lost or ctx
// ends; it tells why. Each connection has a client of its own: the library's
// reconnect waits in sleeps that nothing interrupts.
func (s *Subscriber) serve(ctx, hearing context.Context) error {
	lost := make(chan error, 1)
	client := paho.NewClient(s.clientOptions(hearing, lost))
	client.AddRoute("#", s.handler(hearing)) // before Connect: the broker sends what it kept at once
	defer client.Disconnect(quiesceMilli)
	if err := await(ctx, client.Connect()); err != nil {
		return err
	}
	detail, err := s.subscribe(ctx, client)
	if err != nil {
		return err
	}
	s.report(true, detail)
	return watch(ctx, client, lost)
}

// clientOptions is the recipe under which no message is lost: see the package
// comment. One route for all topics and the default handler are the same, for
// the library neither acknowledges nor keeps a message that no handler takes.
func (s *Subscriber) clientOptions(hearing context.Context, lost chan<- error) *paho.ClientOptions {
	o := paho.NewClientOptions()
	o.AddBroker(s.broker.String())
	o.SetClientID(s.options.ClientID)
	o.SetUsername(s.options.Username)
	o.SetPassword(s.options.Password)
	if s.options.TLS != nil {
		o.SetTLSConfig(s.options.TLS)
	}
	o.SetProtocolVersion(4) // MQTT 3.1.1
	o.SetCleanSession(false)
	o.SetAutoAckDisabled(true)
	o.SetOrderMatters(true)
	o.SetAutoReconnect(false)
	o.SetDialer(&net.Dialer{Timeout: connectTime})
	o.SetConnectTimeout(connectTime)
	o.SetKeepAlive(keepAlive)
	o.SetPingTimeout(pingTime)
	o.SetDefaultPublishHandler(s.handler(hearing))
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err }) // called once per connection
	return o
}

// subscribe asks for the topics and tells what the broker granted.
func (s *Subscriber) subscribe(ctx context.Context, client paho.Client) (detail string, err error) {
	filters := make(map[string]byte, len(s.options.Topics))
	for _, t := range s.options.Topics {
		filters[t] = 1
	}
	token := client.SubscribeMultiple(filters, nil)
	if err := s.awaitGrant(ctx, token); err != nil {
		return "", fmt.Errorf("subscribing: %w", err)
	}
	granted, ok := token.(*paho.SubscribeToken)
	if !ok {
		return "", fmt.Errorf("subscribing: an answer of an unknown kind, %T", token)
	}
	return judgeGrant(granted.Result())
}

// errUngranted is a broker that says nothing more.
var errUngranted = errors.New("the broker does not answer")

// awaitGrant waits for the answer to a subscription. What the broker has kept for the session comes before it, and a
// long backlog takes as long as the disk does: only silence is a failure.
func (s *Subscriber) awaitGrant(ctx context.Context, token paho.Token) error {
	for {
		heard := s.heard.Load()
		silent, cancel := context.WithTimeout(ctx, s.grant)
		err := await(silent, token)
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) || ctx.Err() != nil {
			return err
		}
		if s.heard.Load() == heard {
			return errUngranted
		}
	}
}

// judgeGrant reads the broker's answer to a subscription, the QoS granted for
// each filter.
func judgeGrant(granted map[string]byte) (detail string, err error) {
	var denied, weak []string
	for topic, qos := range granted {
		switch {
		case qos >= failure:
			denied = append(denied, topic)
		case qos == 0:
			weak = append(weak, topic)
		}
	}
	slices.Sort(denied)
	slices.Sort(weak)
	switch {
	case len(granted) == 0:
		return "", errors.New("the broker granted no subscription")
	case len(denied) > 0:
		return "", fmt.Errorf("the broker does not let this user listen to %s: mend its access list", strings.Join(denied, ", "))
	case len(weak) > 0:
		return "subscribed, but with QoS 0 only for " + strings.Join(weak, ", ") + ": messages can be lost on the way", nil
	}
	return "subscribed", nil
}

// watch waits for the end of a connection. The library tells of a loss only
// when it has taken the connection down, for which it waits for a handler that
// may wait for the journal; so its state is looked at too.
func watch(ctx context.Context, client paho.Client, lost <-chan error) error {
	check := time.NewTicker(checkEach)
	defer check.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return fmt.Errorf("%w: %w", errLost, err)
		case <-check.C:
			if !client.IsConnectionOpen() {
				return errLost
			}
		}
	}
}

// await waits for the library to finish something, as long as ctx lasts.
func await(ctx context.Context, token paho.Token) error {
	select {
	case <-token.Done():
		return token.Error()
	case <-ctx.Done():
		return ctx.Err()
	}
}
