package deb

import (
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// debs makes the package of this commit for this machine, and the same under
// the version before it.
func debs(t *testing.T) (before, now string) {
	t.Helper()
	dir := t.TempDir()
	program := filepath.Join(dir, "spile")
	build := exec.CommandContext(t.Context(), "go", "build", "-trimpath", "-o", program, "./cmd/spile")
	build.Dir, build.Env = repo, append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=")
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)
	nfpm := filepath.Join(repo, ".ci/cache/bin/nfpm")
	if !exists(nfpm) {
		nfpm = tool(t, "nfpm")
	}
	nfpm, err = filepath.Abs(nfpm)
	require.NoError(t, err)
	pack := func(version string) string {
		path := filepath.Join(dir, version+".deb")
		cmd := exec.CommandContext(t.Context(), nfpm, "package", "--config", "deploy/package/nfpm.yaml", "--packager", "deb", "--target", path)
		cmd.Dir, cmd.Env = repo, append(os.Environ(), "VERSION="+version, "PACKAGE_ARCH="+runtime.GOARCH, "BINARY="+program)
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
		return path
	}
	return pack("0.0.1"), pack("0.0.2")
}

// get asks the service for a path.
func (s *service) get(path string) string {
	s.t.Helper()
	answer, err := http.Get(s.url + path) //nolint:noctx // it is on loopback, and the test has a time limit
	require.NoError(s.t, err)
	defer func() { assert.NoError(s.t, answer.Body.Close()) }()
	body, err := io.ReadAll(answer.Body)
	require.NoError(s.t, err)
	require.Equal(s.t, http.StatusOK, answer.StatusCode, "%s", body)
	return string(body)
}

// TestThePackageLivesAndGoes installs the package in a clean Debian, runs it as
// its unit would, upgrades it over an older journal, removes it and purges it.
func TestThePackageLivesAndGoes(t *testing.T) {
	d := debian(t)
	before, now := debs(t)
	d.put(before, "/before.deb")
	d.put(now, "/now.deb")

	d.run("dpkg", "--install", "/before.deb")
	assert.Contains(t, d.run("getent", "passwd", "spile"), ":/var/lib/spile:/usr/sbin/nologin")
	assert.Equal(t, "750 spile spile\n", d.run("stat", "-c", "%a %U %G", "/var/lib/spile"))
	assert.Equal(t, "640 root spile\n", d.run("stat", "-c", "%a %U %G", "/etc/spile/spile.yaml"))
	assert.Contains(t, d.run("sh", "-c", "ls /etc/systemd/system/multi-user.target.wants"), "spile.service", "it starts with the machine")
	assert.Contains(t, d.run("spile", "check", "--config", "/etc/spile/spile.yaml"), "/var/lib/spile")
	assert.Contains(t, d.run("spile", "--version"), "development", "the release script stamps it")

	// Ports of its own, as the test does not own the machine; so the config is
	// one that somebody changed.
	config, err := os.ReadFile(d.path("/etc/spile/spile.yaml"))
	require.NoError(t, err)
	changed := strings.NewReplacer("127.0.0.1:8420", "127.0.0.1:0", "127.0.0.1:1883", "127.0.0.1:0", "Etc/UTC", "Europe/Lisbon").Replace(string(config))
	require.NoError(t, os.WriteFile(d.path("/etc/spile/spile.yaml"), []byte(changed), 0o640))
	require.NoError(t, os.RemoveAll(d.path("/usr/share/zoneinfo")), "spile brings its own time zones")

	s := d.start()
	s.await("WATCHDOG=1")
	s.await("WATCHDOG=1")
	assert.Contains(t, s.get("/healthz"), `"alive":true`)
	s.Stop()
	assert.Equal(t, "spile\n", d.run("stat", "-c", "%U", "/var/lib/spile/journal.db"))

	requireUpgrade(t, d, changed)

	d.run("dpkg", "--remove", "spile")
	assert.False(t, exists(d.path("/usr/bin/spile")))
	assert.True(t, exists(d.path("/var/lib/spile/journal.db")), "a removal keeps what was heard")
	assert.True(t, exists(d.path("/etc/spile/spile.yaml")), "and the config")

	d.run("dpkg", "--purge", "spile")
	left := d.run("find", "/etc", "/usr", "/var", "/run", "-iname", "*spile*", "-not", "-path", "/proc/*")
	assert.Empty(t, strings.TrimSpace(left), "a purge leaves nothing")
	assert.NotContains(t, d.run("cat", "/etc/passwd", "/etc/group"), "spile")
}

// requireUpgrade puts the newer package over a journal of the first schema.
func requireUpgrade(t *testing.T, d tree, config string) {
	t.Helper()
	for _, end := range []string{"", "-wal", "-shm"} {
		require.NoError(t, os.RemoveAll(d.path("/var/lib/spile/journal.db"+end)))
	}
	load := exec.CommandContext(t.Context(), tool(t, "sqlite3"), d.path("/var/lib/spile/journal.db"), ".read "+repo+"/testdata/journals/schema-1.sql")
	out, err := load.CombinedOutput()
	require.NoError(t, err, "%s", out)
	d.run("chown", "spile:spile", "/var/lib/spile/journal.db")

	d.run("dpkg", "--install", "/now.deb")
	kept, err := os.ReadFile(d.path("/etc/spile/spile.yaml"))
	require.NoError(t, err)
	assert.Equal(t, config, string(kept), "an upgrade keeps the config that somebody changed")
	s := d.start()
	readings := s.get("/api/v1/readings?tank=FV3&quantity=gravity")
	assert.Equal(t, 3, strings.Count(readings, "\n"), readings)
	assert.Contains(t, s.get("/api/v1/tanks/FV3/log"), `"crash"`)
	s.Stop()
	assert.Contains(t, d.run("spile", "check", "--config", "/etc/spile/spile.yaml", "--journal"), "nothing broken")

	// Root puts a copy back, and the service may still write it.
	d.run("spile", "backup", "--config", "/etc/spile/spile.yaml", "/var/backups/copy.db")
	d.run("spile", "restore", "--config", "/etc/spile/spile.yaml", "/var/backups/copy.db")
	d.start().Stop()
}
