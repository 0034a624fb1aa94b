package broker

import (
	"context"
	"fmt"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lasting asks for a session that outlives its connection.
func lasting(pk *packets.Packet) { pk.Connect.Clean = false }

// A device asks for a session, and comes under another name each time.
func TestAbsentSessionsHaveABound(t *testing.T) {
	const most = 20
	b, err := New(Options{Listen: "127.0.0.1:0", Intake: &ear{}})
	require.NoError(t, err)
	b.sessions.most = most
	require.NoError(t, b.Start(t.Context()))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patient)
		defer cancel()
		assert.NoError(t, b.Stop(ctx))
	})
	stays := connect(t, b, "stays", lasting)
	stays.subscribe("cellar/#")
	for i := range 3 * most {
		c := connect(t, b, fmt.Sprint("device-", i), lasting)
		c.subscribe("cellar/#")
		require.NoError(t, c.conn.Close())
		left := func() bool {
			gone, ok := b.server.Clients.Get(fmt.Sprint("device-", i))
			return !ok || gone.StopTime() > 0
		}
		require.Eventually(t, left, patient, time.Millisecond)
	}
	assert.LessOrEqual(t, b.server.Clients.Len(), most+1)
	assert.LessOrEqual(t, atomic.LoadInt64(&b.server.Info.Subscriptions), int64(most+1))
	connect(t, b, "probe").publish("cellar/FV3/hyd-1", "1.01", 1)
	assert.Equal(t, "1.01", string(stays.next(packets.Publish).Payload), "who is there stays")
}

// A small machine holds a thousand connections, and as many sessions that were left.
func TestAConnectionTakesLittleRoom(t *testing.T) {
	const connections, each = 200, 64 << 10
	b := start(t, Options{Intake: &ear{}})
	room := func() int64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	before := room()
	for i := range connections {
		connect(t, b, fmt.Sprint("hyd-", i), lasting)
	}
	assert.Less(t, (room()-before)/connections, int64(each), "bytes a connection")
}
