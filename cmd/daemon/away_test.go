package daemon

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
	"spile/ingest"
	"spile/ingest/servertest"
)

// Mosquitto is killed, with all its sessions, and comes back after an hour of the cellar's clock. The link is told lost
// once, no probe behind it is, and what is published afterwards is heard without a hand being moved.
func TestAnHourWithoutTheBrokerIsToldOnce(t *testing.T) {
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{})
	c := &setClock{wall: time.Date(2026, 3, 2, 1, 0, 0, 0, time.UTC), passed: time.Second}
	var mu sync.Mutex
	told := map[string]int{}
	d := New(Options{Clock: c.now, Passed: c.since, Outside: &Outside{URL: broker.URL, ClientID: "spile"}, Told: func(s []alert.Transition) {
		mu.Lock()
		defer mu.Unlock()
		for _, step := range s {
			told[fmt.Sprintf("%s %s", step.Alarm, step.To)]++
		}
	}})
	require.NoError(t, d.Start(t.Context()))
	defer func() { assert.NoError(t, d.Stop(context.Background())) }()
	linked := func(up bool) {
		t.Helper()
		require.Eventually(t, func() bool {
			ready, _ := d.subscriber.Ready()
			return ready == up && d.judge.linkDown() == !up
		}, 90*time.Second, 5*time.Millisecond)
	}
	minutes := func(n int) {
		t.Helper()
		for range n {
			c.pass(time.Minute)
			require.Eventually(t, func() bool { return !d.judge.moment().Before(d.intake.Horizon()) }, 10*time.Second, time.Millisecond)
		}
	}
	heard := func() (n int) {
		for _, tank := range d.View().Tanks {
			if c.now().Sub(tank.Last[detect.Pressure].Time) < time.Minute {
				n++
			}
		}
		return n
	}
	speak := func(probe mqtt.Client) {
		t.Helper()
		for tank := range 5 {
			token := probe.Publish(fmt.Sprintf("cellar/FV%d/head", tank), 1, false, fmt.Sprintf(`{"time":%d,"pressure":80}`, c.now().Unix()))
			require.True(t, token.WaitTimeout(10*time.Second))
		}
		require.Eventually(t, func() bool { return heard() == 5 }, 30*time.Second, 5*time.Millisecond)
	}
	dial := func() mqtt.Client {
		t.Helper()
		probe := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(broker.URL).SetClientID("head").SetAutoReconnect(false))
		token := probe.Connect()
		require.True(t, token.WaitTimeout(10*time.Second))
		require.NoError(t, token.Error())
		return probe
	}
	linked(true)
	probe := dial()
	for range 6 {
		minutes(10)
		speak(probe)
	}
	broker.Kill() // its sessions with it
	probe.Disconnect(0)
	linked(false)
	minutes(60)
	broker.Start()
	linked(true)
	probe = dial()
	for range 3 {
		minutes(10)
		speak(probe)
	}
	probe.Disconnect(100)
	mu.Lock()
	defer mu.Unlock()
	assert.Equal(t, 1, told["link-lost unacknowledged"], "%v", told)
	assert.Equal(t, 1, told["link-lost returned"], "%v", told)
	assert.Zero(t, told["probe-silent unacknowledged"], "%v", told)
}

// InfluxDB takes every connection and never answers. Probes are acknowledged as ever, the watch goes on, and a stop does
// not wait for it.
func TestAnInfluxThatHangsHoldsUpNothing(t *testing.T) {
	hang := make(chan struct{})
	store := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		select {
		case <-hang:
		case <-r.Context().Done():
		}
	}))
	t.Cleanup(func() {
		close(hang)
		store.Close()
	})
	d := New(Options{Data: t.TempDir(), Influx: &Influx{URL: store.URL, Org: "o", Bucket: "b", Token: "t"}})
	require.NoError(t, d.Start(t.Context()))
	began := time.Now()
	for n := range 500 {
		message := ingest.Message{Topic: "cellar/FV1/head", Payload: fmt.Appendf(nil, `{"time":%d,"pressure":80}`, began.Unix()-int64(n))}
		require.NoError(t, d.intake.Hear(t.Context(), message))
	}
	assert.Less(t, time.Since(began), 20*time.Second)
	assert.Empty(t, d.notReady())
	began = time.Now()
	require.NoError(t, d.Stop(context.Background()))
	assert.Less(t, time.Since(began), 10*time.Second)
}
