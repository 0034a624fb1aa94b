package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// within is how long it may take until somebody speaks again.
const within = 30 * time.Second

// two are two spiles that watch one cellar, and one phone that both may call.
type two struct {
	t             *testing.T
	broker        *servertest.MosquittoServer
	config        map[string]string // by role
	first, second *process
	probe         mqtt.Client
	phone         *phone
}

func newTwo(t *testing.T, road func(broker string) string) *two {
	t.Helper()
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	w := &two{t: t, broker: broker, config: map[string]string{}, phone: newPhone(t)}
	roads := map[string]string{"first": broker.URL, "second": broker.URL}
	if road != nil {
		roads["first"] = road(broker.Address)
	}
	for role, url := range roads {
		w.config[role] = configFile(t, `
site: north-quay
data: ./data
http: {listen: 127.0.0.1:0}
mqtt: {broker: %q}
standby: {role: %s, after: 15s}
tanks:
  FV3: {beer: 20 hL, headspace: 2 hL, relief: 100 kPa, sealed: true}
  FV4: {beer: 20 hL, headspace: 2 hL, relief: 100 kPa, sealed: true}
  FV5: {beer: 20 hL, headspace: 2 hL, relief: 100 kPa, sealed: true}
webhooks: [{name: phone, url: %q, priority: critical}]
alarms: {over-pressure: {on_delay: 0s}}
`, url, role, w.phone.URL)
	}
	w.first = spawn(t, "run", "--config", w.config["first"])
	w.second = spawn(t, "run", "--config", w.config["second"])
	w.probe = connect(t, broker.URL, "cellar")
	w.speaks(w.first, true)
	w.speaks(w.second, false)
	return w
}

// page is the first that people see.
func (p *process) page() string {
	_, body := p.fetch("/")
	return string(body)
}

// speaks waits until a spile does, or does not.
func (w *two) speaks(p *process, yes bool) {
	w.t.Helper()
	want := fmt.Sprintf("spile_standby_speaks %d\n", map[bool]int{true: 1}[yes])
	require.Eventually(w.t, func() bool {
		_, body := p.fetch("/metrics")
		return strings.Contains(string(body), want)
	}, within, 50*time.Millisecond, "%s\n--- first:\n%s\n--- second:\n%s", want, w.first.Said(), w.second.Said())
}

// hearing waits until both hear the probes. A broker that was killed keeps no
// session, so what is published before is heard by nobody.
func (w *two) hearing() {
	w.t.Helper()
	for _, p := range []*process{w.first, w.second} {
		require.Eventually(w.t, func() bool {
			status, _ := p.fetch("/readyz")
			return status == http.StatusOK
		}, 2*time.Minute, 50*time.Millisecond, "%s", p.Said())
	}
}

// press raises the head pressure of a tank over its relief setting.
func (w *two) press(tank string) {
	w.t.Helper()
	token := w.probe.Publish("cellar/"+tank+"/head/pressure", 1, false, "104")
	require.True(w.t, token.WaitTimeout(10*time.Second))
	require.NoError(w.t, token.Error())
}

// id is that of the open alarm of a tank, empty where there is none.
func (w *two) id(p *process, tank string) string { id, _ := w.alarm(p, tank); return id }

func (w *two) alarm(p *process, tank string) (id, state string) {
	w.t.Helper()
	_, body := p.fetch("/api/v1/alarms")
	var list struct {
		Alarms []struct{ ID, Tank, Alarm, State string }
	}
	require.NoError(w.t, json.Unmarshal(body, &list), "%s", body)
	for _, a := range list.Alarms {
		if a.Tank == tank && a.Alarm == "over-pressure" {
			return a.ID, a.State
		}
	}
	return "", ""
}

// called waits until the phone was called for a tank, and gives the alarm's id.
func (w *two) called(tank string) string {
	w.t.Helper()
	require.Eventually(w.t, func() bool { return len(w.phone.calls(tank)) > 0 }, within, 20*time.Millisecond,
		"nobody was called for %s\n--- first:\n%s\n--- second:\n%s", tank, w.first.Said(), w.second.Said())
	return w.phone.calls(tank)[0].incident
}

