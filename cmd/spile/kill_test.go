package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// floodTanks publish at once in the flood under which the daemon is killed.
const floodTanks = 8

// killing is how large that flood is and how often the daemon is killed in it: a few times, or with SPILE_LONG=1 a
// hundred.
func killing() (readings, rounds int) {
	if os.Getenv("SPILE_LONG") == "1" {
		return 120_000, 100
	}
	return 24_000, 5
}

// flood publishes readings at QoS 1, each acknowledged by Mosquitto before the
// next of the same publisher, so that every one of them is owed.
func flood(t *testing.T, broker string, readings int, done *sync.WaitGroup) {
	t.Helper()
	from := time.Now().Add(-24 * time.Hour).Truncate(time.Second)
	for tank := range floodTanks {
		probe := connect(t, broker, fmt.Sprintf("flood-%d", tank))
		done.Add(1)
		go func() {
			defer done.Done()
			const window = 64
			var waiting []mqtt.Token
			for i := range readings / floodTanks {
				payload := fmt.Sprintf(`{"time":%d,"pressure":%.1f}`, from.Unix()+int64(i), 80+float64(i%50)/10)
				waiting = append(waiting, probe.Publish(fmt.Sprintf("cellar/FV%d/head", tank), 1, false, payload))
				if len(waiting) < window {
					continue
				}
				if !waiting[0].WaitTimeout(30*time.Second) || waiting[0].Error() != nil {
					t.Errorf("publisher %d: Mosquitto did not take reading %d", tank, i)
					return
				}
				waiting = waiting[1:]
			}
			for _, token := range waiting {
				if !token.WaitTimeout(30*time.Second) || token.Error() != nil {
					t.Errorf("publisher %d: Mosquitto did not take its last readings", tank)
					return
				}
			}
		}()
	}
}

func TestKilledInMidFloodEveryReadingIsKeptOnce(t *testing.T) {
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{
		Settings: []string{"max_queued_messages 0", "max_inflight_messages 100"},
	})
	path := configFile(t, "data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {broker: %q}\n", broker.URL)
	spile := spawn(t, "run", "--config", path)
	spile.ready()

	var done sync.WaitGroup
	floodReadings, killRounds := killing()
	flood(t, broker.URL, floodReadings, &done)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	killed := 0
	for range killRounds {
		// A random share of the flood further on, in mid-stream.
		want := killed + 1 + rng.IntN(2*floodReadings/killRounds)
		killed = min(want, floodReadings)
		require.Eventually(t, func() bool {
			return count(spile) >= min(want, floodReadings*9/10)
		}, time.Minute, 5*time.Millisecond, "%s", spile.Said())
		spile.Kill()
		spile = spawn(t, "run", "--config", path)
	}
	done.Wait()
	require.Eventually(t, func() bool { return count(spile) >= floodReadings }, time.Minute, 100*time.Millisecond,
		"%d of %d readings arrived:\n%s", count(spile), floodReadings, spile.Said())

	seen := map[string]int{}
	for _, r := range spile.readings("") {
		seen[fmt.Sprintf("%s %s %d", r.Tank, r.Quantity, r.Time.UnixMilli())]++
	}
	assert.Len(t, seen, floodReadings, "every acknowledged reading is there")
	for key, times := range seen {
		if times != 1 {
			t.Errorf("%s is there %d times", key, times)
		}
	}
	spile.Stop()

	check := spawnOnce(t, "check", "--config", path, "--journal")
	assert.Contains(t, check, "nothing broken")
}

// count is how many readings the journal holds.
func count(p *process) int { return len(p.readings("")) }
