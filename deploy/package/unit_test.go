package deb

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// repo is the top of the repository from here.
const repo = "../.."

// tool finds a program that a test cannot do without. In the gate its absence
// is a failure, elsewhere the test is left out.
func tool(t *testing.T, name string) string {
	t.Helper()
	for _, dir := range []string{"/usr/sbin", "/sbin"} {
		if path := filepath.Join(dir, name); exists(path) {
			return path
		}
	}
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("SPILE_REQUIRE_SERVERS") == "1" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// run gives what a command prints, and fails the test where it fails.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	require.NoError(t, err, "%s %s\n%s", name, strings.Join(args, " "), out)
	return string(out)
}

// exposure is the level that deploy/README.md promises, of systemd's ten.
const exposure = 1.2

func TestTheServiceIsSoundAndClosed(t *testing.T) {
	analyze := tool(t, "systemd-analyze")
	text, err := os.ReadFile("spile.service")
	require.NoError(t, err)
	unit := filepath.Join(t.TempDir(), "spile.service")
	// The program is not installed here; systemd asks for one that is.
	present := strings.Replace(string(text), "/usr/bin/spile", "/bin/true", 1)
	require.NoError(t, os.WriteFile(unit, []byte(present), 0o600))
	said := run(t, analyze, "verify", "--man=no", unit)
	assert.NotContains(t, said, "spile.service", "nothing to complain of")

	said = run(t, analyze, "security", "--offline=true", "--no-pager", unit)
	found := regexp.MustCompile(`Overall exposure level for spile.service: (\d+\.\d)`).FindStringSubmatch(said)
	require.NotNil(t, found, said)
	level, err := strconv.ParseFloat(found[1], 64)
	require.NoError(t, err)
	assert.LessOrEqual(t, level, exposure, said)
}
