package subscriber

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest"
	"spile/ingest/journal"
	"spile/ingest/servertest"
)

// probe connects a publisher for the time of the test.
func probe(t testing.TB, broker string, change ...func(*paho.ClientOptions)) paho.Client {
	t.Helper()
	o := paho.NewClientOptions().AddBroker(broker).SetClientID("probe").SetAutoReconnect(false)
	for _, f := range change {
		f(o)
	}
	c := paho.NewClient(o)
	finish(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func finish(t testing.TB, token paho.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(patient))
	require.NoError(t, token.Error())
}

// publish gives messages to the broker at QoS 1 and waits for its word.
func publish(t testing.TB, c paho.Client, payloads ...string) {
	t.Helper()
	for _, p := range payloads {
		finish(t, c.Publish("cellar/FV3/hyd-1", 1, false, p))
	}
}

func TestAcknowledgedOnlyAfterTheCommit(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{Settings: []string{"max_inflight_messages 1"}})
	e := &ear{}
	s := start(t, Options{Broker: m.URL, Intake: e})
	ready(t, s)
	publish(t, probe(t, m.URL), "1", "2")
	e.waitFor(t, "1")
	e.hearsNoMore(t, "1") // the broker sends the second when the first is acknowledged
	e.settle(nil)
	e.waitFor(t, "1", "2")
	e.settle(nil)
	stop(t, s)
	assert.Equal(t, ingest.Message{Topic: "cellar/FV3/hyd-1", Payload: []byte("1")}, e.heard[0])
}

func TestWhatWasNotAcknowledgedComesAgain(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	e := &ear{}
	s := start(t, Options{Broker: m.URL, Intake: e})
	ready(t, s)
	p := probe(t, m.URL)
	publish(t, p, "1", "2")
	e.waitFor(t, "1", "2")
	stopNow(t, s)

	publish(t, p, "3")
	again := &ear{prompt: true}
	s = start(t, Options{Broker: m.URL, Intake: again})
	again.waitFor(t, "1", "2", "3")
	stop(t, s)

	last := &ear{prompt: true}
	s = start(t, Options{Broker: m.URL, Intake: last})
	ready(t, s)
	last.hearsNoMore(t)
	stop(t, s)
}

// What is committed while the subscriber stops is acknowledged before it parts.
func TestStopAcknowledgesWhatIsStillCommitted(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	e := &ear{}
	s := start(t, Options{Broker: m.URL, Intake: e})
	ready(t, s)
	publish(t, probe(t, m.URL), "1")
	e.waitFor(t, "1")
	stopped := make(chan error, 1)
	go func() { stopped <- s.Stop(context.Background()) }()
	require.Never(t, func() bool { return len(stopped) > 0 }, silence, 20*time.Millisecond)
	e.settle(nil)
	require.NoError(t, <-stopped)

	last := &ear{prompt: true}
	s = start(t, Options{Broker: m.URL, Intake: last})
	ready(t, s)
	last.hearsNoMore(t)
	stop(t, s)
}

// After a restart in which the broker forgot everything, and after one in
// which it kept the session, spile listens again.
func TestItListensAgainAfterTheBrokersRestart(t *testing.T) {
	tests := map[string]func(*servertest.MosquittoServer){
		"orderly": func(m *servertest.MosquittoServer) { m.Stop() },
		"killed":  func(m *servertest.MosquittoServer) { m.Kill() },
	}
	for name, end := range tests {
		t.Run(name, func(t *testing.T) {
			m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
			e, l := &ear{prompt: true}, &ledger{}
			s := start(t, Options{Broker: m.URL, Intake: e, Up: l.up})
			ready(t, s)
			publish(t, probe(t, m.URL), "1")
			e.waitFor(t, "1")
			end(m)
			notReady(t, s, "")
			m.Start()
			ready(t, s)
			publish(t, probe(t, m.URL), "2")
			e.waitFor(t, "1", "2")
			stop(t, s)
			assert.Equal(t, []bool{true, false, true}, l.states())
		})
	}
}

// ledger keeps what Up was told.
type ledger struct {
	mu  sync.Mutex
	all []bool
}

func (l *ledger) up(up bool, _ string) { l.mu.Lock(); defer l.mu.Unlock(); l.all = append(l.all, up) }

func (l *ledger) states() []bool { l.mu.Lock(); defer l.mu.Unlock(); return l.all }

