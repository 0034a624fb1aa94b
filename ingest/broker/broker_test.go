package broker

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"spile/ingest"
	"spile/ingest/journal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// ear is an intake that a test can hold shut.
type ear struct {
	gate chan error    // each message waits for one answer; nil: all are taken at once
	over chan struct{} // closed with the test

	mu       sync.Mutex
	heard    []ingest.Message
	waits    []time.Duration // that the hook would have waited
	waiting  int
	together int // most that waited at the same time
}

func (e *ear) Hear(ctx context.Context, m ingest.Message) error {
	e.enter(ctx, m)
	defer e.leave()
	if e.gate == nil {
		return nil
	}
	select {
	case err := <-e.gate:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (e *ear) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	e.enter(ctx, m)
	if e.gate == nil {
		e.leave()
		done(nil)
		return nil
	}
	go func() {
		defer e.leave()
		select {
		case err := <-e.gate:
			done(err)
		case <-e.over:
			done(errors.New("the test is over"))
		}
	}()
	return nil
}

func (e *ear) enter(ctx context.Context, m ingest.Message) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.heard = append(e.heard, m)
	if end, ok := ctx.Deadline(); ok {
		e.waits = append(e.waits, time.Until(end))
	}
	e.waiting++
	e.together = max(e.together, e.waiting)
}

func (e *ear) leave() { e.mu.Lock(); defer e.mu.Unlock(); e.waiting-- }

func (e *ear) messages() []ingest.Message {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]ingest.Message(nil), e.heard...)
}

// seen is the longest wait of the first message, and how many waited together.
func (e *ear) seen() (wait time.Duration, together int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.waits[0], e.together
}

// waitFor waits until so many messages have been heard.
func (e *ear) waitFor(t *testing.T, n int) {
	t.Helper()
	require.Eventually(t, func() bool { return len(e.messages()) == n }, patient, time.Millisecond)
}

// start runs a broker on a free port for the time of the test.
func start(t testing.TB, o Options) *Broker {
	t.Helper()
	o.Listen = "127.0.0.1:0"
	if e, ok := o.Intake.(*ear); ok && e.over == nil {
		e.over = make(chan struct{})
		t.Cleanup(func() { close(e.over) })
	}
	b, err := New(o)
	require.NoError(t, err)
	require.NoError(t, b.Start(t.Context()))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patient)
		defer cancel()
		assert.NoError(t, b.Stop(ctx))
	})
	return b
}

