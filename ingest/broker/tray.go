package broker

import (
	"sync"

	"github.com/mochi-mqtt/server/v2/packets"
)

// trayHolds is how many messages of one client may wait for the disk. A client
// that sends more is not read further until the first of them is there.
const trayHolds = 256

// tray holds what a client has published at QoS 1 and what is still to be
// acknowledged: so the next message need not wait for the commit of the one
// before, and a commit is answered with one write.
type tray struct {
	room  chan struct{}        // one for each message
	ready chan *packets.Packet // on disk, in the order of the commits; there is room for all
	gone  chan struct{}        // closed with the connection
	begin sync.Once
}

func newTray() *tray {
	return &tray{room: make(chan struct{}, trayHolds), ready: make(chan *packets.Packet, trayHolds), gone: make(chan struct{})}
}

// serve acknowledges what is ready and passes it on, until the client is gone.
// Where an acknowledgement cannot be written the connection has ended, and its
// reader finds out.
func (t *tray) serve(write func([]byte), pass func(*packets.Packet)) {
	batch := make([]*packets.Packet, 0, trayHolds)
	var acks []byte
	for {
		select {
		case pk := <-t.ready:
			batch = t.gather(append(batch[:0], pk))
		case <-t.gone:
			return
		}
		acks = acks[:0]
		for _, pk := range batch {
			// PUBACK without a reason code is success, in every version of MQTT.
			acks = append(acks, packets.Puback<<4, 2, byte(pk.PacketID>>8), byte(pk.PacketID))
		}
		write(acks)
		for _, pk := range batch {
			pass(pk)
			<-t.room
		}
		clear(batch)
	}
}

// gather takes what else is ready.
func (t *tray) gather(batch []*packets.Packet) []*packets.Packet {
	for len(batch) < cap(batch) {
		select {
		case pk := <-t.ready:
			batch = append(batch, pk)
		default:
			return batch
		}
	}
	return batch
}

// settle waits until everything is acknowledged, or there is no more time.
func (t *tray) settle(hurry <-chan struct{}) {
	for range trayHolds {
		select {
		case t.room <- struct{}{}:
		case <-hurry:
			return
		}
	}
}
