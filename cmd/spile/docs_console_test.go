package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/cmd/daemon"
	"spile/detect/cellarsim"
)

// desk is a folder with the example configs, a daemon that runs by one of them, and a shell that reaches it.
type desk struct {
	dir   string
	spile *process
	env   []string
}

func newDesk(t *testing.T) desk {
	t.Helper()
	dir, phone := t.TempDir(), newReceiver(t)
	for _, name := range []string{"cellar", "phone", "sources"} {
		writeConfig(t, dir, name+".yaml", readFile(t, "testdata/config/"+name+".yaml"))
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "phone-url"), []byte(phone.URL), 0o600))
	absolute, err := filepath.Abs(filepath.Join(repo, "testdata"))
	require.NoError(t, err)
	require.NoError(t, os.Symlink(absolute, filepath.Join(dir, "testdata")))

	// The README's cellar on free ports, with every part that has metrics.
	running := readFile(t, "testdata/config/cellar.yaml") + fmt.Sprintf(
		"data: ./spile-data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\n"+
			"influx: {url: %q, org: none, bucket: cellar}\nwebhooks: [{name: phone, url: %q}]\n"+
			"heartbeat: {url: %q, every: 5m}\n", phone.URL, phone.URL, phone.URL)
	d := desk{dir: dir, spile: spawn(t, "run", "--config", writeConfig(t, dir, "running.yaml", running))}
	d.spile.ready()
	broker := regexp.MustCompile(`embedded broker, 127\.0\.0\.1:(\d+)`).FindStringSubmatch(d.spile.Said())
	require.NotNil(t, broker, d.spile.Said())

	bin := t.TempDir()
	command := func(name, script string) {
		require.NoError(t, os.WriteFile(filepath.Join(bin, name), []byte("#!/bin/sh\n"+script), 0o700))
	}
	command("spile", asSpile+`=1 exec "`+os.Args[0]+`" "$@"`)
	if path, err := exec.LookPath("mosquitto_pub"); err == nil {
		command("mosquitto_pub", "exec "+path+" -h 127.0.0.1 -p "+broker[1]+` "$@"`)
	}
	d.env = append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "SPILE_URL="+d.spile.url)
	return d
}

// run runs a line of shell and gives what it printed, whatever its exit code.
func (d desk) run(t *testing.T, line string) string {
	t.Helper()
	tool, _, _ := strings.Cut(line, " ")
	if _, err := exec.LookPath(tool); err != nil && tool != "spile" {
		if os.Getenv("SPILE_REQUIRE_SERVERS") == "1" {
			t.Fatalf("%s is not installed, so %q cannot be tried", tool, line)
		}
		t.Skipf("%s is not installed", tool)
	}
	cmd := exec.CommandContext(t.Context(), "bash", "-c", strings.ReplaceAll(line, "http://127.0.0.1:8420", d.spile.url))
	cmd.Dir, cmd.Env = d.dir, d.env
	out, err := cmd.CombinedOutput()
	var exited *exec.ExitError
	if err != nil {
		require.ErrorAs(t, err, &exited, line)
	}
	return string(out)
}

// What differs from run to run, and what stands for it.
var varying = []struct {
	form *regexp.Regexp
	as   string
}{
	{regexp.MustCompile(`\d{4}-\d\d-\d\dT[\d:.]+Z`), "2026-03-02T01:15:00Z"},
	{regexp.MustCompile(`\b\d\d:\d\d\b`), "01:15"},
	{regexp.MustCompile(`\b\d+ s ago`), "just now"},
	{regexp.MustCompile(`msg_\w+`), "msg_id"},
	{regexp.MustCompile(` +`), " "},
}

// figures are what a better detector may move: when it calls, and the numbers it gives.
var figures = regexp.MustCompile(`(Mon|Tue|Wed|Thu|Fri|Sat|Sun) |\d+([.:]\d+)*`)

