package subscriber

import (
	"net"
	"testing"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rawConn is a client with a will whose connection the test can cut; the
// library would say goodbye.
func rawConn(t *testing.T, address, id, topic, will string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	hello, ok := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	require.True(t, ok)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession = "MQTT", 4, true
	hello.ClientIdentifier, hello.Keepalive = id, 60
	hello.WillFlag, hello.WillTopic, hello.WillMessage = true, topic, []byte(will)
	require.NoError(t, hello.Write(conn))
	answer, err := packets.ReadPacket(conn)
	require.NoError(t, err)
	ack, ok := answer.(*packets.ConnackPacket)
	require.True(t, ok)
	require.Zero(t, ack.ReturnCode)
	return conn
}

// stingy is a broker that lets everybody in and nobody listen. It serves one
// client after the other until the test ends.
func stingy(t *testing.T) (url string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			refuseAll(conn)
		}
	}()
	t.Cleanup(func() {
		assert.NoError(t, l.Close())
		<-ended
	})
	return "mqtt://" + l.Addr().String()
}

// refuseAll answers one client until it hangs up.
func refuseAll(conn net.Conn) {
	defer func() { _ = conn.Close() }() // the client has hung up
	for {
		pk, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch pk := pk.(type) {
		case *packets.ConnectPacket:
			err = packets.NewControlPacket(packets.Connack).Write(conn)
		case *packets.SubscribePacket:
			ack, _ := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket)
			ack.MessageID, ack.ReturnCodes = pk.MessageID, []byte{failure}
			err = ack.Write(conn)
		}
		if err != nil {
			return
		}
	}
}