// agree waits until both have a tank's alarm under one id.
func (w *two) agree(tank string) {
	w.t.Helper()
	require.Eventually(w.t, func() bool {
		id := w.id(w.first, tank)
		return id != "" && id == w.id(w.second, tank)
	}, within, 50*time.Millisecond, "--- first:\n%s\n--- second:\n%s", w.first.Said(), w.second.Said())
}

// onceEach requires that each alarm was told in one message. One that was under
// way when a spile died may come twice, and a receiver knows it for the same.
func (w *two) onceEach(tanks ...string) {
	w.t.Helper()
	for _, tank := range tanks {
		messages := map[string]bool{}
		for _, c := range w.phone.calls(tank) {
			messages[c.message] = true
		}
		assert.Len(w.t, messages, 1, "%s: %+v\n--- first:\n%s\n--- second:\n%s", tank, w.phone.calls(tank), w.first.Said(), w.second.Said())
	}
}

// sound requires that neither journal has a fault.
func (w *two) sound() {
	w.t.Helper()
	w.first.Stop()
	w.second.Stop()
	for _, config := range w.config {
		assert.Contains(w.t, spawnOnce(w.t, "check", "--config", config, "--journal"), "nothing broken")
	}
}

// call is one call of the phone.
type call struct{ message, tank, incident string }

// phone is a webhook that can be out of order. It hears a message again that it
// did not take.
type phone struct {
	*httptest.Server
	mu    sync.Mutex
	out   bool
	tried []string // messages that came while it was out of order
	got   []call
}

func newPhone(t *testing.T) *phone {
	t.Helper()
	p := &phone{}
	p.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		var m struct{ ID, Tank, Alarm, To string }
		if json.Unmarshal(body, &m) != nil || m.Alarm != "over-pressure" || m.To != "unacknowledged" {
			return // who was called also hears that somebody has answered
		}
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.out {
			p.tried = append(p.tried, r.Header.Get("webhook-id"))
			w.WriteHeader(http.StatusServiceUnavailable)
			return
		}
		p.got = append(p.got, call{r.Header.Get("webhook-id"), m.Tank, m.ID})
	}))
	t.Cleanup(p.Close)
	return p
}

func (p *phone) breakDown(out bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.out = out
}

func (p *phone) attempts() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.tried)
}

func (p *phone) calls(tank string) []call {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(p.got), func(c call) bool { return c.tank != tank })
}

func TestTheSecondSpeaksWhenTheFirstIsKilled(t *testing.T) {
	w := newTwo(t, nil)
	w.press("FV3")
	id := w.called("FV3")
	w.agree("FV3")
	require.Equal(t, id, w.id(w.second, "FV3"))

	// What a person does at the one that is silent holds for both.
	_, err := http.Post(w.second.url+"/api/v1/alarms/"+id+"/acknowledge", "application/json", strings.NewReader(`{"by":"Ana"}`)) //nolint:noctx,bodyclose // short
	require.NoError(t, err)
	require.Eventually(t, func() bool { _, state := w.alarm(w.first, "FV3"); return state == "acknowledged" }, within, 50*time.Millisecond)

	w.first.Kill()
	died := time.Now()
	w.press("FV4")
	w.called("FV4")
	assert.Less(t, time.Since(died), within)
	w.speaks(w.second, true)
	assert.NotContains(t, w.second.page(), "stands by")

	w.first = spawn(t, "run", "--config", w.config["first"])
	w.speaks(w.first, true)
	w.speaks(w.second, false)
	assert.Contains(t, w.second.page(), "This spile stands by.")
	w.press("FV5")
	w.called("FV5")
	for _, tank := range []string{"FV3", "FV4", "FV5"} {
		w.agree(tank)
	}
	w.onceEach("FV3", "FV4", "FV5")
	w.sound()
}

