package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHoldPointsDepartFromCommonPractice(t *testing.T) {
	file := filepath.Join(t.TempDir(), "cellar.yaml")
	require.NoError(t, os.WriteFile(file, []byte(
		"hold_points: {stable: 0.4 points, dry_hop: 50 degF, co2: 2.5 vol, abv: 6.2, package: 90 psi, store: 30 degC, worst: 21 days}\n"), 0o600))
	c, err := Load(file)
	require.NoError(t, err)
	l := c.HoldPoints.Limits()
	assert.InDelta(t, 0.4, l.StablePoints, 1e-9)
	assert.InDelta(t, 10, l.DryHopCelsius, 1e-9)
	assert.InDelta(t, 2.5, l.TargetVolumes, 1e-9)
	assert.InDelta(t, 6.2, l.LabelABV, 1e-9)
	assert.InDelta(t, 620.5, l.PackageKPa, 0.1)
	assert.InDelta(t, 30, l.StoreCelsius, 1e-9)
	assert.InDelta(t, 21, l.WorstDays, 1e-9)
	var shown strings.Builder
	require.NoError(t, c.Print(&shown))
	assert.Contains(t, shown.String(), "hold points    stable within 0.10 degP (0.4 points), hops at 10.0 degC (50.0 degF)")

	require.NoError(t, os.WriteFile(file, []byte("hold_points: {dry_hop: 58}\n"), 0o600))
	_, err = Load(file)
	assert.ErrorContains(t, err, "58 degC? write 58 degF")
}
