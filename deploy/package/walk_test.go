package deb

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The pages of deploy are walked as a newcomer would, in a Debian of its own:
//
//	sh                        run, in order, in one shell that stops at what fails
//	<!-- file: PATH -->       the block behind it is written to PATH
//	<!-- prints -->           the block behind it is in what the sh block before it printed; … stands for anything
//	<!-- other machine -->    of another machine: its config is checked, its commands are not run
//
// Nothing else may stand in a fence.

// step is one fenced block of a page.
type step struct {
	line       int
	lang, mark string
	text       string
}

// steps are the fenced blocks of a page. A fence may be indented.
func steps(t *testing.T, page string) []step {
	t.Helper()
	text, err := os.ReadFile(page)
	require.NoError(t, err)
	var out []step
	var open *step
	mark, indent := "", ""
	for i, line := range strings.Split(string(text), "\n") {
		bare := strings.TrimLeft(line, " ")
		lang, fence := strings.CutPrefix(bare, "```")
		switch {
		case fence && open == nil:
			open, indent = &step{line: i + 1, lang: lang, mark: mark}, line[:len(line)-len(bare)]
		case fence:
			out = append(out, *open)
			open = nil
		case open != nil:
			open.text += strings.TrimPrefix(line, indent) + "\n"
		}
		if bare != "" {
			mark = bare
		}
	}
	require.Nil(t, open, "%s: a fence is not closed", page)
	return out
}

// namedFiles are those that a config names.
var namedFiles = regexp.MustCompile(`_file: ([\w.-]+)`)

// stands are commands that stand in for what has not booted in the tree.
var stands = map[string]string{
	"sudo": `exec "$@"`,
	"apt": `shift # install
for what; do case $what in
  *.deb) dpkg --install "$what" ;;
  -*) ;;
  *) dpkg --status "$what" >/dev/null ;; # it was put into the tree, which has no network
esac; done`,
	"systemctl": `unit=${2%.service}
stop() { if [ -e /run/$1.pid ]; then kill "$(cat /run/$1.pid)" 2>/dev/null && while kill -0 "$(cat /run/$1.pid)" 2>/dev/null; do sleep 0.1; done; rm -f /run/$1.pid; fi; }
case "$1:$unit" in
  stop:*) stop "$unit" ;;
  start:mosquitto | restart:mosquitto)
    stop mosquitto; mkdir -p /run/mosquitto; chown mosquitto /run/mosquitto
    mosquitto -c /etc/mosquitto/mosquitto.conf >>/var/log/mosquitto.out 2>&1 & echo $! >/run/mosquitto.pid
    for i in $(seq 100); do kill -0 "$(cat /run/mosquitto.pid)" || { cat /var/log/mosquitto.out; exit 1; }; grep -qi running /var/log/mosquitto/mosquitto.log /var/log/mosquitto.out 2>/dev/null && exit 0; sleep 0.1; done; exit 1 ;;
  start:spile | restart:spile)
    stop spile; : >/var/log/spile.log
    given=/run/credentials/spile.service; mkdir -p $given
    sed -n 's/^LoadCredential=//p' /etc/systemd/system/spile.service.d/*.conf 2>/dev/null | while IFS=: read -r name from; do install -o spile -g spile -m 0400 "$from" "$given/$name"; done
    env -i PATH=/usr/bin CREDENTIALS_DIRECTORY=$given setpriv --reuid spile --regid spile --clear-groups $(sed -n 's/^ExecStart=//p' /usr/lib/systemd/system/spile.service) >>/var/log/spile.log 2>&1 & echo $! >/run/spile.pid
    for i in $(seq 200); do grep -q Watching /var/log/spile.log && exit 0; kill -0 "$(cat /run/spile.pid)" || { cat /var/log/spile.log; exit 1; }; sleep 0.1; done; exit 1 ;;
  status:spile) kill -0 "$(cat /run/spile.pid)" && echo "active (running)" ;;
  daemon-reload:*) ;;
  *) echo "systemctl $*: not known here" >&2; exit 1 ;;
esac`,
	"journalctl": `cat /var/log/spile.log`,
}

