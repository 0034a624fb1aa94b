package broker

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest"
)

// judgeOfTopics takes what it is given, and notes the last topic that must not have come.
type judgeOfTopics struct{ wrong chan string }

func (j judgeOfTopics) look(m ingest.Message) {
	if strings.HasPrefix(m.Topic, "$") || strings.ContainsAny(m.Topic, "+#") {
		j.wrong <- m.Topic
	}
}

func (j judgeOfTopics) Hear(_ context.Context, m ingest.Message) error { j.look(m); return nil }

func (j judgeOfTopics) Offer(_ context.Context, m ingest.Message, done func(error)) error {
	j.look(m)
	done(nil)
	return nil
}

// Whatever bytes come over a connection: the broker goes on, serves the next client, and hands the intake no topic of
// its own and no filter.
func FuzzConnection(f *testing.F) {
	hello := func(version byte) []byte {
		return encodeAll(f, packets.Packet{
			ProtocolVersion: version, FixedHeader: packets.FixedHeader{Type: packets.Connect},
			Connect: packets.ConnectParams{ProtocolName: []byte("MQTT"), ClientIdentifier: "probe", Keepalive: 60, Clean: true},
		})
	}
	for _, version := range []byte{4, 5} {
		publish := func(topic string, qos byte, retain bool) packets.Packet {
			return packets.Packet{
				ProtocolVersion: version, FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: qos, Retain: retain}, PacketID: uint16(qos),
				TopicName: topic, Payload: []byte(`{"gravity":1.0118}`),
			}
		}
		subscribe := packets.Packet{
			ProtocolVersion: version, FixedHeader: packets.FixedHeader{Type: packets.Subscribe, Qos: 1}, PacketID: 9,
			Filters: packets.Subscriptions{{Filter: "cellar/#", Qos: 1}, {Filter: "$share/a/+", Qos: 2}},
		}
		for _, topic := range []string{"cellar/FV3/hyd-1", "$SYS/x", "", "/", "a/+/b", strings.Repeat("x", 1<<16-1)} {
			for qos := range byte(3) {
				f.Add(append(hello(version), encodeAll(f, subscribe, publish(topic, qos, qos == 1))...))
			}
		}
		f.Add(append(hello(version), encodeAll(f, packets.Packet{FixedHeader: packets.FixedHeader{Type: packets.Pubrel, Qos: 1}, PacketID: 7})...))
		f.Add(append(hello(version), 0xc0, 0, 0xe0, 0)) // PINGREQ, DISCONNECT
		f.Add(append(hello(version), hello(version)...))
	}
	f.Add(append(hello(5), cutShort...))
	f.Add([]byte("GET / HTTP/1.1\r\n\r\n"))
	f.Add([]byte{0x10, 0xff, 0xff, 0xff, 0x7f})
	f.Add([]byte{0x30, 0xff, 0xff, 0xff, 0xff, 0xff})
	j := judgeOfTopics{make(chan string, 100)}
	b := start(f, Options{Intake: j})
	f.Fuzz(func(t *testing.T, raw []byte) {
		talk(t, b, raw)
		c := connect(t, b, "next")
		c.publish("cellar/FV3/hyd-1", `{"gravity":1.0118}`, 1)
		c.next(packets.Puback)
		require.NoError(t, c.conn.Close())
		select {
		case topic := <-j.wrong:
			t.Fatalf("the intake was given %q", topic)
		default:
		}
	})
}

// cutShort is a SUBSCRIBE of MQTT 5 that ends behind its filter, where the options should stand.
var cutShort = []byte{0x82, 6, 0, 9, 0, 0, 1, 'a'}

// A packet on which the library fails ends the connection that it came on, and is told; nobody else notices.
func TestAPacketThatBreaksTheLibraryEndsItsConnectionAlone(t *testing.T) {
	var said lockedBuffer
	b := start(t, Options{Intake: &ear{}, Log: slog.New(slog.NewTextHandler(&said, nil))})
	other := connect(t, b, "other")
	for range 3 {
		c := connect(t, b, "broken", func(pk *packets.Packet) { pk.ProtocolVersion = 5 })
		c.send(cutShort)
		c.ends()
	}
	other.publish("cellar/FV3/hyd-1", `{"gravity":1.0118}`, 1)
	other.next(packets.Puback)
	assert.Eventually(t, func() bool { // the library closes a connection before its fault is said
		return bytes.Count(said.bytes(), []byte("please report this")) == 3
	}, patient, time.Millisecond, "each fault is said")
	assert.NotContains(t, string(said.bytes()), "cellar/FV3", "no packet is shown")
	assert.Eventually(t, func() bool {
		_, listed := b.server.Clients.Get("broken")
		return !listed
	}, patient, time.Millisecond, "it is on no list any more")
}

// talk sends bytes, and waits until the broker ends the connection.
func talk(t *testing.T, b *Broker, raw []byte) {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr().String())
	require.NoError(t, err)
	defer func() { _ = conn.Close() }() // the broker may have ended it
	require.NoError(t, conn.SetDeadline(time.Now().Add(patient)))
	_, _ = conn.Write(raw) // it may end before all is said
	_ = conn.(*net.TCPConn).CloseWrite()
	_, err = io.Copy(io.Discard, conn)
	require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "the connection stays though the client has gone")
}

func encodeAll(t testing.TB, all ...packets.Packet) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, pk := range all {
		out.Write(encode(t, pk))
	}
	return out.Bytes()
}
