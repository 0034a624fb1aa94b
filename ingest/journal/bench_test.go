package journal

import (
	"fmt"
	"os"
	"path/filepath"
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
			batch, n := make([]Entry, size), 0
			for b.Loop() {
				b.StopTimer()
				fill(batch, n)
				n += size
				b.StartTimer()
				if _, err := j.Commit(b.Context(), batch); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
			require.NoError(b, j.Close())
			info, err := os.Stat(filepath.Join(dir, fileName))
			require.NoError(b, err)
			b.ReportMetric(float64(info.Size())/float64(n), "B/row")
		})
	}
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
