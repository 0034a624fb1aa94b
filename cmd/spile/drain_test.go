package main

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An operator stops spile while probes publish as fast as they can. It goes in peace and in time, and what it
// acknowledged is there at the next start.
func TestStoppedUnderLoadItKeepsWhatItAcknowledged(t *testing.T) {
	path := configFile(t, "data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\n")
	spile := spawn(t, "run", "--config", path)
	broker := "tcp://" + brokerAddress.FindStringSubmatch(spile.Said())[1]
	from := yesterday()
	var acknowledged atomic.Int64
	var all sync.WaitGroup
	for i := range 8 {
		probe := connect(t, broker, fmt.Sprintf("head-%d", i))
		all.Go(func() {
			for n := int64(0); ; n++ {
				token := probe.Publish(fmt.Sprintf("cellar/FV%d/head", i), 1, false, fmt.Sprintf(`{"time":%d,"pressure":80}`, from.Unix()+n))
				if !token.WaitTimeout(5*time.Second) || token.Error() != nil || !probe.IsConnectionOpen() {
					return // this one is not counted, though it may have come through
				}
				acknowledged.Add(1)
			}
		})
	}
	require.Eventually(t, func() bool { return acknowledged.Load() > 2000 }, 30*time.Second, 10*time.Millisecond)
	began := time.Now()
	spile.Stop()
	took := time.Since(began)
	all.Wait()
	t.Logf("stopped within %s, after %d acknowledgements", took.Round(time.Millisecond), acknowledged.Load())
	assert.Less(t, took, 15*time.Second)

	spile = spawn(t, "run", "--config", path)
	kept := spile.readings("")
	assert.GreaterOrEqual(t, int64(len(kept)), acknowledged.Load())
	assert.LessOrEqual(t, int64(len(kept)), acknowledged.Load()+8, "and no more than one of each probe beyond")
	spile.Stop()
}
