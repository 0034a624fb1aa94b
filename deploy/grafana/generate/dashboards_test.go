package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheDashboardsAreThoseOfTheGenerator(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, run([]string{folder}))
	made, err := os.ReadDir(folder)
	require.NoError(t, err)
	kept, err := os.ReadDir(filepath.Join("..", "dashboards"))
	require.NoError(t, err)
	require.Len(t, kept, len(made))
	for _, file := range made {
		fresh, err := os.ReadFile(filepath.Join(folder, file.Name()))
		require.NoError(t, err)
		committed, err := os.ReadFile(filepath.Join("..", "dashboards", file.Name()))
		require.NoError(t, err)
		assert.Equal(t, string(committed), string(fresh), "%s: run go run ./deploy/grafana/generate deploy/grafana/dashboards", file.Name())
	}
}

func TestItAsksForAFolder(t *testing.T) {
	assert.ErrorContains(t, run(nil), "give the folder")
}
