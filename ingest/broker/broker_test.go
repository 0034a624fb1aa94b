package broker

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"spile/ingest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

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
