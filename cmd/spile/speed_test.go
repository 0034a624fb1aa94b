package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// The measurements behind the table in README.md. They take minutes and want the machine for themselves:
//
//	SPILE_SPEED=1 go test ./cmd/spile -run TestSpeed -v -timeout 30m
//
// SPILE_SPEED_MESSAGES=50000 makes the first of them a quick look.
func speedMessages(t *testing.T) int {
	t.Helper()
	text := os.Getenv("SPILE_SPEED_MESSAGES")
	if text == "" {
		return 400_000
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

// speed gathers the rows of the table.
type speed struct {
	t    *testing.T
	rows []string
}

func (s *speed) row(what, format string, args ...any) {
	line := what + "\t" + fmt.Sprintf(format, args...)
	s.t.Log(strings.ReplaceAll(line, "\t", ": "))
	s.rows = append(s.rows, line)
}

func TestSpeed(t *testing.T) {
	if os.Getenv("SPILE_SPEED") != "1" {
		t.Skip("measures for minutes: SPILE_SPEED=1 go test ./cmd/spile -run TestSpeed -v -timeout 30m")
	}
	s := &speed{t: t}
	t.Run("ingest", s.ingest)
	t.Run("latency", s.latency)
	t.Run("memory", s.memory)
	t.Run("tanks", s.tanks)
	t.Run("calm", s.calm)
	t.Run("catch up", s.catchUp)
	t.Run("replay", s.replay)
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 2, ' ', 0)
	for _, row := range s.rows {
		fmt.Fprintln(w, row)
	}
	require.NoError(t, w.Flush())
	t.Logf("%s, %d cores\n%s", machine(), runtime.NumCPU(), table.String())
}

// machine names the processor.
func machine() string {
	text, err := os.ReadFile("/proc/cpuinfo")
	if err != nil {
		return runtime.GOARCH
	}
	if found := regexp.MustCompile(`(?m)^model name\s*: (.*)$`).FindSubmatch(text); found != nil {
		return string(found[1])
	}
	return runtime.GOARCH
}

// metric reads a sum over the lines of one metric.
func (p *process) metric(pattern string) float64 {
	p.t.Helper()
	_, body := p.fetch("/metrics")
	sum := 0.0
	for _, found := range regexp.MustCompile(`(?m)^`+pattern+` (\S+)$`).FindAllStringSubmatch(string(body), -1) {
		v, err := strconv.ParseFloat(found[1], 64)
		require.NoError(p.t, err)
		sum += v
	}
	return sum
}

// accepted is how many readings are on disk.
func (p *process) accepted() int {
	return int(p.metric(`spile_readings_total\{outcome="(?:accepted|late)",source="[^"]*"\}`))
}

// figure reads a number of the process from /proc.
func (p *process) figure(file, name string) int {
	p.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", p.PID(), file))
	require.NoError(p.t, err)
	found := regexp.MustCompile(`(?m)^` + name + `:\s*(\d+)`).FindSubmatch(text)
	require.NotNil(p.t, found, name)
	n, err := strconv.Atoi(string(found[1]))
	require.NoError(p.t, err)
	return n
}

// cpu is the time that the process has computed.
func (p *process) cpu() time.Duration {
	p.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.PID()))
	require.NoError(p.t, err)
	fields := strings.Fields(string(text[strings.LastIndex(string(text), ")")+1:]))
	ticks := 0
	for _, field := range fields[11:13] { // utime and stime, proc_pid_stat(5)
		n, err := strconv.Atoi(field)
		require.NoError(p.t, err)
		ticks += n
	}
	return time.Duration(ticks) * time.Second / 100
}

// until waits for so many readings on disk, and gives when they were there.
func (p *process) until(readings int) time.Time {
	p.t.Helper()
	require.Eventually(p.t, func() bool { return p.accepted() >= readings }, 5*time.Minute, 50*time.Millisecond, "%s", p.Said())
	return time.Now()
}

// watching starts a spile with a journal of its own, at a broker or with its own.
func watching(t *testing.T, broker, more string) (p *process, dir string) {
	t.Helper()
	mqtt := "listen: 127.0.0.1:0"
	if broker != "" {
		mqtt = "broker: " + broker
	}
	path := configFile(t, "data: ./data\nhttp: {listen: 127.0.0.1:0}\nmqtt: {%s}\n%s", mqtt, more)
	p = spawn(t, "run", "--config", path)
	p.ready()
	return p, filepath.Join(filepath.Dir(path), "data")
}

