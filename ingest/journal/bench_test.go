package journal

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"spile/detect"
)

// BenchmarkCommit writes readings of 64 series in order, a thousand and more a
// batch, and tells rows a second and bytes a row.
func BenchmarkCommit(b *testing.B) {
	for _, size := range []int{100, 1000, 5000} {
		b.Run(fmt.Sprintf("batch=%d", size), func(b *testing.B) {
			dir := b.TempDir()
			j, err := Open(b.Context(), Options{Dir: dir})
			require.NoError(b, err)
			commitAll(b, j, size, func(*detect.Reading) {})
			require.NoError(b, j.Close())
			info, err := os.Stat(filepath.Join(dir, fileName))
			require.NoError(b, err)
			b.ReportMetric(float64(info.Size())/float64(b.N*size), "B/row")
		})
	}
}

// BenchmarkCommitLate writes every reading behind its series' newest, so that
// each has to be looked up.
func BenchmarkCommitLate(b *testing.B) {
	j, err := Open(b.Context(), Options{Dir: b.TempDir()})
	require.NoError(b, err)
	commitAll(b, j, 1000, func(r *detect.Reading) { r.Time = noon().Add(noon().Sub(r.Time)) })
	require.NoError(b, j.Close())
}

// commitAll commits batches of readings that are changed first, and reports the
// pace of the commits alone. Stopping the benchmark's timer for the rest would
// stop the world each time.
func commitAll(b *testing.B, j *Journal, size int, change func(*detect.Reading)) {
	batch, n := make([]Entry, size), 0
	var spent time.Duration
	for b.Loop() {
		fill(batch, n)
		for _, e := range batch {
			change(e.Reading)
		}
		n += size
		began := time.Now()
		if _, err := j.Commit(b.Context(), batch); err != nil {
			b.Fatal(err)
		}
		spent += time.Since(began)
	}
	b.ReportMetric(float64(n)/spent.Seconds(), "rows/s")
}

// BenchmarkRead reads a million readings back in the three ways there are.
func BenchmarkRead(b *testing.B) {
	j, err := Open(b.Context(), Options{Dir: b.TempDir()})
	require.NoError(b, err)
	const rows, size = 1_000_000, 5000
	batch := make([]Entry, size)
	for n := 0; n < rows; n += size {
		fill(batch, n)
		_, err := j.Commit(b.Context(), batch)
		require.NoError(b, err)
	}
	ways := map[string]func() error{
		"After": func() error {
			for seq := int64(0); seq < rows; seq += size {
				if _, err := j.After(b.Context(), seq, size); err != nil {
					return err
				}
			}
			return nil
		},
		"Readings": func() error {
			return j.Readings(b.Context(), Filter{}, func(detect.Reading) error { return nil })
		},
		"Check": func() error {
			faults, err := j.Check(b.Context(), 0)
			require.Empty(b, faults)
			return err
		},
		"Check what is new": func() error {
			_, err := j.Check(b.Context(), rows-size)
			return err
		},
	}
	for _, name := range slices.Sorted(maps.Keys(ways)) {
		b.Run(name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				require.NoError(b, ways[name]())
				n++
			}
			b.ReportMetric(float64(n*rows)/b.Elapsed().Seconds(), "rows/s")
		})
	}
	require.NoError(b, j.Close())
}

// fill makes readings n to n+len of 64 series that each speak once a second.
func fill(batch []Entry, n int) {
	for i := range batch {
		series := (n + i) % 64
		at := noon().Add(time.Duration((n+i)/64) * time.Second)
		batch[i] = Entry{Arrived: at.Add(300 * time.Millisecond), Reading: &detect.Reading{
			Tank: fmt.Sprintf("FV%d", series/4), Probe: fmt.Sprintf("p%d", series%4), Quantity: detect.Temperature,
			Time: at, Value: 14 + float64((n+i)%1000)/997, Raw: 14 + float64((n+i)%1000)/997,
		}}
	}
}