// furnished is a Debian with the programs that the pages use.
func furnished(t *testing.T) tree {
	t.Helper()
	d := debian(t)
	kept, err := filepath.Abs(repo + "/.ci/cache/debian-furnished")
	require.NoError(t, err)
	if !exists(kept) {
		put := func(name, text string) { require.NoError(t, os.WriteFile(d.path(name), []byte(text), 0o755)) }
		put("/usr/sbin/policy-rc.d", "#!/bin/sh\nexit 101\n") // start nothing
		resolv, err := os.ReadFile("/etc/resolv.conf")
		require.NoError(t, err)
		put("/etc/resolv.conf", string(resolv))
		d.run("apt-get", "update", "-q")
		d.run("env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "install", "-q", "-y", "--no-install-recommends",
			"curl", "mosquitto", "mosquitto-clients", "openssl", "sqlite3", "ca-certificates")
		require.NoError(t, os.RemoveAll(kept+".partial"))
		run(t, "cp", "--archive", "--reflink=auto", d.dir, kept+".partial")
		require.NoError(t, os.Rename(kept+".partial", kept))
		return d
	}
	require.NoError(t, os.RemoveAll(d.dir))
	run(t, "cp", "--archive", "--reflink=auto", kept, d.dir)
	return d
}

// exposed is a secret in the arguments of a program: whoever is on the machine reads it off the list of processes.
var exposed = regexp.MustCompile(`mosquitto_passwd\b.* -b\b|\s(-P|--pw)\s|\$\((sudo )?(cat\b|<)|pass:|Bearer \$|https?://[^/\s]*:[^/\s]*@`)

// guess is a password that is wrong on purpose, and no secret.
const guess = " -P guessed "

func TestNoSecretStandsOnACommandLine(t *testing.T) {
	for _, line := range []string{
		`mosquitto_passwd -b passwords probe "$(cat it)"`, `mosquitto_pub -u probe -P "$(sudo cat probe-password)" -t a -m 1`,
		`curl -H "Authorization: Bearer $(sudo cat /etc/spile/token)"`, `openssl kdf -kdfopt "pass:$(cat it)"`, `mosquitto_pub --pw it -t a`,
		`curl http://me:it@store.lan/`,
	} {
		require.Regexp(t, exposed, line)
	}
	pages, err := filepath.Glob(repo + "/deploy/docs/*.md")
	require.NoError(t, err)
	for _, page := range append(pages, repo+"/README.md", repo+"/deploy/README.md") {
		for _, b := range steps(t, page) {
			if b.lang != "sh" && b.lang != "console" {
				continue
			}
			for line := range strings.Lines(b.text) {
				assert.NotRegexp(t, exposed, strings.ReplaceAll(line, guess, " "), "%s, block of line %d: hand it over by a file or a pipe", page, b.line)
			}
		}
	}
	script, err := os.ReadFile(repo + "/deploy/compose/secrets")
	require.NoError(t, err)
	assert.NotRegexp(t, exposed, string(script))
}

// TestTheDocsAreWalked does what each page says, as one who has just come.
func TestTheDocsAreWalked(t *testing.T) {
	pages, err := filepath.Glob(repo + "/deploy/docs/*.md")
	require.NoError(t, err)
	require.Greater(t, len(pages), 8)
	d := furnished(t)
	_, deb := debs(t)
	for name, script := range stands {
		require.NoError(t, os.WriteFile(d.path("/usr/local/bin/"+name), []byte("#!/bin/sh\n"+script+"\n"), 0o755))
	}
	d.put(deb, "/srv/spile_0.1.0_arm64.deb")
	run(t, "sh", "-c", "cd "+d.path("/srv")+" && sha256sum spile_*.deb >SHA256SUMS")
	require.NoError(t, os.WriteFile(d.path("/etc/hosts"), []byte("127.0.0.1 localhost broker.lan cellar.lan\n"), 0o644))
	walk := func(page, before string) {
		t.Run(filepath.Base(page), func(t *testing.T) {
			began := time.Now()
			tree{t, d.dir}.walk(before, steps(t, page))
			assert.Less(t, time.Since(began), 5*time.Minute, "a newcomer does it by the page in five minutes")
		})
	}
	walk(repo+"/deploy/README.md", "")
	d.run("dpkg", "--install", "/srv/spile_0.1.0_arm64.deb") // whoever reads the others has done so
	for _, page := range pages {
		walk(page, "systemctl start spile\n") // it runs, as it does once it is installed
	}
}