func yesterday() time.Time { return time.Now().Add(-24 * time.Hour).Truncate(time.Second) }

// ingest measures spile beside a bare subscriber, in turns, from the same broker and publishers.
func (s *speed) ingest(t *testing.T) {
	s.t = t
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{Settings: []string{"max_inflight_messages 0"}})
	messages := speedMessages(t)
	l := load{messages: messages, tanks: 100, from: yesterday()}
	bares := map[string][]float64{}
	var spiles, embedded []float64
	rate := func(began, ended time.Time) float64 { return float64(messages) / ended.Sub(began).Seconds() }
	for range 3 {
		for _, way := range bareWays {
			done := bare(t, broker.URL, way, messages)
			began := l.publish(t, broker.Address)
			bares[way] = append(bares[way], rate(began, <-done))
		}
		p, dir := watching(t, broker.URL, "")
		began := l.publish(t, broker.Address)
		spiles = append(spiles, rate(began, p.until(3*messages)))
		if len(spiles) == 3 {
			s.disk(p, 3*messages)
		}
		p.Stop()
		require.NoError(t, os.RemoveAll(dir))
		forgotten(t, broker.URL, "spile") // or the broker keeps for it what the next ones publish, and sends that before

		p, _ = watching(t, "", "")
		began = l.publish(t, brokerAddress.FindStringSubmatch(p.Said())[1])
		embedded = append(embedded, rate(began, p.until(3*messages)))
		p.Stop()
	}
	fastest := bareWays[0]
	for _, way := range bareWays {
		s.t.Logf("bare, %s: %.0f", way, bares[way])
		if median(bares[way]) > median(bares[fastest]) {
			fastest = way
		}
	}
	b, m, e := median(bares[fastest]), median(spiles), median(embedded)
	s.row("a bare subscriber that throws away what it hears, at its fastest ("+fastest+"), messages a second", "%.0f", b)
	s.row("spile from Mosquitto: on disk, judged, acknowledged", "%.0f (%.2f of it)", m, m/b)
	s.row("spile with its own broker", "%.0f (%.2f of it)", e, e/b)
	s.t.Logf("spile %.0f, embedded %.0f", spiles, embedded)
}

// disk tells what a reading costs there.
func (s *speed) disk(p *process, readings int) {
	size := p.metric("spile_journal_size_bytes")
	s.row("bytes of the journal a reading, beside the 16 of time and value", "%.0f", size/float64(readings))
	s.row("bytes written to disk a reading at this pace", "%d", p.figure("io", "write_bytes")/readings)
}

func median(of []float64) float64 {
	sorted := slices.Sorted(slices.Values(of))
	return sorted[len(sorted)/2]
}

// latency measures from the publication of the reading that matters to the webhook's hearing of it, in rounds of fewer
// alarms than are a flood.
func (s *speed) latency(t *testing.T) {
	s.t = t
	const rounds, alarms = 5, 9
	for _, at := range []struct {
		name string
		pace int
	}{{"idle", 0}, {"while half of the greatest pace comes in", 6000}} {
		var took []time.Duration
		for range rounds {
			took = append(took, s.round(t, at.pace, alarms)...)
		}
		slices.Sort(took)
		s.row("an alarm, from publication to webhook, "+at.name+": median and slowest of "+strconv.Itoa(len(took)), "%s and %s",
			took[len(took)/2].Round(100*time.Microsecond), took[len(took)-1].Round(100*time.Microsecond))
	}
}

// round brings some tanks over their limit, one after the other, and tells how long each took.
func (s *speed) round(t *testing.T, pace, alarms int) (took []time.Duration) {
	phone := newReceiver(t)
	var config strings.Builder
	config.WriteString("tanks:\n")
	for i := range alarms {
		fmt.Fprintf(&config, "  T%d: {relief: 100 kPa}\n", i)
	}
	fmt.Fprintf(&config, "webhooks: [{name: phone, url: %q, priority: critical}]\n", phone.URL)
	p, _ := watching(t, "", config.String())
	address := brokerAddress.FindStringSubmatch(p.Said())[1]
	l := load{messages: pace * 5, tanks: 100, from: yesterday(), pace: pace}
	loaded := make(chan error, 1)
	go func() { loaded <- l.send(address) }()
	p.until(3 * pace)
	probe := connect(t, "tcp://"+address, "head")
	for i := range alarms {
		began := time.Now()
		probe.Publish(fmt.Sprintf("cellar/T%d/head", i), 1, false, `{"pressure":99}`)
		select {
		case <-phone.news:
		case <-time.After(20 * time.Second):
			t.Fatalf("alarm %d is not told:\n%s", i, p.Said())
		}
		took = append(took, time.Since(began))
	}
	require.NoError(t, <-loaded)
	p.Stop()
	return took
}

