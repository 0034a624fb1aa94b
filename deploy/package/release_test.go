package deb

import (
	"debug/elf"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// released runs the one command that makes a release, for some machines, in a
// clone of its own: what is not committed is in no release.
func released(t *testing.T, machines ...string) (dir string) {
	t.Helper()
	if os.Getenv("SPILE_REQUIRE_SERVERS") != "1" {
		t.Skip("it builds a whole release, which is for the gate: SPILE_REQUIRE_SERVERS=1")
	}
	git, clone := tool(t, "git"), filepath.Join(t.TempDir(), "clone")
	here, err := filepath.Abs(repo)
	require.NoError(t, err)
	if out, err := exec.CommandContext(t.Context(), git, "clone", "--quiet", "--shared", here, clone).CombinedOutput(); err != nil {
		t.Skipf("a release is made of a commit, and this is no clone: %s", out)
	}
	if exists(here + "/.ci/cache") { // the tools need not be built again
		require.NoError(t, os.Symlink(here+"/.ci/cache", clone+"/.ci/cache"))
	}
	dir = t.TempDir()
	cmd := exec.CommandContext(t.Context(), "bash", append([]string{clone + "/deploy/release/build", "--out", dir}, machines...)...)
	cmd.Env = append(os.Environ(), "GOFLAGS=")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	return dir
}

// one finds the one file of a pattern.
func one(t *testing.T, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(pattern)
	require.NoError(t, err)
	require.Len(t, found, 1, pattern)
	return found[0]
}

func TestTheSameCommitMakesTheSameRelease(t *testing.T) {
	first, second := released(t, "amd64"), released(t, "amd64")
	sums, err := os.ReadFile(filepath.Join(first, "SHA256SUMS"))
	require.NoError(t, err)
	again, err := os.ReadFile(filepath.Join(second, "SHA256SUMS"))
	require.NoError(t, err)
	assert.Equal(t, string(sums), string(again))
	assert.Len(t, strings.Fields(string(sums)), 2*3, "program, package, bill of materials")
	cmd := exec.CommandContext(t.Context(), "sha256sum", "--strict", "--check", "SHA256SUMS")
	cmd.Dir = first
	out, err := cmd.CombinedOutput()
	assert.NoError(t, err, "%s", out)
}

func TestEveryMachineHasItsStaticProgramAndPackage(t *testing.T) {
	dir := released(t)
	for machine, want := range map[string]struct {
		cpu  elf.Machine
		arch string
	}{
		"amd64": {elf.EM_X86_64, "amd64"}, "arm64": {elf.EM_AARCH64, "arm64"},
		"armv7": {elf.EM_ARM, "armhf"}, "armv6": {elf.EM_ARM, "armhf"},
	} {
		t.Run(machine, func(t *testing.T) {
			program := one(t, dir+"/spile-*-linux-"+machine)
			binary, err := elf.Open(program)
			require.NoError(t, err)
			defer func() { assert.NoError(t, binary.Close()) }()
			assert.Equal(t, want.cpu, binary.Machine)
			libraries, err := binary.ImportedLibraries()
			require.NoError(t, err)
			assert.Empty(t, libraries, "it needs nothing of the machine's")
			deb := one(t, dir+"/spile_*_"+machine+".deb")
			assert.Equal(t, want.arch, strings.TrimSpace(run(t, tool(t, "dpkg-deb"), "--field", deb, "Architecture")))
			requireBill(t, program+".cdx.json")
		})
	}
	requireARMWorks(t, dir)
}

// requireBill holds a bill of materials against what go.mod asks for.
func requireBill(t *testing.T, path string) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var bill struct {
		BOMFormat  string `json:"bomFormat"`
		Components []struct{ Name, Version, PURL string }
	}
	require.NoError(t, json.Unmarshal(text, &bill))
	assert.Equal(t, "CycloneDX", bill.BOMFormat)
	var names []string
	for _, c := range bill.Components {
		names = append(names, c.Name)
		assert.NotEmpty(t, c.Version, c.Name)
	}
	for _, name := range []string{"modernc.org/sqlite", "github.com/eclipse/paho.mqtt.golang", "github.com/mochi-mqtt/server/v2"} {
		assert.Contains(t, names, name)
	}
}
