package broker

import (
	"context"
	"log/slog"
	"strings"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"spile/ingest"
)

// longestPatience is how long a hook waits for the disk where the client's
// keepalive sets no shorter time.
const longestPatience = 30 * time.Second

// journalHook stands between a client's PUBLISH and its acknowledgement.
type journalHook struct {
	mqtt.HookBase
	intake Intake
	server *mqtt.Server
	log    *slog.Logger
	ctx    context.Context // ends when Stop has no time left
}

// ID names the hook in the library's log.
func (h *journalHook) ID() string { return "journal" }

// Provides tells the library which of the hook's methods to call.
func (h *journalHook) Provides(event byte) bool { return event == mqtt.OnPublish }

// OnPublish brings a client's message onto disk. The library acknowledges
// after it returns, unless it returns ErrRejectPacket: any other error would
// be acknowledged to a client of MQTT 3.1.1.
func (h *journalHook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	if cl.Net.Inline || strings.HasPrefix(pk.TopicName, "$") {
		return pk, nil
	}
	ctx, cancel := context.WithTimeout(h.ctx, patience(cl.State.Keepalive))
	defer cancel()
	if g, ok := cl.Net.Conn.(*guest); ok && pk.FixedHeader.Qos == 1 && !pk.FixedHeader.Retain {
		if err := h.offer(ctx, g, cl, pk); err != nil {
			h.turnAway(cl, pk, err)
		}
		return pk, packets.ErrRejectPacket // the tray acknowledges, not the library
	}
	err := h.intake.Hear(ctx, ingest.Message{Topic: pk.TopicName, Payload: pk.Payload, Retained: pk.FixedHeader.Retain})
	if err != nil {
		h.turnAway(cl, pk, err)
		return pk, packets.ErrRejectPacket
	}
	if h.tooManyRetained(pk) {
		pk.FixedHeader.Retain = false
	}
	return pk, nil
}

// offer hands a message of QoS 1 to the intake and does not wait: the client's
// tray acknowledges it once it is on disk, and passes it on to subscribers.
func (h *journalHook) offer(ctx context.Context, g *guest, cl *mqtt.Client, pk packets.Packet) error {
	g.tray.begin.Do(func() {
		go g.tray.serve(func(acks []byte) { _, _ = g.Write(acks) }, h.passOn)
	})
	select {
	case g.tray.room <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	late := time.AfterFunc(patience(cl.State.Keepalive), func() { h.turnAway(cl, pk, context.DeadlineExceeded) })
	message := ingest.Message{Topic: pk.TopicName, Payload: pk.Payload}
	err := h.intake.Offer(ctx, message, func(err error) {
		late.Stop()
		if err != nil {
			<-g.tray.room
			h.turnAway(cl, pk, err)
			return
		}
		g.tray.ready <- &pk
	})
	if err != nil {
		late.Stop()
		<-g.tray.room
	}
	return err
}

// passOn gives a message to those who subscribe to its topic.
func (h *journalHook) passOn(pk *packets.Packet) {
	if atomic.LoadInt64(&h.server.Info.Subscriptions) == 0 {
		return
	}
	if err := h.server.Publish(pk.TopicName, pk.Payload, false, pk.FixedHeader.Qos); err != nil {
		h.log.Warn("a message was kept, but not passed on to who subscribes to it", "topic", pk.TopicName, "error", err)
	}
}

// patience is half the keepalive. The library sets a connection's deadline,
// one and a half keepalives, before it reads a packet; a client speaks at
// least once each keepalive, so half of one is left to answer in.
func patience(keepalive uint16) time.Duration {
	if keepalive == 0 {
		return longestPatience
	}
	return min(time.Duration(keepalive)*time.Second/2, longestPatience)
}

// turnAway closes the connection of a client whose message is not on disk, so
// that it connects and sends it again. At QoS 0 it would not, and may stay.
func (h *journalHook) turnAway(cl *mqtt.Client, pk packets.Packet, err error) {
	if pk.FixedHeader.Qos == 0 {
		h.log.Warn("a message of QoS 0 did not reach the disk in time and may be lost: let its probe publish at QoS 1",
			"client", cl.ID, "topic", pk.TopicName, "error", err)
		return
	}
	h.log.Warn("a message is not on disk and not acknowledged: its client is to connect and send it again",
		"client", cl.ID, "topic", pk.TopicName, "error", err)
	if cl.Properties.ProtocolVersion == 5 {
		_ = h.server.DisconnectClient(cl, packets.ErrServerBusy) // gives the code back as an error
		return
	}
	cl.Stop(packets.ErrServerBusy) // before 5 a broker has no DISCONNECT to send
}

// tooManyRetained tells whether keeping pk would add to a full store. An empty
// payload empties its topic.
func (h *journalHook) tooManyRetained(pk packets.Packet) bool {
	return pk.FixedHeader.Retain && len(pk.Payload) > 0 && atomic.LoadInt64(&h.server.Info.Retained) >= maxRetained
}
