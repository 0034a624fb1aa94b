package page

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// moving is a view that a test changes while it is served.
type moving struct {
	mu   sync.Mutex
	view alert.View
}

func (m *moving) get() alert.View {
	m.mu.Lock()
	defer m.mu.Unlock()
	v := m.view
	v.Tanks = append([]alert.TankView(nil), v.Tanks...)
	return v
}

func (m *moving) set(f func(v *alert.View)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	f(&m.view)
}

// follow opens the stream and returns what it tells, an event at a time.
func follow(t *testing.T, base string) <-chan news {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	t.Cleanup(cancel)
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, base+"/changes", nil)
	require.NoError(t, err)
	answer, err := http.DefaultClient.Do(request)
	require.NoError(t, err)
	t.Cleanup(func() { _ = answer.Body.Close() })
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	told := make(chan news)
	go func() {
		defer close(told)
		for lines := bufio.NewScanner(answer.Body); lines.Scan(); {
			if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				var n news
				if json.Unmarshal([]byte(data), &n) == nil {
					told <- n
				}
			}
		}
	}()
	return told
}

func TestAPageHearsWithinTwoSecondsThatItIsOld(t *testing.T) {
	kept, view := cellar()
	m := &moving{view: view}
	o := options(kept, view)
	o.View = m.get
	s, err := New(o)
	require.NoError(t, err)
	server := httptest.NewUnstartedServer(nil)
	server.Config = s.HTTPServer()
	server.Start()
	defer server.Close()
	told := follow(t, server.URL)

	m.set(func(v *alert.View) {
		v.Tanks[2].Last = map[detect.Quantity]detect.Latest{detect.Gravity: {Value: 1.0111, Time: now, Probe: "hyd-3"}}
	})
	assert.Equal(t, news{[]string{"FV3"}}, <-told)
	m.set(func(v *alert.View) {
		v.Incidents = append(v.Incidents, incident("link", "", detect.LinkLost, detect.High, alert.Unacknowledged, 1))
	})
	assert.Equal(t, news{[]string{""}}, <-told, "of the whole cellar")
	m.set(func(v *alert.View) { v.Tanks = v.Tanks[:4] })
	assert.Equal(t, news{[]string{"FV5"}}, <-told)
	// What lies between the judge and the eye: a look, its pace, the page's own pace, and the page itself.
	assert.LessOrEqual(t, pulseLife+streamPace+500*time.Millisecond+100*time.Millisecond, 2*time.Second)

	require.NoError(t, server.Config.Shutdown(t.Context()), "a stream does not hold the server up")
	_, open := <-told
	assert.False(t, open)
}

func TestOnlySoManyPagesAreKeptFresh(t *testing.T) {
	s, _ := serve(t, nil)
	s.streams.Store(streamsMost)
	got := ask(s, "GET", "/changes", "")
	assert.Equal(t, http.StatusServiceUnavailable, got.Code)
	assert.Equal(t, "10", got.Header().Get("Retry-After"))
	assert.EqualValues(t, streamsMost, s.streams.Load())
	assert.Equal(t, http.StatusOK, ask(s, "HEAD", "/changes", "").Code)
}

func TestWhatChanged(t *testing.T) {
	assert.Empty(t, changed(map[string]uint64{"FV1": 1}, map[string]uint64{"FV1": 1}))
	assert.Equal(t, []string{"FV1", "FV2", "FV3"}, changed(map[string]uint64{"FV1": 1, "FV3": 1}, map[string]uint64{"FV1": 2, "FV2": 1}))
}
