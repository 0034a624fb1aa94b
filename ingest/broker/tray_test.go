package broker

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// numbered makes a publication one of a packet id.
func numbered(id int) func(*packets.Packet) {
	return func(pk *packets.Packet) { pk.PacketID = uint16(id) }
}

// A client sends many messages before it hears of the first. All of them are on disk when it has its answers, in the
// order sent; and who subscribes gets them in that order, after they were kept.
func TestAClientNeedNotWaitForEachAnswer(t *testing.T) {
	b, j, in := onDisk(t, prometheus.NewRegistry())
	s := connect(t, b, "somebody")
	s.subscribe("cellar/#")
	c := connect(t, b, "hyd-1")
	const messages = 800 // fewer than may wait for one subscriber
	var heard sync.WaitGroup
	heard.Go(func() {
		for n := range messages {
			assert.Equal(t, fmt.Sprintf(`{"time":%d,"gravity":1.0118}`, 1772400000+n), string(s.next(packets.Publish).Payload))
		}
	})
	for n := range messages {
		c.publish("cellar/FV3/hyd-1", fmt.Sprintf(`{"time":%d,"gravity":1.0118}`, 1772400000+n), 1, numbered(n+1))
	}
	for n := range messages {
		require.EqualValues(t, n+1, c.next(packets.Puback).PacketID)
	}
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, messages, last, "%v", in.Refusals()[:min(1, len(in.Refusals()))])
	heard.Wait()
}

// The journal takes nothing: of one client so many messages are held, and no more is read from it.
func TestWhatWaitsOfOneClientHasABound(t *testing.T) {
	e := &ear{gate: make(chan error)}
	c := connect(t, start(t, Options{Intake: e}), "hyd-1", func(pk *packets.Packet) { pk.Connect.Keepalive = 0 })
	var sent sync.WaitGroup
	sent.Go(func() {
		for n := range trayHolds + 50 {
			c.publish("cellar/FV3/hyd-1", "1.01", 1, numbered(n+1))
		}
	})
	e.waitFor(t, trayHolds)
	assert.Never(t, func() bool { return len(e.messages()) > trayHolds }, silence, 10*time.Millisecond)
	for range trayHolds + 50 {
		e.gate <- nil
	}
	sent.Wait()
	for range trayHolds + 50 {
		c.next(packets.Puback)
	}
}

// A message that never reaches the disk has its client connect anew, though others of it were answered.
func TestOneLateMessageIsEnoughToPart(t *testing.T) {
	e := &ear{gate: make(chan error)}
	c := connect(t, start(t, Options{Intake: e}), "hyd-1", func(pk *packets.Packet) { pk.Connect.Keepalive = 1 })
	c.publish("cellar/FV3/hyd-1", "1.01", 1, numbered(1))
	c.publish("cellar/FV3/hyd-1", "1.02", 1, numbered(2))
	e.gate <- nil
	c.next(packets.Puback)
	c.ends()
}