func TestABrokerThatComesLaterIsFound(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	m.Stop()
	l := &ledger{}
	s := start(t, Options{Broker: m.URL, Intake: &ear{}, Up: l.up})
	notReady(t, s, "connection refused")
	m.Start()
	ready(t, s)
	stop(t, s)
	assert.Equal(t, []bool{false, true}, l.states())
}

func TestWhatCameWhileAwayIsHeardInOrder(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	s := start(t, Options{Broker: m.URL, Intake: &ear{}})
	ready(t, s)
	stop(t, s)
	const n = 5000
	want := make([]string, n)
	p := probe(t, m.URL)
	tokens := make([]paho.Token, n)
	for i := range n {
		want[i] = fmt.Sprint(i)
		tokens[i] = p.Publish("cellar/FV3/hyd-1", 1, false, want[i])
	}
	for _, token := range tokens {
		finish(t, token)
	}
	e := &ear{prompt: true}
	s = start(t, Options{Broker: m.URL, Intake: e})
	require.Eventually(t, func() bool { return len(e.payloads()) >= n }, patient, 10*time.Millisecond)
	stop(t, s)
	assert.Equal(t, want, e.payloads())
}

// slow is an intake whose disk takes its time.
type slow struct {
	ear
	each time.Duration
}

func (s *slow) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	<-time.After(s.each)
	return s.ear.Offer(ctx, m, done)
}

// A broker without a limit of messages on their way sends all that it kept before it answers the subscription. As long
// as that goes on the link is no failure, and is not begun anew.
func TestALongBacklogIsNotTakenForSilence(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{Settings: []string{"max_inflight_messages 0"}})
	s := start(t, Options{Broker: m.URL, Intake: &ear{}})
	ready(t, s)
	stop(t, s)
	const n = 100
	p := probe(t, m.URL)
	for i := range n {
		publish(t, p, fmt.Sprint(i))
	}
	e := &slow{ear: ear{prompt: true}, each: 20 * time.Millisecond}
	l := &ledger{}
	again, err := New(withDefaults(Options{Broker: m.URL, Intake: e, Up: l.up}))
	require.NoError(t, err)
	again.grant = 200 * time.Millisecond // a tenth of what the backlog takes
	again.Start(t.Context())
	ready(t, again)
	assert.Greater(t, len(e.payloads()), n/2, "the answer comes behind them; the library holds the last few")
	require.Eventually(t, func() bool { return len(e.payloads()) == n }, patient, 5*time.Millisecond)
	stop(t, again)
	assert.Equal(t, []bool{true}, l.states())
}

func TestRetainedMessagesComeMarked(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	p := probe(t, m.URL)
	finish(t, p.Publish("cellar/FV3/hyd-1", 1, true, "old"))
	e := &ear{prompt: true}
	s := start(t, Options{Broker: m.URL, Intake: e})
	e.waitFor(t, "old")
	finish(t, p.Publish("cellar/FV3/hyd-1", 1, true, "new"))
	e.waitFor(t, "old", "new")
	stop(t, s)
	assert.True(t, e.heard[0].Retained)
	assert.False(t, e.heard[1].Retained, "it came as it was published")
}

// A will cannot be told from a message; the decoder judges its payload.
func TestAWillComesAsAMessage(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	e := &ear{prompt: true}
	s := start(t, Options{Broker: m.URL, Intake: e})
	ready(t, s)
	c := rawConn(t, m.Address, "doomed", "cellar/FV3/hyd-1", "gone")
	require.NoError(t, c.Close())
	e.waitFor(t, "gone")
	stop(t, s)
}

func TestTheBrokersOwnTopicsAreNoReadings(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	e := &ear{prompt: true}
	s := start(t, Options{Broker: m.URL, Intake: e, Topics: []string{"$SYS/broker/version", "cellar/+/+"}})
	ready(t, s)
	publish(t, probe(t, m.URL), "1")
	e.waitFor(t, "1")
	e.hearsNoMore(t, "1")
	stop(t, s)
}

// Repeats and topics that several filters fit are heard once.
func TestAMessageIsHandedOverOnce(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{Settings: []string{"allow_duplicate_messages false"}})
	e := &ear{prompt: true}
	s := start(t, Options{Broker: m.URL, Intake: e, Topics: []string{"cellar/+/+", "cellar/+/+", "cellar/FV3/+"}})
	ready(t, s)
	publish(t, probe(t, m.URL), "1", "2")
	e.waitFor(t, "1", "2")
	e.hearsNoMore(t, "1", "2")
	stop(t, s)
}

