package servertest

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spy is a test that notes how it was ended.
type spy struct {
	testing.TB
	skipped, failed string
}

func (s *spy) Helper()                          {}
func (s *spy) Skipf(format string, args ...any) { s.skipped = fmt.Sprintf(format, args...) }
func (s *spy) Fatalf(format string, args ...any) {
	s.failed = fmt.Sprintf(format, args...)
}

func TestMissingServerSkipsOrFails(t *testing.T) {
	t.Setenv(requireServers, "")
	s := &spy{TB: t}
	binary(s, "no-such-server")
	assert.Equal(t, "no-such-server is not installed: `bash .ci/test` installs it", s.skipped)
	assert.Empty(t, s.failed)

	t.Setenv(requireServers, "1")
	s = &spy{TB: t}
	binary(s, "no-such-server")
	assert.Contains(t, s.failed, "no-such-server is not installed")
}

func TestFindLooksInTheCacheOfTheModule(t *testing.T) {
	root := t.TempDir()
	bin := filepath.Join(root, ".ci", "cache", "bin")
	inside := filepath.Join(root, "ingest", "deep")
	require.NoError(t, os.MkdirAll(bin, 0o700))
	require.NoError(t, os.MkdirAll(inside, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(root, "go.mod"), []byte("module m\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(bin, "aserver"), []byte("#!/bin/sh\n"), 0o700))
	t.Chdir(inside)

	path, err := find("aserver")
	require.NoError(t, err)
	assert.Equal(t, filepath.Join(bin, "aserver"), path)
}