func TestTheFirstIsSilentWhenItWakesFromAFreeze(t *testing.T) {
	w := newTwo(t, nil)
	w.press("FV3")
	w.called("FV3")
	w.agree("FV3")
	w.first.Signal(syscall.SIGSTOP)
	w.press("FV4")
	id := w.called("FV4")
	w.first.Signal(syscall.SIGCONT) // it hears of FV4 now, and judges it
	w.speaks(w.second, false)
	w.speaks(w.first, true)
	w.agree("FV4")
	assert.Equal(t, id, w.id(w.first, "FV4"))
	w.press("FV5")
	w.called("FV5")
	w.onceEach("FV3", "FV4", "FV5")
	w.sound()
}

func TestCutOffFromTheBrokerAnotherSpeaks(t *testing.T) {
	var road *road
	w := newTwo(t, func(broker string) string { road = newRoad(t, broker); return road.url })
	w.press("FV3")
	w.called("FV3")
	w.agree("FV3")
	road.close(true)
	w.press("FV4")
	w.called("FV4")
	w.speaks(w.second, true)
	road.close(false)
	w.speaks(w.second, false)
	w.speaks(w.first, true)
	w.agree("FV4")
	w.press("FV5")
	w.called("FV5")
	w.onceEach("FV3", "FV4", "FV5")
	w.sound()
}

func TestInDoubtBothSpeakUnderTheSameIDs(t *testing.T) {
	w := newTwo(t, nil)
	w.phone.breakDown(true)
	w.press("FV3")
	require.Eventually(t, func() bool { return len(w.phone.attempts()) > 0 }, within, 20*time.Millisecond)
	w.agree("FV3")
	w.broker.Kill()
	w.speaks(w.second, true)
	w.speaks(w.first, true)
	require.Eventually(t, func() bool { return len(w.phone.attempts()) >= 3 }, 2*time.Minute, 20*time.Millisecond)
	w.phone.breakDown(false)
	w.called("FV3")
	messages := map[string]bool{}
	for _, id := range w.phone.attempts() {
		messages[id] = true
	}
	for _, c := range w.phone.calls("FV3") {
		messages[c.message] = true
	}
	assert.Len(t, messages, 1, "whoever tells it, a receiver knows it for the same")

	w.broker.Start()
	w.speaks(w.second, false)
	w.speaks(w.first, true)
	w.hearing()
	w.probe = connect(t, w.broker.URL, "cellar-again")
	w.press("FV4")
	w.called("FV4")
	w.onceEach("FV4")
	w.sound()
}

// road is a network between a spile and its broker that can be cut: nothing
// passes then, and nobody is told.
type road struct {
	url    string
	mu     sync.Mutex
	closed bool
	open   []net.Conn
}

func newRoad(t *testing.T, broker string) *road {
	t.Helper()
	var listen net.ListenConfig
	l, err := listen.Listen(t.Context(), "tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r := &road{url: "mqtt://" + l.Addr().String()}
	t.Cleanup(func() { _ = l.Close(); r.close(true); r.close(false) })
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return
			}
			var d net.Dialer
			to, err := d.DialContext(context.Background(), "tcp", broker)
			if err != nil {
				_ = from.Close()
				continue
			}
			r.mu.Lock()
			r.open = append(r.open, from, to)
			r.mu.Unlock()
			go r.carry(from, to)
			go r.carry(to, from)
		}
	}()
	return r
}

// carry passes on what comes, while the road is open.
func (r *road) carry(from, to net.Conn) {
	buffer := make([]byte, 16<<10)
	for {
		n, err := from.Read(buffer)
		if err != nil {
			_ = to.Close()
			return
		}
		r.mu.Lock()
		closed := r.closed
		r.mu.Unlock()
		if closed {
			continue
		}
		if _, err := to.Write(buffer[:n]); err != nil {
			return
		}
	}
}

// close cuts the road, or opens it: what stood on it while it was cut is lost.
func (r *road) close(cut bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed = cut
	if cut {
		return
	}
	for _, c := range r.open {
		_ = c.Close()
	}
	r.open = nil
}
