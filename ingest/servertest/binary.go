package servertest

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// requireServers is the variable that turns a skip into a failure.
const requireServers = "SPILE_REQUIRE_SERVERS"

// binary finds a program, or ends the test in the way the package promises.
func binary(t testing.TB, name string) string {
	t.Helper()
	path, err := find(name)
	if err == nil {
		return path
	}
	if os.Getenv(requireServers) == "1" {
		t.Fatalf("%s=1, but %s is not installed: `bash .ci/test` installs it", requireServers, name)
	}
	t.Skipf("%s is not installed: `bash .ci/test` installs it", name)
	return ""
}

// find looks in PATH, where Debian keeps servers, and where .ci/test puts the
// programs that it builds.
func find(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	for _, dir := range []string{"/usr/sbin", filepath.Join(moduleRoot(), ".ci", "cache", "bin")} {
		if path, err := exec.LookPath(filepath.Join(dir, name)); err == nil {
			return path, nil
		}
	}
	return "", errors.New(name + ": not found")
}

// moduleRoot is the directory of the go.mod above the working directory,
// which for a test is its package.
func moduleRoot() string {
	dir, err := os.Getwd()
	if err != nil {
		return "."
	}
	for at := dir; ; at = filepath.Dir(at) {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return at
		}
		if at == filepath.Dir(at) {
			return dir
		}
	}
}
