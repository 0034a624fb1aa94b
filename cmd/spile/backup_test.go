package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fails runs a command that must end with an exit code, and gives what it printed.
func fails(t *testing.T, code int, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], args...)
	cmd.Env = append(os.Environ(), asSpile+"=1")
	out, err := cmd.CombinedOutput()
	var exited *exec.ExitError
	require.ErrorAs(t, err, &exited, "%s", out)
	require.Equal(t, code, exited.ExitCode(), "%s", out)
	return string(out)
}

var regexpEvent = regexp.MustCompile(`"event":`)

func TestACopyTakenWhileItRunsIsPutBack(t *testing.T) {
	config := configFile(t, "data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\n")
	copied := filepath.Join(t.TempDir(), "copy.db")
	spile := spawn(t, "run", "--config", config)
	spile.ready()
	log := func(event string) { spawnOnce(t, "log", "FV3", event, "--url", spile.url) }
	events := func() int { // in the log of the tank
		_, body := spile.fetch("/api/v1/tanks/FV3/log")
		return len(regexpEvent.FindAll(body, -1))
	}
	log("seal")
	spawnOnce(t, "backup", "--config", config, copied)
	log("rouse")
	require.Equal(t, 2, events())
	assert.Contains(t, fails(t, exitFailed, "backup", "--config", config, copied), "never overwritten")
	assert.Contains(t, fails(t, exitFailed, "restore", "--config", config, copied), "stop the other spile")
	spile.Stop()

	said := spawnOnce(t, "restore", "--config", config, copied)
	assert.Contains(t, said, "journal.db.before-", "what was there is not thrown away")
	spile = spawn(t, "run", "--config", config)
	spile.ready()
	assert.Equal(t, 1, events(), "as it was when it was copied")
	spile.Stop()
	assert.Contains(t, spawnOnce(t, "check", "--config", config, "--journal"), "nothing broken")
}
