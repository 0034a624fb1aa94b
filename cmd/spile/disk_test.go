package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// smallDisk mounts a disk of some MB, where the test may.
func smallDisk(t *testing.T, megabytes int) string {
	t.Helper()
	dir := t.TempDir()
	err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%dm", megabytes))
	if errors.Is(err, syscall.EPERM) {
		t.Skip("mounting a small disk needs root")
	}
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	return dir
}

// glutton takes room on a disk until so many bytes are left.
func glutton(t *testing.T, dir string, left uint64) (giveBack func()) {
	t.Helper()
	path := filepath.Join(dir, "glutton")
	file, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	require.NoError(t, err)
	chunk := make([]byte, 4096)
	for {
		var disk syscall.Statfs_t
		require.NoError(t, syscall.Statfs(dir, &disk))
		if disk.Bavail*uint64(disk.Bsize) <= left {
			break
		}
		if _, err := file.Write(chunk); err != nil {
			break
		}
	}
	require.NoError(t, file.Close())
	return func() { require.NoError(t, os.Remove(path)) }
}

// calls is a phone that notes which alarm it was called for, by webhook-id.
func calls(t *testing.T) (url string, heard chan string) {
	t.Helper()
	heard = make(chan string, 100)
	ids := map[string]bool{}
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var said struct{ Alarm, To string }
		if err := json.NewDecoder(r.Body).Decode(&said); err != nil {
			t.Errorf("a body that is no JSON: %v", err)
		}
		id := r.Header.Get("webhook-id")
		if ids[id] { // one webhook sends one by one about an alarm
			t.Errorf("%s was told twice", id)
		}
		ids[id] = true
		heard <- said.Alarm + " " + said.To
	}))
	t.Cleanup(server.Close)
	return server.URL, heard
}

func expect(t *testing.T, spile *process, heard <-chan string, what string) {
	t.Helper()
	select {
	case got := <-heard:
		require.Equal(t, what, got, "%s", spile.Said())
	case <-time.After(time.Minute):
		t.Fatalf("nobody heard of %s:\n%s", what, spile.Said())
	}
}

// The disk fills twice: first while the reserve is there, then to the last byte, so that not even the alarm can be
// journalled. Nothing that is acknowledged is lost, people hear of both, and it goes on by itself.
func TestAFullDiskIsToldAndWatchingGoesOnWhenThereIsRoom(t *testing.T) {
	dir := smallDisk(t, 192)
	url, heard := calls(t)
	path := configFile(t, `
data: %q
http: {listen: 127.0.0.1:0}
mqtt: {listen: 127.0.0.1:0}
webhooks: [{name: phone, url: %q, priority: high}]
`, dir, url)
	spile := spawn(t, "run", "--config", path)
	require.Eventually(t, func() bool {
		file, err := os.Stat(filepath.Join(dir, "ballast"))
		return err == nil && file.Size() == 32<<20
	}, 20*time.Second, 50*time.Millisecond, "the reserve is laid")
	probe := connect(t, "tcp://"+brokerAddress.FindStringSubmatch(spile.Said())[1], "head")
	at := time.Now().Add(-24 * time.Hour).Truncate(time.Second)
	sent := 0
	publish := func(n int) (acknowledged int) {
		for range n {
			at = at.Add(time.Second)
			token := probe.Publish("cellar/FV1/head", 1, false, fmt.Sprintf(`{"time":%d,"pressure":80.5}`, at.Unix()))
			sent++
			if !token.WaitTimeout(300*time.Millisecond) || token.Error() != nil {
				return acknowledged
			}
			acknowledged++
		}
		return acknowledged
	}
	require.Equal(t, 50, publish(50))

	glutton(t, dir, 8<<20)
	expect(t, spile, heard, "journal-disk unacknowledged")
	_, err := os.Stat(filepath.Join(dir, "ballast"))
	require.ErrorIs(t, err, os.ErrNotExist, "the reserve is given up")
	require.Equal(t, 50, publish(50), "and bought room")

	giveBack := glutton(t, dir, 0)
	for publish(5000) == 5000 { // the last pages that the journal's files had
	}
	expect(t, spile, heard, "journal-stopped unacknowledged")
	probe.Disconnect(0)

	giveBack()
	probe = connect(t, "tcp://"+brokerAddress.FindStringSubmatch(spile.Said())[1], "head")
	require.Eventually(t, func() bool { return publish(1) == 1 }, time.Minute, 10*time.Millisecond, "%s", spile.Said())
	require.Eventually(t, func() bool {
		status, _ := spile.fetch("/readyz")
		return status == http.StatusOK
	}, time.Minute, 100*time.Millisecond, "%s", spile.Said())
	require.Eventually(t, func() bool {
		_, body := spile.fetch("/api/v1/alarms")
		return strings.Contains(string(body), "journal-stopped")
	}, time.Minute, 100*time.Millisecond, "the journal has it too")
	spile.Stop()
	assert.Empty(t, heard, "what was told from memory is not told again")
	assert.Contains(t, spawnOnce(t, "check", "--config", path, "--journal"), "nothing broken")
}
