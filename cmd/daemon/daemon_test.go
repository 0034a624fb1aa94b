package daemon_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"spile/alert"
	"spile/cmd/daemon"
	"spile/ingest/journal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// start runs a daemon for the time of a test.
func start(t *testing.T, o daemon.Options) *daemon.Daemon {
	t.Helper()
	d := daemon.New(o)
	require.NoError(t, d.Start(t.Context()))
	t.Cleanup(func() {
		http.DefaultClient.CloseIdleConnections()
		assert.NoError(t, d.Stop(context.Background()))
	})
	return d
}

// publisher connects a probe to a daemon's embedded broker.
func publisher(t *testing.T, d *daemon.Daemon, name string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + d.BrokerAddr()).SetClientID(name).SetAutoReconnect(false))
	token := c.Connect()
	require.True(t, token.WaitTimeout(10*time.Second))
	require.NoError(t, token.Error())
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

func publish(t *testing.T, c mqtt.Client, topic, payload string) {
	t.Helper()
	token := c.Publish(topic, 1, false, payload)
	require.True(t, token.WaitTimeout(10*time.Second))
	require.NoError(t, token.Error())
}

// get asks the API and decodes its answer.
func get(t *testing.T, d *daemon.Daemon, path string, into any) {
	t.Helper()
	answer, err := http.Get("http://" + d.Addr() + path)
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode, "%s: %s", path, body)
	if into != nil {
		require.NoError(t, json.Unmarshal(body, into), "%s", body)
	}
}

func TestTwoDaemonsRunInOneProcess(t *testing.T) {
	first, second := start(t, daemon.Options{Site: "north"}), start(t, daemon.Options{Site: "south"})
	publish(t, publisher(t, first, "hyd-1"), "cellar/FV1/hyd-1", `{"gravity":1.0118,"temperature":14.4}`)
	publish(t, publisher(t, second, "hyd-2"), "cellar/FV2/hyd-2", `{"gravity":1.0100}`)

	for d, tank := range map[*daemon.Daemon]string{first: "FV1", second: "FV2"} {
		require.Eventually(t, func() bool {
			v := d.View()
			return len(v.Tanks) == 1 && v.Tanks[0].Tank == tank
		}, 10*time.Second, 10*time.Millisecond, "each hears its own broker alone")
	}
}

func TestAReadingIsOnDiskBeforeItsPublisherIsAcknowledged(t *testing.T) {
	dir := t.TempDir()
	d := daemon.New(daemon.Options{Data: dir})
	require.NoError(t, d.Start(t.Context()))
	c := publisher(t, d, "hyd-1")
	for i := range 20 {
		publish(t, c, "cellar/FV1/hyd-1", fmt.Sprintf(`{"time":%d,"gravity":1.01%02d}`, time.Now().Unix()-int64(i)*60, i))
	}
	require.NoError(t, d.Stop(context.Background()))

	again := start(t, daemon.Options{Data: dir})
	answer, err := http.Get("http://" + again.Addr() + "/api/v1/readings?tank=FV1")
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Len(t, strings.Split(strings.TrimSpace(string(body)), "\n"), 20)
}

func TestTheLogIsEchoedKeptAndJudged(t *testing.T) {
	d := start(t, daemon.Options{})
	answer, err := http.Post("http://"+d.Addr()+"/api/v1/tanks/FV3/log", "application/json",
		strings.NewReader(`{"event":"crash","setpoint":"58 degF"}`))
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	var said struct{ Echo string }
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&said))
	assert.Equal(t, http.StatusCreated, answer.StatusCode)
	assert.Contains(t, said.Echo, "14.4 degC (58.0 degF)")

	v := d.View()
	require.Len(t, v.Tanks, 1)
	require.NotNil(t, v.Tanks[0].SetpointCelsius, "the answer comes after the judging")
	assert.InDelta(t, 14.44, *v.Tanks[0].SetpointCelsius, 0.01)
}

func TestReadyAndHealthy(t *testing.T) {
	d := start(t, daemon.Options{})
	get(t, d, "/healthz", nil)
	get(t, d, "/readyz", nil)
}

func TestAStartThatFailsLeavesNothingRunning(t *testing.T) {
	first := start(t, daemon.Options{})
	second := daemon.New(daemon.Options{HTTP: daemon.HTTP{Listen: first.Addr()}})
	err := second.Start(t.Context())
	require.ErrorContains(t, err, "start pages")
	var key daemon.KeyError
	require.ErrorAs(t, err, &key)
	assert.Equal(t, "http.listen", key.Key)
	assert.ErrorContains(t, err, "another program listens there: give another port")
}

func TestASnapshotThatCannotBeUsedIsRebuiltFromTheJournal(t *testing.T) {
	dir := t.TempDir()
	d := daemon.New(daemon.Options{Data: dir})
	require.NoError(t, d.Start(t.Context()))
	publish(t, publisher(t, d, "cellar"), "cellar/FV3/log", `{"event":"crash","setpoint":"2 degC"}`)
	require.NoError(t, d.Stop(context.Background()))

	j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	require.NoError(t, err)
	seq, at, err := j.Judged(t.Context())
	require.NoError(t, err)
	require.NoError(t, j.Judge(t.Context(), journal.Judgement{
		Through: seq, At: at,
		Snapshot: &journal.Snapshot{Seq: seq, At: at, Version: alert.SnapshotVersion, Body: []byte("no snapshot")},
	}))
	require.NoError(t, j.Close())

	v := start(t, daemon.Options{Data: dir}).View()
	require.Len(t, v.Tanks, 1)
	require.NotNil(t, v.Tanks[0].SetpointCelsius)
	assert.InDelta(t, 2, *v.Tanks[0].SetpointCelsius, 0)
}

