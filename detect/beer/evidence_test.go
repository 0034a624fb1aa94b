package beer

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// point is one figure held against another that was not made by this package.
type point struct {
	check  string  // what is compared, and where
	source string  // whence the expected figure
	want   float64 // the source's figure
	got    float64 // ours
	budget float64 // how far they may lie apart
}

// hold fails for every point beyond its budget, prints all of them as a table with -v, and returns the errors' root mean
// square.
func hold(t *testing.T, points []point) float64 {
	t.Helper()
	var table strings.Builder
	squares, worst := 0.0, 0.0
	for _, p := range points {
		assert.InDelta(t, p.want, p.got, p.budget, "%s, %s", p.check, p.source)
		miss := p.got - p.want
		squares += miss * miss
		if math.Abs(miss) > math.Abs(worst) {
			worst = miss
		}
		fmt.Fprintf(&table, "\n%-44s %-46s %12.6g %12.6g %+9.2g of %.2g", p.check, p.source, p.want, p.got, miss, p.budget)
	}
	rms := math.Sqrt(squares / float64(len(points)))
	t.Logf("%-44s %-46s %12s %12s %9s%s\n%d points, rms error %.3g, worst %+.3g",
		"check", "source", "expected", "got", "error of budget", table.String(), len(points), rms, worst)
	return rms
}

// golden reads a file of testdata/beer: a line of names, then two figures a line. make_golden.py there made it.
func golden(t *testing.T, name string) [][2]float64 {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "..", "testdata", "beer", name))
	require.NoError(t, err)
	defer func() { require.NoError(t, file.Close()) }()
	lines, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 10, "%s has too few points to hold anything against", name)
	var rows [][2]float64
	for _, line := range lines[1:] {
		x, err := strconv.ParseFloat(line[0], 64)
		require.NoError(t, err)
		y, err := strconv.ParseFloat(line[1], 64)
		require.NoError(t, err)
		rows = append(rows, [2]float64{x, y})
	}
	return rows
}

// refused asserts that an error is about the range and names what it refuses.
func refused(t *testing.T, err error, naming string) {
	t.Helper()
	require.ErrorIs(t, err, ErrRange)
	assert.Contains(t, err.Error(), naming)
}

// noNumbers are what a broken sum sends in.
func noNumbers() []float64 { return []float64{math.NaN(), math.Inf(1), math.Inf(-1)} }

// must returns the figure of a call that cannot fail for the arguments of its test.
func must(value float64, err error) float64 {
	if err != nil {
		panic(err)
	}
	return value
}
