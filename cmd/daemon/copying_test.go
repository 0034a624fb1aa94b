package daemon_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/daemon"
)

func TestAStoreThatTakesNothingIsSaidOnAPage(t *testing.T) {
	store := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, `{"code":"unauthorized","message":"unauthorized access"}`, http.StatusUnauthorized)
	}))
	defer store.Close()
	d := start(t, daemon.Options{Influx: &daemon.Influx{URL: store.URL, Bucket: "cellar", Token: "made-up"}})
	publish(t, publisher(t, d, "probe"), "cellar/FV3/hyd-1/gravity", "1.0118")
	page := ""
	if !assert.Eventually(t, func() bool {
		answer, err := http.Get("http://" + d.Addr() + "/alarms")
		require.NoError(t, err)
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		page = string(body)
		return strings.Contains(page, "The copy in InfluxDB")
	}, 30*time.Second, 50*time.Millisecond) {
		t.Log(page)
	}
	assert.Contains(t, page, "look at influx.token_file", "the mend")
	assert.NotContains(t, page, "made-up")
}