// layered runs a command line in the tree, in a network of its own, and leaves
// the tree as it is: what is written lies on a layer above it.
const layered = `ip link set lo up
mount -t overlay overlay -o "lowerdir=$LOWER,upperdir=$UPPER,workdir=$WORK" "$ROOT" 2>/dev/null || { cp --archive "$LOWER/." "$ROOT" && cp --archive "$UPPER/." "$ROOT"; }
mount -t proc proc "$ROOT/proc"
exec chroot "$ROOT" sh /srv/walk`

// walk runs a page's blocks in one shell.
func (d tree) walk(before string, blocks []step) {
	d.t.Helper()
	script := "set -eu\ncd /srv\nexport HOME=/srv USER=root\ntrap 'if [ $? != 0 ]; then cat /var/log/spile.log /var/log/mosquitto.out; fi' EXIT\n" + before
	printed := 0 // sh blocks so far
	var expect []struct {
		block int
		text  string
	}
	machines := 0
	for _, b := range blocks {
		file, written := strings.CutPrefix(b.mark, "<!-- file: ")
		switch {
		case written:
			file = strings.TrimSuffix(file, " -->")
			script += fmt.Sprintf("mkdir -p \"$(dirname %[1]s)\"\ncat >%[1]s <<'END OF FILE'\n%[2]sEND OF FILE\n", file, b.text)
		case b.mark == "<!-- other machine -->" && b.lang == "yaml":
			machines++
			name := fmt.Sprintf("/etc/spile/other-%d.yaml", machines)
			script += fmt.Sprintf("cat >%[1]s <<'END OF FILE'\n%[2]sEND OF FILE\n", name, b.text)
			for _, found := range namedFiles.FindAllStringSubmatch(b.text, -1) { // what it names, so that it can be read
				script += fmt.Sprintf("if [ ! -e /etc/spile/%[1]s ]; then cp /etc/ssl/certs/ca-certificates.crt /etc/spile/%[1]s; fi\n", found[1])
			}
			script += "spile check --config " + name + " >/dev/null\n"
		case b.mark == "<!-- prints -->":
			expect = append(expect, struct {
				block int
				text  string
			}{printed, b.text})
		case b.lang == "sh":
			printed++
			script += fmt.Sprintf("echo '=== %d'\n%s", printed, b.text)
		default:
			d.t.Fatalf("line %d: nothing tries this block: it is neither sh nor marked", b.line)
		}
	}
	script += "for pid in /run/*.pid; do if [ -e $pid ]; then kill $(cat $pid) || true; fi; done\n"
	over := d.t.TempDir()
	for _, dir := range []string{"upper/srv", "work", "root"} {
		require.NoError(d.t, os.MkdirAll(filepath.Join(over, dir), 0o755))
	}
	require.NoError(d.t, os.WriteFile(filepath.Join(over, "upper/srv/walk"), []byte(script), 0o600))
	cmd := exec.CommandContext(d.t.Context(), "unshare", "--mount", "--net", "--pid", "--fork", "--kill-child", "sh", "-euc", layered)
	cmd.Env = []string{
		"PATH=/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C.UTF-8",
		"LOWER=" + d.dir, "UPPER=" + over + "/upper", "WORK=" + over + "/work", "ROOT=" + over + "/root",
	}
	out, err := cmd.CombinedOutput()
	require.NoError(d.t, err, "%s", out)
	parts := regexp.MustCompile(`(?m)^=== \d+\n`).Split(string(out), -1)
	for _, e := range expect {
		d.requirePrinted(e.text, parts[e.block])
	}
}

// requirePrinted finds the lines that a page shows in what came, in order.
func (d tree) requirePrinted(shown, came string) {
	d.t.Helper()
	rest := came
	for line := range strings.Lines(shown) {
		line = strings.TrimSpace(line)
		if line == "" || line == "…" {
			continue
		}
		form := regexp.MustCompile(strings.ReplaceAll(regexp.QuoteMeta(line), "…", ".*"))
		at := form.FindStringIndex(rest)
		if !assert.NotNil(d.t, at, "the page shows\n%s\nand this came:\n%s", line, came) {
			return
		}
		rest = rest[at[1]:]
	}
}