func TestAcknowledgedOnlyOnceItIsOnDisk(t *testing.T) {
	tests := map[string]struct {
		qos    byte
		answer byte
	}{
		"QoS 1": {1, packets.Puback},
		"QoS 2": {2, packets.Pubrec},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := &ear{gate: make(chan error)}
			c := connect(t, start(t, Options{Intake: e}), "hyd-1")
			c.publish("cellar/FV3/hyd-1", `{"gravity":1.01}`, tt.qos)
			e.waitFor(t, 1)
			c.hearsNothing()
			e.gate <- nil
			assert.EqualValues(t, tt.qos+10, c.next(tt.answer).PacketID)
			assert.Equal(t, []ingest.Message{{Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"gravity":1.01}`)}}, e.messages())
			if tt.qos == 2 {
				c.send(encode(t, packets.Packet{ProtocolVersion: 4, FixedHeader: packets.FixedHeader{Type: packets.Pubrel, Qos: 1}, PacketID: 12}))
				c.next(packets.Pubcomp)
				assert.Len(t, e.messages(), 1)
			}
		})
	}
}

// Subscribers hear a message after it is on disk, and not at all if it is not.
func TestPassedOnOnlyOnceItIsOnDisk(t *testing.T) {
	e := &ear{gate: make(chan error)}
	b := start(t, Options{Intake: e})
	s := connect(t, b, "somebody")
	s.subscribe("cellar/#")
	c := connect(t, b, "hyd-1")
	c.publish("cellar/FV3/hyd-1", "1", 0)
	e.waitFor(t, 1)
	s.hearsNothing()
	e.gate <- errors.New("disk full")
	c.publish("cellar/FV3/hyd-1", "2", 0) // QoS 0: the connection stays
	e.gate <- nil
	assert.Equal(t, "2", string(s.next(packets.Publish).Payload))
}

func TestWhatIsNotOnDiskIsSentAgain(t *testing.T) {
	e := &ear{gate: make(chan error)}
	b := start(t, Options{Intake: e})
	c := connect(t, b, "hyd-1")
	c.publish("cellar/FV3/hyd-1", "1", 1)
	e.gate <- errors.New("disk full")
	c.ends()
	again := connect(t, b, "hyd-1")
	again.publish("cellar/FV3/hyd-1", "1", 1, func(pk *packets.Packet) { pk.FixedHeader.Dup = true })
	e.gate <- nil
	again.next(packets.Puback)
	assert.Len(t, e.messages(), 2)
}

// A client of MQTT 5 is told why: it must not send again before it reconnects.
func TestAClientOfMQTT5IsToldToComeBack(t *testing.T) {
	e := &ear{gate: make(chan error)}
	b := start(t, Options{Intake: e})
	c := connect(t, b, "hyd-1", func(pk *packets.Packet) { pk.ProtocolVersion = 5 })
	c.publish("cellar/FV3/hyd-1", "1", 1)
	e.gate <- errors.New("disk full")
	assert.Equal(t, packets.ErrServerBusy.Code, c.next(packets.Disconnect).ReasonCode)
	c.ends()
}

func TestAMessageWaitsHalfAKeepalive(t *testing.T) {
	for keepalive, want := range map[uint16]time.Duration{
		0: longestPatience, 1: 500 * time.Millisecond, 20: 10 * time.Second, 60: longestPatience, 65535: longestPatience,
	} {
		assert.Equal(t, want, patience(keepalive), "keepalive %d s", keepalive)
	}
	e := &ear{gate: make(chan error)} // never answers
	c := connect(t, start(t, Options{Intake: e}), "hyd-1", func(pk *packets.Packet) { pk.Connect.Keepalive = 1 })
	began := time.Now()
	c.publish("cellar/FV3/hyd-1", "1", 1)
	c.ends()
	assert.GreaterOrEqual(t, time.Since(began), 500*time.Millisecond)
	wait, _ := e.seen()
	assert.LessOrEqual(t, wait, 500*time.Millisecond)
}

func TestTwoClientsWaitForTheDiskTogether(t *testing.T) {
	e := &ear{gate: make(chan error)}
	b := start(t, Options{Intake: e})
	one, two := connect(t, b, "hyd-1"), connect(t, b, "hyd-2")
	one.publish("cellar/FV3/hyd-1", "1", 1)
	two.publish("cellar/FV3/hyd-2", "1", 1)
	e.waitFor(t, 2)
	close(e.gate)
	one.next(packets.Puback)
	two.next(packets.Puback)
	_, together := e.seen()
	assert.Equal(t, 2, together)
}

func TestAWillIsNoReading(t *testing.T) {
	e := &ear{}
	b := start(t, Options{Intake: e})
	s := connect(t, b, "somebody")
	s.subscribe("cellar/#")
	c := connect(t, b, "hyd-1", func(pk *packets.Packet) {
		pk.Connect.WillFlag, pk.Connect.WillTopic, pk.Connect.WillPayload = true, "cellar/FV3/hyd-1", []byte("1.01")
		pk.Connect.WillRetain = true
	})
	require.NoError(t, c.conn.Close())
	assert.Equal(t, "1.01", string(s.next(packets.Publish).Payload), "the will was sent")
	assert.Empty(t, e.messages())
}

func TestTheBrokersOwnTopicsAreNoReadings(t *testing.T) {
	e := &ear{}
	b := start(t, Options{Intake: e})
	s := connect(t, b, "somebody")
	s.subscribe("$SYS/broker/version")
	assert.NotEmpty(t, s.next(packets.Publish).Payload, "$SYS is published")
	c := connect(t, b, "hyd-1")
	for _, topic := range []string{"$SYS/broker/version", "$own/FV3/hyd-1", "cellar/FV3/hyd-1"} {
		c.publish(topic, "1.01", 0)
	}
	c.publish("cellar/FV3/hyd-2", "1.02", 1)
	c.next(packets.Puback)
	heard := e.messages()
	require.Len(t, heard, 2, "in order, so the others were passed over")
	assert.Equal(t, "cellar/FV3/hyd-1", heard[0].Topic)
}

func TestARetainedMessageIsHeardOnceAndMarked(t *testing.T) {
	e := &ear{}
	b := start(t, Options{Intake: e})
	c := connect(t, b, "hyd-1")
	retained := func(pk *packets.Packet) { pk.FixedHeader.Retain = true }
	c.publish("cellar/FV3/hyd-1", "1.01", 1, retained)
	c.next(packets.Puback)
	for range 2 {
		s := connect(t, b, "somebody")
		s.subscribe("cellar/#")
		got := s.next(packets.Publish)
		assert.True(t, got.FixedHeader.Retain)
		assert.Equal(t, "1.01", string(got.Payload), "kept for whoever comes")
	}
	assert.Equal(t, []ingest.Message{{Topic: "cellar/FV3/hyd-1", Payload: []byte("1.01"), Retained: true}}, e.messages())
}

func TestWhatTheBrokerSaysItselfIsNoReading(t *testing.T) {
	e := &ear{}
	b := start(t, Options{Intake: e})
	s := connect(t, b, "somebody")
	s.subscribe("cellar/#")
	inline := b.server.NewClient(nil, "local", "inline", true)
	require.NoError(t, b.server.InjectPacket(inline, packets.Packet{
		FixedHeader: packets.FixedHeader{Type: packets.Publish}, TopicName: "cellar/FV3/hyd-1", Payload: []byte("1.01"),
	}))
	assert.Equal(t, "1.01", string(s.next(packets.Publish).Payload))
	assert.Empty(t, e.messages())
}

func TestRetainedMessagesAreBounded(t *testing.T) {
	b := start(t, Options{Intake: &ear{}})
	h := &journalHook{server: b.server}
	pk := packets.Packet{FixedHeader: packets.FixedHeader{Retain: true}, Payload: []byte("1")}
	assert.False(t, h.tooManyRetained(pk))
	c := connect(t, b, "hyd-1")
	retained := func(pk *packets.Packet) { pk.FixedHeader.Retain = true }
	for i := range maxRetained + 50 {
		c.publish("some/topic/"+strings.Repeat("x", i), "1", 1, retained)
		c.next(packets.Puback)
	}
	assert.LessOrEqual(t, b.server.Topics.Retained.Len(), maxRetained+30, "its own, under $SYS, come on top")
	assert.True(t, h.tooManyRetained(pk))
	pk.Payload = nil
	assert.False(t, h.tooManyRetained(pk), "a topic can always be cleared")
}

func TestOnlyThoseWithAPasswordComeIn(t *testing.T) {
	b := start(t, Options{Intake: &ear{}, Credentials: []Credential{{Username: "cellar", Password: "hop-1"}, {Username: "lab"}}})
	for name, tt := range map[string]struct {
		user, password string
		in             bool
	}{
		"right":                   {"cellar", "hop-1", true},
		"wrong password":          {"cellar", "hop-2", false},
		"no password":             {"cellar", "", false},
		"empty password, allowed": {"lab", "", true},
		"unknown":                 {"office", "", false},
		"nobody":                  {"", "", false},
	} {
		t.Run(name, func(t *testing.T) {
			c := dial(t, b)
			ack := c.hello("hyd-1", func(pk *packets.Packet) {
				pk.Connect.UsernameFlag, pk.Connect.PasswordFlag = tt.user != "", tt.password != ""
				pk.Connect.Username, pk.Connect.Password = []byte(tt.user), []byte(tt.password)
			})
			assert.Equal(t, tt.in, ack.ReasonCode == 0)
		})
	}
}

func TestOthersReachTheBrokerOnlyWhenThatIsMeant(t *testing.T) {
	for _, o := range []Options{
		{Listen: "127.0.0.1:0"}, {Listen: "[::1]:0"}, {Listen: "localhost:0"}, {},
		{Listen: ":1883", Anonymous: true}, {Listen: "0.0.0.0:1883", Credentials: []Credential{{Username: "a", Password: "b"}}},
	} {
		o.Intake = &ear{}
		_, err := New(o)
		require.NoError(t, err, "%+v", o)
	}
	for _, listen := range []string{":1883", "0.0.0.0:1883", "[::]:1883", "192.0.2.1:1883", "cellar.example:1883"} {
		_, err := New(Options{Listen: listen, Intake: &ear{}})
		require.ErrorContains(t, err, "set a username and password", listen)
	}
	_, err := New(Options{})
	require.ErrorContains(t, err, "needs an intake")
}

func TestAPortInUseIsAnError(t *testing.T) {
	b := start(t, Options{Intake: &ear{}})
	other, err := New(Options{Listen: b.Addr().String(), Intake: &ear{}})
	require.NoError(t, err)
	require.ErrorContains(t, other.Start(t.Context()), "address already in use")
	require.NoError(t, other.Stop(t.Context()))
}

// A whole message whose acknowledgement the client did not live to see is
// sent again and counts once; half a message is none.
func TestAClientThatDiesMidPublish(t *testing.T) {
	b, j, in := onDisk(t, nil)
	c := connect(t, b, "hyd-1")
	const payload = `{"time":"2026-03-02T01:15:00Z","gravity":1.0118}`
	whole := c.publication("cellar/FV3/hyd-1", payload, 1)
	c.send(whole[:len(whole)-7])
	require.NoError(t, c.conn.Close())

	c = connect(t, b, "hyd-1")
	c.send(whole)
	require.NoError(t, c.conn.Close())
	committed(t, in)

	c = connect(t, b, "hyd-1")
	c.publish("cellar/FV3/hyd-1", payload, 1, func(pk *packets.Packet) { pk.FixedHeader.Dup = true })
	c.next(packets.Puback)
	entries, err := j.After(t.Context(), 0, 10)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	assert.Equal(t, 1.0118, entries[0].Reading.Value)
	assert.Empty(t, in.Refusals())
}

func TestALongPayloadIsRefusedWithAWordAndAHugeOneCutOff(t *testing.T) {
	b, _, in := onDisk(t, nil)
	c := connect(t, b, "hyd-1")
	c.publish("cellar/FV3/hyd-1", strings.Repeat("1", maxPayload+1), 1)
	c.next(packets.Puback)
	require.Len(t, in.Refusals(), 1)
	assert.Equal(t, ingest.ReasonTooLarge, in.Refusals()[0].Reason)
	_, err := c.conn.Write(c.publication("cellar/FV3/hyd-1", strings.Repeat("1", maxPacket), 1))
	_ = err // the broker may hang up before all is written
	c.ends()
	assert.Len(t, in.Refusals(), 1)
}

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
