package daemon_test

import (
	"fmt"
	"net"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/daemon"
)

// A thousand and more connections to the pages say nothing, or a header letter by letter. Probes are heard all the
// while, and the pages answer again as soon as the silent ones are cut off.
func TestSlowClientsOfThePagesHoldUpNoProbe(t *testing.T) {
	d := start(t, daemon.Options{})
	probe := publisher(t, d, "hyd-1")
	for i := range 1200 {
		conn, err := net.Dial("tcp", d.Addr())
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		if i%2 == 0 {
			_, err := conn.Write([]byte("GET / HTTP/1.1\r\nHost: cellar\r\nX-Slow: a"))
			require.NoError(t, err)
		}
	}
	slowest := time.Duration(0)
	for i := range 200 {
		began := time.Now()
		publish(t, probe, "cellar/FV1/hyd-1", fmt.Sprintf(`{"time":%d,"gravity":1.0118}`, began.Unix()-int64(i)))
		slowest = max(slowest, time.Since(began))
	}
	t.Logf("the slowest acknowledgement took %s", slowest)
	assert.Less(t, slowest, 5*time.Second)
	client := http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	answer, err := client.Get("http://" + d.Addr() + "/readyz")
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, http.StatusOK, answer.StatusCode)
}