// calm measures what a memory card bears where probes speak as they do in a cellar: one by one, each with a commit of
// its own.
func (s *speed) calm(t *testing.T) {
	s.t = t
	p, _ := watching(t, "", "")
	const messages = 600
	probe := connect(t, "tcp://"+brokerAddress.FindStringSubmatch(p.Said())[1], "calm")
	before, from := 0, yesterday()
	for n := range 2 * messages { // the first half makes the tanks known
		if n == messages {
			before = p.figure("io", "write_bytes")
		}
		token := probe.Publish(fmt.Sprintf("cellar/FV%d/all", n%100), 1, false, fmt.Sprintf(
			`{"time":%d,"gravity":1.0118,"temperature":14.3,"pressure":82}`, from.Unix()+int64(n)))
		require.True(t, token.WaitTimeout(10*time.Second))
	}
	p.until(6 * messages)
	written := float64(p.figure("io", "write_bytes")-before) / messages
	s.row("kB written to disk a message that comes alone (100 tanks, one a minute: GB a day)", "%.0f (%.1f)",
		written/1024, written*100*24*60/1e9)
	p.Stop()
}

// memory measures a thousand tanks of three probes.
func (s *speed) memory(t *testing.T) {
	s.t = t
	p, _ := watching(t, "", "")
	address := brokerAddress.FindStringSubmatch(p.Said())[1]
	const tanks, probes, each = 1000, 3, 30
	client := connect(t, "tcp://"+address, "many")
	from := yesterday()
	for n := range each {
		for i := range tanks * probes {
			payload := fmt.Sprintf(`{"time":%d,"gravity":%.4f,"temperature":%.2f,"pressure":%.1f}`,
				from.Unix()+int64(n)*60, 1.0118+float64((n+i)%3)*1e-4, 14.3+float64((n+i)%5)/50, 82+float64((n+i)%7)/10)
			token := client.Publish(fmt.Sprintf("cellar/FV%d/p%d", i/probes, i%probes), 1, false, payload)
			if i%500 == 0 {
				token.Wait()
			}
		}
	}
	p.until(3 * tanks * probes * each)
	s.row("memory with 1000 tanks of 3 probes, MB resident", "%d", p.figure("status", "VmRSS")>>10)
	p.Stop()
}

// tanks measures the computing that a reading costs, by the number of tanks.
func (s *speed) tanks(t *testing.T) {
	s.t = t
	var costs []string
	for _, tanks := range []int{10, 100, 1000, 10_000} {
		var config strings.Builder
		config.WriteString("tanks:\n")
		for i := range tanks {
			fmt.Fprintf(&config, "  FV%d: {relief: 100 kPa}\n", i)
		}
		p, _ := watching(t, "", config.String())
		before := p.cpu()
		const messages = 200_000
		load{messages: messages, tanks: tanks, from: yesterday()}.publish(t, brokerAddress.FindStringSubmatch(p.Said())[1])
		p.until(3 * messages)
		costs = append(costs, fmt.Sprintf("%.1f", float64((p.cpu()-before).Microseconds())/(3*messages)))
		p.Stop()
	}
	s.row("microseconds of computing a reading, with 10, 100, 1000, 10000 tanks", "%s", strings.Join(costs, ", "))
}

// replay measures a capture on its way through the same code.
func (s *speed) replay(t *testing.T) {
	s.t = t
	const messages, tanks = 200_000, 100
	path := filepath.Join(t.TempDir(), "capture.ndjson")
	file, err := os.Create(path)
	require.NoError(t, err)
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	for n := range messages {
		when := at.Add(time.Duration(n/tanks) * time.Minute).Format(time.RFC3339)
		fmt.Fprintf(file, `{"time":%q,"topic":"cellar/FV%d/all","payload":{"time":%q,"gravity":%.4f,"temperature":%.2f,"pressure":%.1f}}`+"\n",
			when, n%tanks, when, 1.0118+float64(n%3)*1e-4, 14.3+float64(n%5)/50, 82+float64(n%7)/10)
	}
	require.NoError(t, file.Close())
	began := time.Now()
	spawnOnce(t, "replay", path)
	s.row("replay of a capture, readings a second", "%.0f", 3*messages/time.Since(began).Seconds())
}
