package deb

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// tree is a Debian system of its own in a folder, with nothing in it that a
// newly installed one lacks.
type tree struct {
	t   *testing.T
	dir string
}

// debian makes a clean tree. It is fetched once and kept, because a mirror is
// slow.
func debian(t *testing.T) tree {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Skip("installing a package needs root: this was not checked")
	}
	if out, err := exec.CommandContext(t.Context(), "unshare", "--mount", "--net", "--pid", "--fork", "true").CombinedOutput(); err != nil {
		t.Skipf("this machine gives nobody a mount and a network of his own, so this was not checked: %s", out)
	}
	fetch := tool(t, "debootstrap")
	kept, err := filepath.Abs(repo + "/.ci/cache/debian")
	require.NoError(t, err)
	if !exists(kept) {
		require.NoError(t, os.MkdirAll(filepath.Dir(kept), 0o755))
		partial := kept + ".partial"
		require.NoError(t, os.RemoveAll(partial))
		run(t, fetch, "--variant=minbase", "bookworm", partial)
		require.NoError(t, os.Rename(partial, kept))
	}
	d := tree{t, filepath.Join(t.TempDir(), "debian")}
	run(t, "cp", "--archive", "--reflink=auto", kept, d.dir)
	return d
}

// path is where something of the tree lies.
func (d tree) path(name string) string { return filepath.Join(d.dir, name) }

// run runs a command within the tree, as its root, and gives what it printed.
func (d tree) run(args ...string) string {
	d.t.Helper()
	cmd := exec.CommandContext(d.t.Context(), "chroot", append([]string{d.dir}, args...)...)
	cmd.Env = []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C"} // DEBIAN_FRONTEND is not set: nothing may ask
	out, err := cmd.CombinedOutput()
	require.NoError(d.t, err, "%v\n%s", args, out)
	return string(out)
}

// put copies a file into the tree.
func (d tree) put(from, to string) {
	d.t.Helper()
	text, err := os.ReadFile(from)
	require.NoError(d.t, err)
	require.NoError(d.t, os.WriteFile(d.path(to), text, 0o644))
}

// service is spile as the unit would start it: its command line, its user, and
// a manager that hears what it says of itself.
type service struct {
	*servertest.Program
	t    *testing.T
	url  string
	told chan string // what it says to its manager
}

var pageAddress = regexp.MustCompile(`http://127\.0\.0\.1:\d+`)

// start runs the unit's command and waits until it says that it is ready.
func (d tree) start() *service {
	d.t.Helper()
	unit, err := os.ReadFile(d.path("/usr/lib/systemd/system/spile.service"))
	require.NoError(d.t, err)
	setting := func(key string) string {
		found := regexp.MustCompile(`(?m)^` + key + `=(.*)$`).FindSubmatch(unit)
		require.NotNil(d.t, found, key)
		return string(found[1])
	}
	s := &service{t: d.t, told: make(chan string, 100)}
	socket := fmt.Sprintf("/run/manager-%d", time.Now().UnixNano())
	s.listen(d.path(socket))
	user := setting("User") + ":" + setting("Group")
	cmd := exec.Command("chroot", append([]string{"--userspec=" + user, d.dir}, strings.Fields(setting("ExecStart"))...)...)
	cmd.Env = []string{"NOTIFY_SOCKET=" + socket, "WATCHDOG_USEC=600000"}
	s.Program = servertest.Run(d.t, cmd, pageAddress)
	s.url = s.Up
	s.await("READY=1")
	return s
}

// listen takes what the service says of itself, as a manager does.
func (s *service) listen(path string) {
	s.t.Helper()
	require.Less(s.t, len(path), 108, "sun_path of unix(7)")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	require.NoError(s.t, err)
	require.NoError(s.t, os.Chmod(path, 0o666))
	s.t.Cleanup(func() { assert.NoError(s.t, socket.Close()) })
	go func() {
		line := make([]byte, 4096)
		for {
			n, err := socket.Read(line)
			if err != nil {
				return
			}
			select {
			case s.told <- string(line[:n]):
			default: // nobody waits for so many
			}
		}
	}()
}

// await waits until the service says something to its manager.
func (s *service) await(state string) {
	s.t.Helper()
	late := time.After(time.Minute)
	for {
		select {
		case said := <-s.told:
			if said == state {
				return
			}
		case <-s.Gone():
			s.t.Fatalf("it ended:\n%s", s.Said())
		case <-late:
			s.t.Fatalf("it never said %s:\n%s", state, s.Said())
		}
	}
}
