package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// solved loads a config with one probe.
func solved(t *testing.T, probe string) (Config, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "cellar.yaml")
	require.NoError(t, os.WriteFile(file, []byte("probes:\n  hyd-1: "+probe+"\n"), 0o600))
	return Load(file)
}

func TestKnownSolutionsCorrectAHydrometer(t *testing.T) {
	c, err := solved(t, `{solutions: [{reads: 1.002, is: 1.000}, {reads: 12.4 degP, is: 12 degP}], from: 2026-03-02T08:00:00Z}`)
	require.NoError(t, err)
	told := c.Decoder().Probes["hyd-1"]
	require.NotNil(t, told.Line)
	assert.InDelta(t, 1.000, told.Line.Apply(1.002), 1e-9)
	assert.Equal(t, time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), told.From.UTC())
	var shown strings.Builder
	require.NoError(t, c.Print(&shown))
	assert.Contains(t, shown.String(), "times what it reads, by 2 solutions, which leaves")
	assert.Contains(t, shown.String(), "corrected from 2026-03-02T08:00:00Z on")
}

func TestSolutionsThatAreRefused(t *testing.T) {
	for probe, says := range map[string]string{
		`{solutions: [{reads: 1.002, is: 1.000}]}`:                        "probes.hyd-1.solutions: a line needs two known solutions or more",
		`{solutions: [{reads: 1.002}, {reads: 1.05, is: 1.05}]}`:          "a solution needs reads and is",
		`{solutions: [{reads: 1002, is: 1.0}, {reads: 1.05, is: 1.05}]}`:  "probes.hyd-1.solutions.0.reads",
		`{solutions: [{reads: 1.000, is: 1.0}, {reads: 1.01, is: 1.05}]}`: "is a figure put wrong?",
		`{from: yesterday}`: "write date, time and zone",
	} {
		_, err := solved(t, probe)
		assert.ErrorContains(t, err, says, probe)
	}
}
