package broker

import (
	"bytes"
	"log/slog"
	"sync"
	"testing"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheLibrarysLogShowsNoPackets(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(discreet{slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug})})
	pk := packets.Packet{Connect: packets.ConnectParams{Password: []byte("hop-1")}, Payload: []byte("hop-2")}
	log.With("listener", "mqtt").WithGroup("g").Warn("error processing packet", "client", "hyd-1", "pk", pk)
	log.Error("publish packet error", "packet", pk)
	log.Warn("", "error", "EOF")
	log.Info("attached listener")
	text := out.String()
	assert.NotContains(t, text, "hop-")
	assert.Contains(t, text, `level=INFO msg="mqtt: error processing packet" listener=mqtt g.client=hyd-1`)
	assert.Contains(t, text, `level=ERROR msg="mqtt: publish packet error"`)
	assert.Contains(t, text, `level=INFO msg="mqtt: a client's connection ended" error=EOF`)
	assert.Contains(t, text, `level=DEBUG msg="mqtt: attached listener"`)
}

func TestTheLibrarysProgressIsNoNews(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(discreet{slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelInfo})})
	log.Info("added hook")
	assert.Empty(t, out.String())
	log.Warn("client store quota reached")
	assert.NotEmpty(t, out.String())
}

// A second CONNECT is a protocol error, which the library logs with the packet
// and so with the password.
func TestAPasswordDoesNotReachTheLog(t *testing.T) {
	var out lockedBuffer
	b := start(t, Options{Intake: &ear{}, Log: slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	secret := func(pk *packets.Packet) {
		pk.Connect.UsernameFlag, pk.Connect.PasswordFlag = true, true
		pk.Connect.Username, pk.Connect.Password = []byte("cellar"), []byte("hop-1")
	}
	c := connect(t, b, "hyd-1", secret)
	c.send(encode(t, packets.Packet{ProtocolVersion: 4, FixedHeader: packets.FixedHeader{Type: packets.Connect}, Connect: packets.ConnectParams{
		ProtocolName: []byte("MQTT"), ClientIdentifier: "hyd-1", UsernameFlag: true, PasswordFlag: true, Username: []byte("cellar"), Password: []byte("hop-1"),
	}}))
	c.ends()
	require.Eventually(t, func() bool { return bytes.Contains(out.bytes(), []byte("error processing packet")) }, patient, 1e6)
	assert.NotContains(t, string(out.bytes()), "hop-1")
	assert.NotContains(t, string(out.bytes()), "104 111 112", "the bytes of it")
}

// lockedBuffer takes a log from several goroutines.
type lockedBuffer struct {
	mu  sync.Mutex
	all bytes.Buffer
}

// Write adds one line.
func (b *lockedBuffer) Write(line []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.all.Write(line)
}

func (b *lockedBuffer) bytes() []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	return bytes.Clone(b.all.Bytes())
}
