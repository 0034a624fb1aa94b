package broker

import (
	"bufio"
	"bytes"
	"io"
	"net"
	"os"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	patient = 10 * time.Second       // for what must come
	silence = 150 * time.Millisecond // for what must not
)

// client speaks MQTT packet by packet, so that a test sees each
// acknowledgement and can break off anywhere.
type client struct {
	t       *testing.T
	conn    net.Conn
	from    *bufio.Reader
	version byte
}

// dial opens a connection and says nothing.
func dial(t *testing.T, b *Broker) *client {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr().String())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() }) // most tests have closed it
	return &client{t: t, conn: conn, from: bufio.NewReader(conn), version: 4}
}

// connect opens a connection and gets its CONNACK.
func connect(t *testing.T, b *Broker, id string, change ...func(*packets.Packet)) *client {
	t.Helper()
	c := dial(t, b)
	require.Zero(t, c.hello(id, change...).ReasonCode)
	return c
}

// hello sends a CONNECT and gives the CONNACK.
func (c *client) hello(id string, change ...func(*packets.Packet)) packets.Packet {
	c.t.Helper()
	pk := packets.Packet{ProtocolVersion: 4, FixedHeader: packets.FixedHeader{Type: packets.Connect}}
	pk.Connect = packets.ConnectParams{ProtocolName: []byte("MQTT"), ClientIdentifier: id, Keepalive: 60, Clean: true}
	for _, f := range change {
		f(&pk)
	}
	c.version = pk.ProtocolVersion
	c.send(encode(c.t, pk))
	return c.next(packets.Connack)
}

func encode(t testing.TB, pk packets.Packet) []byte {
	t.Helper()
	encoders := map[byte]func(*packets.Packet, *bytes.Buffer) error{
		packets.Connect: (*packets.Packet).ConnectEncode, packets.Publish: (*packets.Packet).PublishEncode,
		packets.Subscribe: (*packets.Packet).SubscribeEncode, packets.Pubrel: (*packets.Packet).PubrelEncode,
		packets.Disconnect: (*packets.Packet).DisconnectEncode,
	}
	var out bytes.Buffer
	require.NoError(t, encoders[pk.FixedHeader.Type](&pk, &out))
	return out.Bytes()
}

func (c *client) send(raw []byte) {
	c.t.Helper()
	_, err := c.conn.Write(raw)
	require.NoError(c.t, err)
}

// publication is a PUBLISH; its packet id is its QoS plus 10 unless changed.
func (c *client) publication(topic, payload string, qos byte, change ...func(*packets.Packet)) []byte {
	pk := packets.Packet{
		ProtocolVersion: c.version, FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: qos},
		TopicName: topic, Payload: []byte(payload),
	}
	if qos > 0 {
		pk.PacketID = uint16(qos) + 10
	}
	for _, f := range change {
		f(&pk)
	}
	return encode(c.t, pk)
}

func (c *client) publish(topic, payload string, qos byte, change ...func(*packets.Packet)) {
	c.t.Helper()
	c.send(c.publication(topic, payload, qos, change...))
}

func (c *client) subscribe(filter string) {
	c.t.Helper()
	c.send(encode(c.t, packets.Packet{
		ProtocolVersion: c.version, FixedHeader: packets.FixedHeader{Type: packets.Subscribe, Qos: 1}, PacketID: 1,
		Filters: packets.Subscriptions{{Filter: filter}},
	}))
	c.next(packets.Suback)
}

// next reads the next packet, which must be of a kind.
func (c *client) next(kind byte) packets.Packet {
	c.t.Helper()
	pk, err := c.read(patient)
	require.NoError(c.t, err)
	require.Equal(c.t, packets.PacketNames[kind], packets.PacketNames[pk.FixedHeader.Type])
	return pk
}

// hearsNothing waits a while in which no packet must come.
func (c *client) hearsNothing() {
	c.t.Helper()
	pk, err := c.read(silence)
	require.ErrorIs(c.t, err, os.ErrDeadlineExceeded, "%s came", packets.PacketNames[pk.FixedHeader.Type])
}

// ends reads the end of the connection, with no packet before it.
func (c *client) ends() {
	c.t.Helper()
	pk, err := c.read(patient)
	require.Error(c.t, err, "%s came", packets.PacketNames[pk.FixedHeader.Type])
	assert.NotErrorIs(c.t, err, os.ErrDeadlineExceeded, "the connection stays")
}

func (c *client) read(wait time.Duration) (pk packets.Packet, err error) {
	if err := c.conn.SetReadDeadline(time.Now().Add(wait)); err != nil {
		return pk, err
	}
	first, err := c.from.ReadByte()
	if err != nil {
		return pk, err
	}
	fh := packets.FixedHeader{}
	if err := fh.Decode(first); err != nil {
		return pk, err
	}
	fh.Remaining, _, err = packets.DecodeLength(c.from)
	if err != nil {
		return pk, err
	}
	body := make([]byte, fh.Remaining)
	if _, err := io.ReadFull(c.from, body); err != nil {
		return pk, err
	}
	pk = packets.Packet{ProtocolVersion: c.version, FixedHeader: fh}
	decoders := map[byte]func(*packets.Packet, []byte) error{
		packets.Connack: (*packets.Packet).ConnackDecode, packets.Publish: (*packets.Packet).PublishDecode,
		packets.Puback: (*packets.Packet).PubackDecode, packets.Pubrec: (*packets.Packet).PubrecDecode,
		packets.Pubcomp: (*packets.Packet).PubcompDecode, packets.Suback: (*packets.Packet).SubackDecode,
		packets.Disconnect: (*packets.Packet).DisconnectDecode,
	}
	return pk, decoders[fh.Type](&pk, body)
}
