package detect

import (
	"bufio"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// figures reads the rows of figures of a golden file.
func figures(t *testing.T, path string) [][]float64 {
	t.Helper()
	file, err := os.Open(path)
	require.NoError(t, err)
	defer func() { _ = file.Close() }()
	var out [][]float64
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if line := strings.TrimSpace(lines.Text()); line != "" && !strings.HasPrefix(line, "#") {
			var row []float64
			for field := range strings.FieldsSeq(line) {
				v, err := strconv.ParseFloat(field, 64)
				require.NoError(t, err)
				row = append(row, v)
			}
			out = append(out, row)
		}
	}
	return out
}

// The sum that watches the gas balance runs as long as Page's does, by an integral equation solved outside this project.
func TestPageSumRunsAsPublished(t *testing.T) {
	t.Parallel()
	const most = 400.0 // longer runs would take too long to try
	for _, row := range figures(t, "../testdata/sequential/cusum-arl.txt") {
		k, h, mean, want := row[0], row[1], row[2], row[3]
		if want > most {
			continue
		}
		rng := rand.New(rand.NewPCG(54, 100))
		const runs = 4000
		var sum, squares float64
		for range runs {
			length, s := 0.0, 0.0
			for s < h {
				s = pageSum(s, mean+rng.NormFloat64(), k)
				length++
			}
			sum, squares = sum+length, squares+length*length
		}
		got := sum / runs
		deviation := math.Sqrt((squares/runs - got*got) / runs)
		assert.InDelta(t, want, got, 4*deviation, "k %g, h %g, mean %g", k, h, mean)
	}
}

// The whitening of a float's curve is the Kalman filter of a level that wanders, seen through noise. Where its memory is
// long it is the local level model, and does to the Nile what is published: a steady gain of 0.267 (from the variances,
// x = (q + sqrt(q² + 4q))/2, gain x/(1 + x), q = 1469.1/15099), a log-likelihood of -632.5 (Durbin and Koopman 2001) and a
// level of 798.4 in the last year (R 4.2.2, KalmanRun).
func TestWhiteningOfTheNile(t *testing.T) {
	t.Parallel()
	flow := figures(t, "../testdata/sequential/nile.txt")
	require.Len(t, flow, 100)
	const seen, wandering = 15099.0, 1469.1
	step := 10 * time.Millisecond // so short beside the memory that nothing is forgotten
	keep := math.Exp(-step.Hours() / lastingHours)
	f := &float{White: math.Sqrt(seen - noiseFloor*noiseFloor), Noise: math.Sqrt(wandering / (1 - keep*keep))}
	for i := range flow {
		f.Points = append(f.Points, point{At: began.Add(time.Duration(i) * step), N: 1})
	}
	gains := f.whitenings()
	q := wandering / seen
	x := (q + math.Sqrt(q*q+4*q)) / 2
	assert.InDelta(t, x/(1+x), gains[99].share, 1e-4)

	var level whiten
	likelihood := 0.0
	for i, row := range flow {
		innovation := level.next(gains[i], row[0])
		if i > 0 { // the first year only says where the level begins
			likelihood += math.Log(gains[i].scale) - math.Log(2*math.Pi)/2 - innovation*innovation/2
		}
	}
	assert.InDelta(t, -632.54, likelihood, 0.02)
	assert.InDelta(t, 798.37, level.level, 0.05)
}
