package deb

import (
	"bytes"
	"encoding/json"
	"fmt"
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

	"spile/ingest/servertest"
)

// emulators run a program of another machine on this one.
var emulators = map[string]string{"arm64": "qemu-aarch64-static", "armv7": "qemu-arm-static", "armv6": "qemu-arm-static"}

// requireARMWorks runs the programs for ARM under an emulator: a night must come
// to the same alarms at the same moments, and the daemon must hear, keep and end.
func requireARMWorks(t *testing.T, dir string) {
	t.Helper()
	if runtime.GOARCH != "amd64" {
		t.Skip("the programs for ARM are emulated on amd64 only")
	}
	native := one(t, dir+"/spile-*-linux-amd64")
	want := night(t, native)
	require.NotEmpty(t, want)
	for machine, emulator := range emulators {
		t.Run(machine+" emulated", func(t *testing.T) {
			program := one(t, dir+"/spile-*-linux-"+machine)
			emulator := tool(t, emulator)
			assert.Equal(t, want, night(t, emulator, program))
			requireHears(t, emulator, program)
		})
	}
}

// night replays a recorded night and gives what was called when.
func night(t *testing.T, command ...string) []string {
	t.Helper()
	args := append(command[1:], "replay", "--format", "ndjson", repo+"/testdata/nights/creep.ndjson")
	cmd := exec.CommandContext(t.Context(), command[0], args...)
	out, err := cmd.Output()
	require.NoError(t, err)
	var steps []string
	lines := json.NewDecoder(bytes.NewReader(out))
	for lines.More() {
		var s struct{ Time, Tank, Alarm, From, To, ID string }
		require.NoError(t, lines.Decode(&s))
		steps = append(steps, fmt.Sprint(s))
	}
	return steps
}

// requireHears runs the daemon, writes the cellar log and reads it back.
func requireHears(t *testing.T, emulator, program string) {
	t.Helper()
	config := filepath.Join(t.TempDir(), "spile.yaml")
	require.NoError(t, os.WriteFile(config, []byte("data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\n"), 0o600))
	p := servertest.Run(t, exec.Command(emulator, program, "run", "--config", config), pageAddress)
	s := &service{Program: p, t: t, url: p.Up}
	answer, err := http.Post(s.url+"/api/v1/tanks/FV3/log", "application/json", strings.NewReader(`{"event":"crash","setpoint":"14.4 degC"}`)) //nolint:noctx // on loopback, in a test
	require.NoError(t, err)
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Less(t, answer.StatusCode, 300, "%s", body)
	assert.Contains(t, s.get("/api/v1/tanks/FV3/log"), `"crash"`)
	s.Stop()
}