// settled makes two runs comparable, line by line.
func settled(text string, loose bool) []string {
	for _, v := range varying {
		text = v.form.ReplaceAllString(text, v.as)
	}
	if loose {
		text = figures.ReplaceAllString(text, "")
	}
	var out []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// follows tells whether the lines that are shown are those that came, where … stands for any.
func follows(shown, came []string) bool {
	if len(shown) == 0 {
		return len(came) == 0
	}
	if shown[0] == "…" {
		for i := range len(came) + 1 {
			if follows(shown[1:], came[i:]) {
				return true
			}
		}
		return false
	}
	return len(came) > 0 && sameLine(shown[0], came[0]) && follows(shown[1:], came[1:])
}

// sameLine compares two lines, where … in the first stands for any text.
func sameLine(shown, came string) bool {
	form := strings.ReplaceAll(regexp.QuoteMeta(shown), "…", ".*")
	return regexp.MustCompile("^" + form + "$").MatchString(came)
}

func TestConsolesOfTheDocs(t *testing.T) {
	d := newDesk(t)
	for _, b := range blocksOf(t, "console") {
		t.Run(b.name(), func(t *testing.T) {
			for _, part := range strings.Split("\n"+b.text, "\n$ ")[1:] {
				line, shown, _ := strings.Cut(part, "\n")
				came := strings.NewReplacer(d.dir, "/etc/spile", d.spile.url, "http://127.0.0.1:8420").Replace(d.run(t, line))
				loose := strings.HasPrefix(line, "spile replay")
				want, got := settled(shown, loose), settled(came, loose)
				assert.True(t, follows(want, got), "%s\nshown:\n%s\ncame:\n%s", line, strings.Join(want, "\n"), came)
			}
		})
	}
	_, refused := d.spile.fetch("/api/v1/refusals")
	assert.JSONEq(t, `{"refusals":[]}`, string(refused), "everything published was taken")
	requireMetricsAsDocumented(t, d.spile)
	requireLabelsAsDocumented(t, d.spile)
	requirePathsAsDocumented(t, d.spile)
	d.spile.Stop()
}

var metricName = regexp.MustCompile(`\bspile_[a-z0-9_]+`)

// requireMetricsAsDocumented holds the README's metrics against those of a daemon: none missing, none invented.
func requireMetricsAsDocumented(t *testing.T, p *process) {
	t.Helper()
	_, body := p.fetch("/metrics")
	var scraped []string
	for _, found := range regexp.MustCompile(`(?m)^# HELP (spile_\w+)`).FindAllStringSubmatch(string(body), -1) {
		scraped = append(scraped, found[1])
	}
	written := metricName.FindAllString(docs(t)["README.md"], -1)
	// A vector without its first series is in no scrape.
	unborn := []string{"spile_refusals_total", "spile_tank_co2_production_grams_per_liter_day",
		"spile_probe_battery_ratio", "spile_probe_signal_dbm", // where probes say so
		"spile_standby_speaks", "spile_standby_lease"} // and these are of two
	for _, name := range scraped {
		assert.Contains(t, written, name, "README.md names every metric")
	}
	for _, name := range written {
		assert.True(t, slices.Contains(scraped, name) || slices.Contains(unborn, name), "README.md: no metric is called %s", name)
	}
}

// requireLabelsAsDocumented holds the labels of each series against those that README.md's table has in its row.
func requireLabelsAsDocumented(t *testing.T, p *process) {
	t.Helper()
	rows := map[string]string{}
	for _, row := range regexp.MustCompile("(?m)^\\| (`spile_[^|]*)\\|([^|]*)\\|").FindAllStringSubmatch(docs(t)["README.md"], -1) {
		for _, name := range metricName.FindAllString(row[1], -1) {
			rows[name] = row[1] + row[2]
		}
	}
	_, body := p.fetch("/metrics")
	for _, series := range regexp.MustCompile(`(?m)^(spile_\w+)\{(.*)\} `).FindAllStringSubmatch(string(body), -1) {
		for _, label := range regexp.MustCompile(`(\w+)="`).FindAllStringSubmatch(series[2], -1) {
			if label[1] != "le" { // of a histogram
				assert.Regexp(t, `\b`+label[1]+`\b`, rows[series[1]], series[0])
			}
		}
	}
}

// requirePathsAsDocumented asks for every path of the README's tables.
func requirePathsAsDocumented(t *testing.T, p *process) {
	t.Helper()
	rows := regexp.MustCompile("(?m)^\\| `(/[^` ?]*)").FindAllStringSubmatch(docs(t)["README.md"], -1)
	require.NotEmpty(t, rows)
	for _, row := range rows {
		path := strings.NewReplacer("{tank}", "FV3", "{id}", "none").Replace(row[1])
		_, body := p.fetch(path)
		assert.NotContains(t, string(body), "there is nothing at", row[1])
	}
}

func TestTheDemosExcerptIsTrue(t *testing.T) {
	var out bytes.Buffer
	c := demoCommand{Speed: 1800, Seed: 1, HTTP: "127.0.0.1:0"}
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) // a Monday
	show, o := c.prepare(start, &streams{out: &out, err: &out})
	var heard bytes.Buffer
	require.NoError(t, show.cellar.Run(start.Add(cellarsim.DemoLength), func(m cellarsim.Message) error {
		if strings.HasSuffix(m.Topic, "/log") {
			show.teller.say(m.Arrived, "  ", show.logged(m)...)
		}
		line, err := json.Marshal(map[string]any{"time": m.Arrived, "topic": m.Topic, "payload": json.RawMessage(m.Payload)})
		heard.Write(append(line, '\n'))
		return err
	}))
	_, err := daemon.Replay(t.Context(), o, &heard, o.Told)
	require.NoError(t, err)
	printed := settled(out.String(), true)
	for _, b := range blocksOf(t, "text") {
		if b.mark != "<!-- demo -->" {
			continue
		}
		shown := append([]string{"…"}, settled(b.text, true)...)
		assert.True(t, follows(append(shown, "…"), printed), "%s: shown:\n%s\nprinted:\n%s", b.name(), b.text, out.String())
	}
}