func TestAWrongPasswordIsReportedAndNotShown(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{Username: "spile", Password: "hop-1"})
	var out lockedBuffer
	log := slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelDebug}))
	s := start(t, Options{Broker: m.URL, Intake: &ear{}, Username: "spile", Password: "hop-2", Log: log})
	notReady(t, s, "not Authorized")
	stop(t, s)
	withUser := strings.Replace(m.URL, "mqtt://", "mqtt://spile:hop-2@", 1)
	s = start(t, Options{Broker: withUser, Intake: &ear{}, Log: log})
	notReady(t, s, "not Authorized")
	stop(t, s)
	assert.NotContains(t, out.String(), "hop-")

	s = start(t, Options{Broker: m.URL, Intake: &ear{}, Username: "spile", Password: "hop-1"})
	ready(t, s)
	stop(t, s)
}

func TestTLSWithClientCertificate(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{TLS: true, ClientCert: true})
	s := start(t, Options{Broker: m.URL, Intake: &ear{}})
	notReady(t, s, "unknown authority")
	stop(t, s)

	pem, err := os.ReadFile(m.TLS.CA)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	require.True(t, roots.AppendCertsFromPEM(pem))
	own, err := tls.LoadX509KeyPair(m.TLS.ClientCert, m.TLS.ClientKey)
	require.NoError(t, err)
	s = start(t, Options{Broker: m.URL, Intake: &ear{}, TLS: &tls.Config{RootCAs: roots, Certificates: []tls.Certificate{own}}})
	ready(t, s)
	stop(t, s)
}

// While the journal takes nothing the loss of the link is still seen, no new
// connection is made, and nothing is lost once it works again.
func TestTheLinkIsWatchedWhileTheJournalTakesNothing(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	e := &ear{prompt: true, shut: make(chan struct{})}
	s := start(t, Options{Broker: m.URL, Intake: e})
	ready(t, s)
	publish(t, probe(t, m.URL), "1", "2")
	require.Eventually(t, func() bool { return len(s.turn) == 1 }, patient, time.Millisecond)
	m.Stop()
	notReady(t, s, "lost")
	m.Start()
	require.Never(t, func() bool { ok, _ := s.Ready(); return ok }, silence, 20*time.Millisecond)
	close(e.shut)
	ready(t, s)
	require.Eventually(t, func() bool { return len(e.payloads()) >= 3 }, patient, 5*time.Millisecond)
	stop(t, s)
	all := e.payloads()
	assert.Equal(t, []string{"1", "2"}, all[len(all)-2:], "delivered again, for no acknowledgement came through")
}

// late is an intake whose acknowledgements the test sends off.
type late struct {
	*ingest.Intake
	held chan func()
}

func (l *late) Offer(ctx context.Context, m ingest.Message, done func(error)) error {
	return l.Intake.Offer(ctx, m, func(err error) { l.held <- func() { done(err) } })
}

// A message that is on disk, but whose acknowledgement did not come through,
// is delivered again and counts once.
func TestARedeliveryCountsOnce(t *testing.T) {
	m := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	in, j := onDisk(t, "")
	l := &late{in, make(chan func(), 10)}
	s := start(t, Options{Broker: m.URL, Intake: l})
	ready(t, s)
	publish(t, probe(t, m.URL), `{"time":"2026-03-02T01:15:00Z","gravity":1.0118}`)
	first := <-l.held // on disk
	m.Stop()
	notReady(t, s, "")
	first() // too late
	m.Start()
	(<-l.held)() // delivered again
	stop(t, s)
	entries, err := j.After(t.Context(), 0, 10)
	require.NoError(t, err)
	assert.Len(t, entries, 1)
}

// onDisk is a real intake before a journal, in memory unless dir is given.
func onDisk(t testing.TB, dir string) (*ingest.Intake, *journal.Journal) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Memory: dir == "", Dir: dir})
	require.NoError(t, err)
	d, err := ingest.NewDecoder(ingest.DecoderOptions{})
	require.NoError(t, err)
	clock := func() time.Time { return time.Date(2026, 3, 2, 1, 16, 0, 0, time.UTC) }
	in, err := ingest.NewIntake(ingest.IntakeOptions{Journal: j, Decoder: d, Clock: clock, Registerer: prometheus.NewRegistry()})
	require.NoError(t, err)
	in.Start(t.Context())
	t.Cleanup(func() {
		assert.NoError(t, in.Stop(context.Background()))
		assert.NoError(t, j.Close())
	})
	return in, j
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

func (b *lockedBuffer) String() string { b.mu.Lock(); defer b.mu.Unlock(); return b.all.String() }
