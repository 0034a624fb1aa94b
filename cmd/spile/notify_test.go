package main

import (
	"context"
	"log/slog"
	"net"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTheWatchdogHearsOfAJudgeThatGoesRound listens as systemd does: what stands
// still says nothing, and so is ended and started anew.
func TestTheWatchdogHearsOfAJudgeThatGoesRound(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, socket.Close()) })
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "60000")
	var turns, looks atomic.Uint64
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	manager := serviceManager{slog.New(slog.DiscardHandler)}
	go func() {
		defer close(ended)
		manager.watch(ctx, func() uint64 { looks.Add(1); return turns.Load() })
	}()
	hear := func(within time.Duration) string {
		line := make([]byte, 100)
		require.NoError(t, socket.SetReadDeadline(time.Now().Add(within)))
		n, err := socket.Read(line)
		if err != nil {
			return ""
		}
		return string(line[:n])
	}
	require.Eventually(t, func() bool { return looks.Load() > 3 }, time.Minute, time.Millisecond)
	assert.Empty(t, hear(time.Millisecond), "it has not gone round once")
	for range 3 {
		turns.Add(1)
		assert.Equal(t, "WATCHDOG=1", hear(time.Minute))
	}
	before := looks.Load()
	require.Eventually(t, func() bool { return looks.Load() > before+3 }, time.Minute, time.Millisecond)
	assert.Empty(t, hear(time.Millisecond), "it stands still")
	stop()
	<-ended
	manager.tell("STOPPING=1")
	assert.Equal(t, "STOPPING=1", hear(time.Minute))
}
