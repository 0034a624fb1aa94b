package ingest

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// logBook keeps log lines for a test to look at.
type logBook struct {
	mu    sync.Mutex
	lines []string
}

func (b *logBook) logger() *slog.Logger { return slog.New(slog.NewTextHandler(b, nil)) }

// Write takes one line.
func (b *logBook) Write(line []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lines = append(b.lines, string(line))
	return len(line), nil
}

// count is the number of lines that hold all the words.
func (b *logBook) count(words ...string) (n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.lines {
		all := true
		for _, w := range words {
			all = all && strings.Contains(l, w)
		}
		if all {
			n++
		}
	}
	return n
}

func TestTheNewestHundredRefusalsAreKept(t *testing.T) {
	l := newRefusalLog(slog.New(slog.DiscardHandler))
	assert.Empty(t, l.newest())
	for i := range 250 {
		l.add(Refusal{Reason: "bad-json", Detail: fmt.Sprint(i)}, morning)
		kept := l.newest()
		require.Len(t, kept, min(i+1, refusalsKept))
		require.Equal(t, fmt.Sprint(i), kept[0].Detail, "the newest first")
		require.Equal(t, fmt.Sprint(max(0, i-refusalsKept+1)), kept[len(kept)-1].Detail)
	}
}

func TestOneBadProbeDoesNotFillTheLog(t *testing.T) {
	log := &logBook{}
	l := newRefusalLog(log.logger())
	at := morning
	for range 100 { // one a second
		l.add(Refusal{Source: "a", Reason: "bad-json"}, at)
		at = at.Add(time.Second)
	}
	l.add(Refusal{Source: "a", Reason: "retained"}, at)
	l.add(Refusal{Source: "b", Reason: "bad-json"}, at)
	assert.Equal(t, 2, log.count("source=a", "reason=bad-json"), "at the first and after a minute")
	assert.Equal(t, 1, log.count("source=a", "reason=bad-json", "not_shown=59"))
	assert.Equal(t, 1, log.count("source=a", "reason=retained", "not_shown=0"))
	assert.Equal(t, 1, log.count("source=b", "reason=bad-json"))
}

func TestLogBookCountsLinesOfAllLevels(t *testing.T) {
	log := &logBook{}
	log.logger().Log(context.Background(), slog.LevelError, "one two")
	assert.Equal(t, 1, log.count("two", "ERROR"))
	assert.Zero(t, log.count("two", "three"))
}
