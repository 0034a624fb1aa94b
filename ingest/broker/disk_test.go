package broker

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest"
	"spile/ingest/journal"
)

// Many clients at once, each waiting for its acknowledgements: all is on disk,
// in each client's order.
func TestWhatClientsWereAcknowledgedIsOnDisk(t *testing.T) {
	b, j, _ := onDisk(t, prometheus.NewRegistry())
	const each = 50
	probes := []string{"hyd-1", "hyd-2", "hyd-3", "hyd-4"}
	clients := make([]*client, len(probes))
	for i, p := range probes {
		clients[i] = connect(t, b, p)
	}
	for n := range each {
		for i, c := range clients {
			at := time.Date(2026, 3, 2, 1, 0, n, 0, time.UTC).Format(time.RFC3339)
			c.publish("cellar/FV3/"+probes[i], `{"time":"`+at+`","gravity":1.01}`, 1)
		}
		for _, c := range clients {
			c.next(packets.Puback)
		}
	}
	entries, err := j.After(t.Context(), 0, 1000)
	require.NoError(t, err)
	require.Len(t, entries, each*len(probes))
	newest := map[string]time.Time{}
	for _, e := range entries {
		assert.True(t, e.Reading.Time.After(newest[e.Reading.Probe]))
		newest[e.Reading.Probe] = e.Reading.Time
	}
}

func TestStopAnswersWhatIsOnItsWayToDisk(t *testing.T) {
	e := &ear{gate: make(chan error)}
	b, err := New(Options{Listen: "127.0.0.1:0", Intake: e})
	require.NoError(t, err)
	require.NoError(t, b.Start(t.Context()))
	c, idle, mute := connect(t, b, "hyd-1"), connect(t, b, "hyd-2"), dial(t, b)
	c.publish("cellar/FV3/hyd-1", "1", 1)
	e.waitFor(t, 1)
	stopped := make(chan error, 1)
	go func() { stopped <- b.Stop(context.Background()) }()
	idle.ends()
	mute.ends() // who never said who he is does not hold up the end
	e.gate <- nil
	c.next(packets.Puback)
	c.ends()
	require.NoError(t, <-stopped)
}

func TestStopDoesNotWaitForADeadJournal(t *testing.T) {
	e := &ear{gate: make(chan error), over: make(chan struct{})}
	defer close(e.over)
	b, err := New(Options{Listen: "127.0.0.1:0", Intake: e})
	require.NoError(t, err)
	require.NoError(t, b.Start(t.Context()))
	c := connect(t, b, "hyd-1")
	c.publish("cellar/FV3/hyd-1", "1", 1)
	e.waitFor(t, 1)
	ctx, cancel := context.WithTimeout(t.Context(), silence)
	defer cancel()
	require.ErrorIs(t, b.Stop(ctx), context.DeadlineExceeded)
	c.ends()
}

// onDisk is a broker before a real intake and journal.
func onDisk(t *testing.T, reg prometheus.Registerer) (*Broker, *journal.Journal, *ingest.Intake) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Memory: true})
	require.NoError(t, err)
	d, err := ingest.NewDecoder(ingest.DecoderOptions{})
	require.NoError(t, err)
	clock := func() time.Time { return time.Date(2026, 3, 2, 1, 16, 0, 0, time.UTC) }
	in, err := ingest.NewIntake(ingest.IntakeOptions{Journal: j, Decoder: d, Clock: clock, Registerer: reg, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	in.Start(t.Context())
	t.Cleanup(func() {
		assert.NoError(t, in.Stop(context.Background()))
		assert.NoError(t, j.Close())
	})
	return start(t, Options{Intake: in}), j, in
}

// committed waits for the intake's next commit.
func committed(t *testing.T, in *ingest.Intake) {
	t.Helper()
	select {
	case <-in.Committed():
	case <-time.After(patient):
		t.Fatal("nothing was committed")
	}
}
