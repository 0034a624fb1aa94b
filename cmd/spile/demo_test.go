package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/cmd/daemon"
	"spile/detect"
	"spile/detect/cellarsim"
)

// line is a step of an alarm in one line, for a comparison that can be read.
func line(t alert.Transition) string {
	return fmt.Sprintf("%s %s %s %s %s>%s %s", t.Time.Format(time.RFC3339Nano), t.ID, t.Tank, t.Alarm, t.From, t.To, t.Summary)
}

func TestTheDemoTellsItsStoryAndReplaysTheSame(t *testing.T) {
	var mu sync.Mutex
	var live, replayed []string
	var heard bytes.Buffer
	c := demoCommand{Speed: 18000, Seed: 1, HTTP: "127.0.0.1:0"}
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	show, o := c.prepare(start, &streams{out: io.Discard, err: io.Discard})
	o.Capture = &heard
	o.Told = func(steps []alert.Transition) {
		mu.Lock()
		defer mu.Unlock()
		for _, s := range steps {
			live = append(live, line(s))
		}
	}
	show.daemon = daemon.New(o)
	require.NoError(t, show.daemon.Start(t.Context()))
	require.NoError(t, show.run(t.Context()))
	require.NoError(t, show.daemon.Stop(context.Background()))

	done, err := daemon.Replay(t.Context(), o, bytes.NewReader(heard.Bytes()), func(steps []alert.Transition) {
		for _, s := range steps {
			replayed = append(replayed, line(s))
		}
	})
	require.NoError(t, err)
	assert.Zero(t, done.BadLines)
	assert.Empty(t, done.Refusals)
	last := done.To.Format(time.RFC3339Nano)
	var inCapture []string // the live daemon's clock ran on a little after the last message
	for _, l := range live {
		if l[:len("2026-03-02T08:00:00")] <= last[:len("2026-03-02T08:00:00")] {
			inCapture = append(inCapture, l)
		}
	}
	assert.Equal(t, inCapture, replayed)

	story := strings.Join(live, "\n")
	for _, call := range []string{
		"FV1 refermentation normal>unacknowledged",
		"FV3 crash-drift normal>unacknowledged",
		"FV4 pressure-rise normal>unacknowledged",
		"FV4 over-pressure normal>unacknowledged",
	} {
		assert.Contains(t, story, call)
	}
	assert.NotContains(t, story, "FV2", "the quiet tank stays quiet")
	assert.NotContains(t, story, "FV4 refermentation", "gas left on is no yeast")
}

// TestTheDemoCautionsAsTheLogDoes looks at what a brewer may imitate: each deed of these days stands above its caution,
// and no hops go into beer that was not bled for most of a day.
func TestTheDemoCautionsAsTheLogDoes(t *testing.T) {
	c := demoCommand{Speed: 1800, Seed: 1, HTTP: "127.0.0.1:0"}
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	show, _ := c.prepare(start, &streams{out: io.Discard, err: io.Discard})
	printed, vented, hopped := map[string]bool{}, map[string]time.Time{}, 0
	require.NoError(t, show.cellar.Run(start.Add(cellarsim.DemoLength), func(m cellarsim.Message) error {
		if !strings.HasSuffix(m.Topic, "/log") {
			return nil
		}
		e, err := parseLogLine(strings.Split(m.Topic, "/")[1], m.Payload, m.Arrived)
		require.NoError(t, err)
		kind, _ := detect.LookupEvent(e.Name)
		said := show.logged(m)
		printed[kind.Caution] = printed[kind.Caution] || len(said) > 1
		if kind.Caution != "" && !e.Time.Before(start) {
			assert.Equal(t, kind.Caution, said[len(said)-1], said[0])
		}
		assert.True(t, kind.Caution == "" || printed[kind.Caution], "said before or now: %s", said[0])
		switch e.Name {
		case "vent":
			vented[e.Tank] = e.Time
		case "dry-hop":
			hopped++
			assert.GreaterOrEqual(t, e.Time.Sub(vented[e.Tank]), 12*time.Hour, e.Tank)
		}
		return nil
	}))
	assert.Equal(t, 2, hopped)
}

func TestTheDemoRefusesASpeedThatCannotBe(t *testing.T) {
	var out, err bytes.Buffer
	code := execute(t.Context(), []string{"demo", "--speed", "0"}, streams{out: &out, err: &err})
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, err.String(), "--speed=0")
}
