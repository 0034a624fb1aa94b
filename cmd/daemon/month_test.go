package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/ingest"
	"spile/ingest/journal"
)

// month is a cellar whose clock the test moves.
type month struct {
	t     *testing.T
	d     *Daemon
	dir   string
	clock atomic.Pointer[time.Time]
	tanks int
	every time.Duration
	sent  int
}

// newMonth starts a daemon on a virtual clock.
func newMonth(t *testing.T, tanks int, every time.Duration, r Retention) *month {
	t.Helper()
	m := &month{t: t, dir: t.TempDir(), tanks: tanks, every: every}
	begin := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	m.clock.Store(&begin)
	m.d = New(Options{Data: m.dir, Retention: r, Clock: m.now, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, m.d.Start(t.Context()))
	t.Cleanup(func() { assert.NoError(t, m.d.Stop(context.Background())) })
	return m
}

func (m *month) now() time.Time { return *m.clock.Load() }

// day lets every tank speak through one day, in the order of time, and each six hours holds the journal to its bounds:
// the daemon does so each ten minutes.
func (m *month) day() {
	m.t.Helper()
	for range 4 {
		m.stretch(6 * time.Hour)
	}
}

func (m *month) stretch(length time.Duration) {
	m.t.Helper()
	end := m.now().Add(length)
	for m.now().Before(end) {
		done := make(chan error, m.tanks)
		at := m.now()
		for tank := range m.tanks {
			payload := fmt.Sprintf(`{"time":%d,"gravity":%.4f,"temperature":%.2f,"pressure":%.1f}`,
				at.Unix(), 1.0118+float64(m.sent%3)*1e-4, 14.3+float64(m.sent%5)/50, 82+float64(m.sent%7)/10)
			message := ingest.Message{Topic: fmt.Sprintf("cellar/FV%d/all", tank), Payload: []byte(payload), Arrived: at}
			require.NoError(m.t, m.d.intake.Offer(m.t.Context(), message, func(err error) { done <- err }))
			m.sent++
		}
		for range m.tanks {
			require.NoError(m.t, <-done)
		}
		at = at.Add(m.every)
		m.clock.Store(&at)
	}
	last, err := m.d.journal.Last(m.t.Context())
	require.NoError(m.t, err)
	require.NoError(m.t, m.d.judge.reach(m.t.Context(), last))
	require.NoError(m.t, m.d.retention.keep(m.t.Context()))
}

// heap is what is in use after a collection.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var s runtime.MemStats
	runtime.ReadMemStats(&s)
	return s.HeapAlloc
}

// kept counts the readings as they came, and those in means.
func (m *month) kept() (raw, meant int) {
	m.t.Helper()
	require.NoError(m.t, m.d.journal.Readings(m.t.Context(), journal.Filter{}, func(detect.Reading) error {
		raw++
		return nil
	}))
	require.NoError(m.t, m.d.journal.Means(m.t.Context(), journal.Filter{}, func(mean journal.Mean) error {
		meant += mean.Count
		return nil
	}))
	return raw, meant
}

func (m *month) fileSize() int64 {
	m.t.Helper()
	file, err := os.Stat(filepath.Join(m.dir, "journal.db"))
	require.NoError(m.t, err)
	return file.Size()
}

// A month passes on a virtual clock: 10 tanks that speak each quarter of an hour, or with SPILE_LONG=1 a hundred that
// speak each minute, some 13 million readings.
func TestAMonthIsKeptWithinItsSize(t *testing.T) {
	tanks, every, size := 10, 15*time.Minute, int64(3400<<10) // a tenth more than a week and its tanks need
	if os.Getenv("SPILE_LONG") == "1" {
		tanks, every, size = 100, time.Minute, 300<<20
	}
	m := newMonth(t, tanks, every, Retention{Raw: 7 * 24 * time.Hour, Size: size})
	m.d.retention.readers = []string{"influx"} // whose position the test moves
	influxReads := func() {
		last, err := m.d.journal.Last(t.Context())
		require.NoError(t, err)
		require.NoError(t, m.d.journal.SetPosition(t.Context(), "influx", last))
	}
	var early uint64
	began := time.Now()
	for day := 1; day <= 30; day++ {
		m.day()
		if day < 12 || day > 24 {
			influxReads()
		}
		assert.LessOrEqual(t, m.fileSize(), size, "day %d", day)
		switch day {
		case 10:
			early = heap()
			assert.Zero(t, testutil.ToFloat64(m.d.retention.missed))
			raw, meant := m.kept()
			assert.Equal(t, 3*m.sent, raw+meant, "each reading is there, or in an hour's mean")
			assert.InDelta(t, 3*m.sent*7/10, raw, float64(3*m.sent)/20, "raw for a week")
		case 24:
			assert.NotZero(t, testutil.ToFloat64(m.d.retention.missed), "InfluxDB was away for longer than there was room")
			require.Eventually(t, func() bool {
				_, body := m.d.judge.view(), m.d.judge.view().Incidents
				for _, in := range body {
					if in.Alarm == "influx-missed" {
						return true
					}
				}
				return false
			}, 10*time.Second, 10*time.Millisecond, "and that is told")
		}
	}
	var late uint64 // what other tests of the process left behind soon goes
	assert.Eventually(t, func() bool {
		late = heap()
		return late < early+early/3
	}, 30*time.Second, time.Second, "memory is flat")
	t.Logf("%d readings in %s; file %d bytes of %d; heap %d, then %d bytes", 3*m.sent, time.Since(began).Round(time.Second), m.fileSize(), size, early, late)
	faults, err := m.d.journal.Check(t.Context(), 0)
	require.NoError(t, err)
	assert.Empty(t, faults)
}

func TestWithRoomNothingGoesThatInfluxHasNotHad(t *testing.T) {
	m := newMonth(t, 3, time.Hour, Retention{Raw: 2 * 24 * time.Hour, Size: 1 << 30})
	m.d.retention.readers = []string{"influx"}
	for range 6 {
		m.day()
	}
	raw, meant := m.kept()
	assert.Equal(t, 3*m.sent, raw)
	assert.Zero(t, meant)
	last, err := m.d.journal.Last(t.Context())
	require.NoError(t, err)
	require.NoError(t, m.d.journal.SetPosition(t.Context(), "influx", last))
	require.NoError(t, m.d.retention.keep(t.Context()))
	raw, meant = m.kept()
	assert.Equal(t, 3*m.sent, raw+meant)
	assert.Positive(t, meant)
}
