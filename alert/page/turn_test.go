package page

import (
	"context"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// busy takes all places of streams but some.
func busy(s *Server, free int) {
	for range readersMost - free {
		s.readers <- struct{}{}
	}
}

func TestOnlySoManyReadAtOnce(t *testing.T) {
	const target = "/api/v1/readings"
	synctest.Test(t, func(t *testing.T) {
		s, kept := serve(t, discard)
		busy(s, 1)
		for range 3 {
			require.Equal(t, http.StatusOK, ask(s, "GET", target, "").Code, "each gives its place back")
		}
		broken := kept.broken
		kept.broken = errDisk
		assert.Panics(t, func() { ask(s, "GET", target, "") })
		kept.broken = broken
		assert.Len(t, s.readers, readersMost-1, "one that breaks off too")

		busy(s, readersMost-1)
		time.AfterFunc(turnWithin/2, func() { <-s.readers })
		assert.Equal(t, http.StatusOK, ask(s, "GET", target, "").Code, "it waits for its turn")
		busy(s, readersMost-1)
		assert.Equal(t, http.StatusOK, ask(s, "HEAD", target, "").Code)
		got := ask(s, "GET", target, "")
		assert.Equal(t, http.StatusServiceUnavailable, got.Code)
		assert.Equal(t, "10", got.Header().Get("Retry-After"))

		gone, leave := context.WithCancel(t.Context())
		leave()
		_, err := s.enter(gone)
		require.ErrorIs(t, err, context.Canceled)
	})
}
