package house

import (
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rule looks over the tree and gives its faults, each with its place.
type rule func(*tree) []string

func rules() map[string]rule {
	return map[string]rule{
		"arrows":        arrows,
		"pure-imports":  pureImports,
		"test-imports":  testImports,
		"dot-imports":   dotImports,
		"clock":         clock,
		"sleep":         sleep,
		"exits":         exits,
		"inits":         inits,
		"globals":       globals,
		"comments":      comments,
		"documented":    documented,
		"lengths":       lengths,
		"names":         names,
		"top-level":     topLevel,
		"machine-paths": machinePaths,
	}
}

func TestHouse(t *testing.T) {
	house, err := load(os.DirFS("../.."))
	require.NoError(t, err)
	for _, top := range []string{"cmd", "ingest", "detect", "alert"} {
		require.True(t, slices.ContainsFunc(house.sources, func(s *source) bool { return s.top() == top }),
			"nothing was read of %s: the rules would hold for want of anything to break them", top)
	}
	for name, check := range rules() {
		t.Run(name, func(t *testing.T) {
			faults := check(house)
			slices.Sort(faults)
			assert.Empty(t, faults, strings.Join(faults, "\n"))
		})
	}
}