func TestABrokerThatIsUsedNoMoreIsLostNoMore(t *testing.T) {
	dir := t.TempDir()
	write := func(marks ...journal.Mark) {
		j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
		require.NoError(t, err)
		for _, m := range marks {
			_, err := j.Commit(t.Context(), []journal.Entry{{Arrived: time.Now().UTC().Truncate(time.Millisecond), Mark: &m}})
			require.NoError(t, err)
		}
		require.NoError(t, j.Close())
	}
	write(journal.Mark{Name: "started"}, journal.Mark{Name: "link-lost", Detail: "no route"})
	d := daemon.New(daemon.Options{Data: dir})
	require.NoError(t, d.Start(t.Context()))
	require.NoError(t, d.Stop(context.Background()))

	j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
	require.NoError(t, err)
	entries, err := j.After(t.Context(), 0, 100)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	var names []string
	for _, e := range entries {
		names = append(names, e.Mark.Name)
	}
	assert.Equal(t, []string{"started", "link-lost", "started", "link-found"}, names)
}

func TestALineThatIsNotKeptIsNotSaidToBe(t *testing.T) {
	d := start(t, daemon.Options{})
	post := func(body string) (int, string) {
		answer, err := http.Post("http://"+d.Addr()+"/api/v1/tanks/FV3/log", "application/json", strings.NewReader(body))
		require.NoError(t, err)
		defer func() { _ = answer.Body.Close() }()
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		return answer.StatusCode, string(text)
	}
	status, _ := post(`{"id":"x1","event":"gas","hold":"12 psi"}`)
	assert.Equal(t, http.StatusCreated, status)
	status, _ = post(`{"id":"x1","event":"gas","hold":"12 psi"}`)
	assert.Equal(t, http.StatusOK, status, "the same line again, without a time of its own")
	status, text := post(`{"id":"x1","event":"gas","hold":"off"}`)
	assert.Equal(t, http.StatusConflict, status)
	assert.Contains(t, text, "stands in the log already")
}

func TestAClockSetBackIsToldAndNotWell(t *testing.T) {
	now := atomic.Int64{}
	now.Store(time.Now().Add(30 * 24 * time.Hour).UnixNano())
	d := start(t, daemon.Options{Clock: func() time.Time { return time.Unix(0, now.Load()) }})
	publish(t, publisher(t, d, "hyd-1"), "cellar/FV1/hyd-1", `{"gravity":1.0118}`)
	require.Eventually(t, func() bool { return len(d.View().Tanks) == 1 }, 10*time.Second, 10*time.Millisecond)
	get(t, d, "/readyz", nil)
	now.Store(time.Now().UnixNano())
	answer, err := http.Get("http://" + d.Addr() + "/readyz")
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	assert.Equal(t, http.StatusServiceUnavailable, answer.StatusCode)
	assert.Contains(t, string(text), "the clock was set back")
}

// What only the passing of minutes raised, before a stop, must be raised again by a rebuild, under the same id.
func TestARebuildRaisesWhatOnlyTimeHadRaised(t *testing.T) {
	dir := t.TempDir()
	begun := time.Now().UTC().Truncate(time.Minute)
	now := atomic.Int64{}
	now.Store(begun.UnixNano())
	o := daemon.Options{Data: dir, Clock: func() time.Time { return time.Unix(0, now.Load()) }}
	d := daemon.New(o)
	require.NoError(t, d.Start(t.Context()))
	c := publisher(t, d, "hyd-1")
	for range 4 {
		now.Add(int64(10 * time.Minute))
		publish(t, c, "cellar/FV1/hyd-1", `{"gravity":1.0118}`)
	}
	now.Add(int64(3 * time.Hour))
	require.Eventually(t, func() bool { return len(d.View().Incidents) == 1 }, 10*time.Second, 10*time.Millisecond)
	want := d.View().Incidents[0].ID
	require.NoError(t, d.Stop(context.Background()))

	for range 2 { // a restart by the snapshot, then one that must rebuild
		d = daemon.New(o)
		require.NoError(t, d.Start(t.Context()))
		v := d.View()
		require.Len(t, v.Incidents, 1)
		assert.Equal(t, want, v.Incidents[0].ID)
		require.NoError(t, d.Stop(context.Background()))
		j, err := journal.Open(t.Context(), journal.Options{Dir: dir})
		require.NoError(t, err)
		seq, at, err := j.Judged(t.Context())
		require.NoError(t, err)
		require.NoError(t, j.Judge(t.Context(), journal.Judgement{
			Through: seq, At: at, Snapshot: &journal.Snapshot{Seq: seq, At: at, Version: alert.SnapshotVersion, Body: []byte("no snapshot")},
		}))
		require.NoError(t, j.Close())
	}
}
