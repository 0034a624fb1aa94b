package subscriber

import (
	"context"
	"strings"

	paho "github.com/eclipse/paho.mqtt.golang"

	"spile/ingest"
)

// handler hands messages to the intake. The library calls it one message at a
// time and reads no further while it runs, so it waits for room in the window
// and in the queue, but not beyond the end of hearing. A message that it lets
// go is not acknowledged and comes again.
func (s *Subscriber) handler(hearing context.Context) paho.MessageHandler {
	return func(_ paho.Client, m paho.Message) {
		if strings.HasPrefix(m.Topic(), "$") { // the broker's own, not a probe's
			m.Ack()
			return
		}
		s.turn <- struct{}{}
		defer func() { <-s.turn }()
		select {
		case s.window <- struct{}{}:
		case <-hearing.Done():
			return
		}
		message := ingest.Message{Topic: m.Topic(), Payload: m.Payload(), Retained: m.Retained()}
		if err := s.options.Intake.Offer(hearing, message, s.settle(m)); err != nil {
			<-s.window
			return
		}
		s.heard.Add(1)
	}
}

// settle acknowledges a message that is on disk and gives its place in the
// window free. One that is not, because the intake has stopped, is left to
// the broker.
func (s *Subscriber) settle(m paho.Message) func(error) {
	return func(err error) {
		if err != nil {
			<-s.window
			return
		}
		s.acks <- func() { // there is room: the window is no larger
			m.Ack() // on a connection that has ended meanwhile it does nothing: the message comes again
			<-s.window
		}
	}
}

// acknowledgeAll passes acknowledgements to the broker, so that a network that
// stalls does not hold up the intake.
func (s *Subscriber) acknowledgeAll(ctx context.Context) {
	defer close(s.acked)
	for {
		select {
		case ack := <-s.acks:
			ack()
		case <-ctx.Done():
			return
		}
	}
}
