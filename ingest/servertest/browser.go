package servertest

import (
	"os"
	"path/filepath"
	"testing"
)

// Chromium is the path of a Chromium that runs without a screen. Where none is installed the test ends in the way that
// the package promises.
func Chromium(t testing.TB) string {
	t.Helper()
	return binary(t, "chromium")
}

// Axe is the source of axe-core, which finds what keeps people from using a page. It is no program of Debian's:
// `bash .ci/test` fetches it by npm.
func Axe(t testing.TB) string {
	t.Helper()
	path := filepath.Join(moduleRoot(), ".ci", "cache", "axe", "axe.min.js")
	source, err := os.ReadFile(path)
	if err == nil {
		return string(source)
	}
	if os.Getenv(requireServers) == "1" {
		t.Fatalf("%s=1, but axe-core is not at %s: `bash .ci/test` fetches it", requireServers, path)
	}
	t.Skip("axe-core is not there: `bash .ci/test` fetches it")
	return ""
}
