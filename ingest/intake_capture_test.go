package ingest

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/ingest/journal"
)

// readAll reads a capture to its end.
func readAll(t testing.TB, c *CaptureReader) (all []Message) {
	t.Helper()
	for {
		m, err := c.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, m)
	}
}

func TestACaptureHoldsWhatWasHeard(t *testing.T) {
	var file bytes.Buffer
	clock := newHand(morning.Add(1234 * time.Microsecond))
	in, _ := intakeOnDisk(t, IntakeOptions{Capture: &file, Clock: clock.now})
	for _, m := range []Message{
		{Topic: "cellar/FV3/hyd-1", Payload: []byte("{\n  \"gravity\": 1.01180 }")},
		{Topic: "cellar/FV3/hyd-1/gravity", Payload: []byte("1.0118")},
		{Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"gravity":1.0118,"time":"2026-03-02T01:10:00Z"}`), Retained: true},
		{Topic: "cellar/FV3/hyd-1", Payload: []byte(`say "1.01"`)}, // refused
		{Topic: `odd"topic`, Payload: []byte(`"1.01"`)},            // refused
		{Topic: "cellar/FV3/hyd-1", Payload: nil},
	} {
		require.NoError(t, in.Hear(t.Context(), m))
	}
	_, err := in.Write(t.Context(), journal.Entry{Mark: &journal.Mark{Name: "started"}},
		journal.Entry{Event: &detect.Event{ID: "e-1", Tank: "FV3", Name: "seal"}})
	require.NoError(t, err)
	stop(t, in)

	lines := strings.Split(strings.TrimSpace(file.String()), "\n")
	require.Len(t, lines, 7)
	const head = `{"time":"2026-03-02T01:15:00.001Z","topic":`
	assert.Equal(t, []string{
		head + `"cellar/FV3/hyd-1","payload":{"gravity":1.01180}}`,
		head + `"cellar/FV3/hyd-1/gravity","payload":1.0118}`,
		head + `"cellar/FV3/hyd-1","retained":true,"payload":{"gravity":1.0118,"time":"2026-03-02T01:10:00Z"}}`,
		head + `"cellar/FV3/hyd-1","payload":"say \"1.01\""}`,
		head + `"odd\"topic","payload":"\"1.01\""}`,
		head + `"cellar/FV3/hyd-1","payload":""}`,
	}, lines[:6])
	assert.True(t, strings.HasPrefix(lines[6], head+`"cellar/FV3/log","payload":{`), lines[6])
	for _, l := range lines {
		assert.True(t, json.Valid([]byte(l)), l)
	}
}

// A capture replayed leaves the journal that it was taken from.
func TestAReplayedCaptureMakesTheSameJournal(t *testing.T) {
	var file bytes.Buffer
	clock := newHand(morning)
	in, first := intakeOnDisk(t, IntakeOptions{Capture: &file, Clock: clock.now})
	for _, payload := range []string{
		`{"gravity":1.0118,"temperature":{"value":57.9,"unit":"degF"}}`,
		`{"gravity":9}`,
		`{"time":"2026-03-02T01:00:00Z","gravity":1.0119}`,
		`{"time":"2026-03-02T01:00:00Z","gravity":1.0119}`,
		`not json`,
	} {
		clock.turn(1500 * time.Millisecond)
		require.NoError(t, in.Hear(t.Context(), Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(payload)}))
	}
	event, err := detect.ParseEvent("FV3", map[string]any{"event": "crash", "setpoint": "14.4 degC"}, clock.now())
	require.NoError(t, err)
	_, err = in.Write(t.Context(), journal.Entry{Event: &event})
	require.NoError(t, err)
	stop(t, in)

	standing := func() time.Time { return time.Time{} }
	again, second := intakeOnDisk(t, IntakeOptions{Clock: standing})
	r := NewCaptureReader(&file)
	for _, m := range readAll(t, r) {
		require.NoError(t, again.Hear(t.Context(), m))
	}
	stop(t, again)
	bad, _ := r.Bad()
	assert.Zero(t, bad)
	want, err := first.After(t.Context(), 0, 100)
	require.NoError(t, err)
	require.Len(t, want, 4)
	got, err := second.After(t.Context(), 0, 100)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	assert.Equal(t, in.Refusals(), again.Refusals())
}

func TestACaptureThatCannotBeWrittenCostsNothing(t *testing.T) {
	log := &logBook{}
	in, j := intakeOnDisk(t, IntakeOptions{Capture: brokenPipe{}, Log: log.logger()})
	require.NoError(t, in.Hear(t.Context(), gravity("hyd-1", 1.01)))
	stop(t, in)
	last, err := j.Last(t.Context())
	require.NoError(t, err)
	assert.EqualValues(t, 1, last)
	assert.Equal(t, 1, log.count("capture could not be written"))
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestBadLinesOfACaptureAreCountedAndPassedOver(t *testing.T) {
	const good = `{"time":"2026-03-02T01:15:00.5+01:00","topic":"cellar/FV3/hyd-1","payload":{"gravity":1.01},"note":"ours"}`
	tests := map[string]struct{ line, reason string }{
		"not json":     {`{"time":`, "unexpected end of JSON input"},
		"no object":    {`[1]`, "cannot unmarshal array"},
		"no time":      {`{"topic":"a","payload":1}`, `time ""`},
		"wrong time":   {`{"time":"yesterday","topic":"a","payload":1}`, `time "yesterday": write`},
		"time in ms":   {`{"time":1772413200000,"topic":"a","payload":1}`, "cannot unmarshal number"},
		"no topic":     {`{"time":"2026-03-02T01:15:00Z","payload":1}`, "no topic"},
		"no payload":   {`{"time":"2026-03-02T01:15:00Z","topic":"a"}`, "no payload"},
		"too long":     {strings.Repeat("x", captureLine+1), "longer than"},
		"far too long": {strings.Repeat("x", 3*captureLine), "longer than"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := NewCaptureReader(strings.NewReader(good + "\n\r\n" + tt.line + "\n" + good))
			all := readAll(t, r)
			require.Len(t, all, 2)
			assert.Equal(t, Message{
				Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"gravity":1.01}`),
				Arrived: time.Date(2026, 3, 2, 0, 15, 0, 5e8, time.UTC),
			}, all[1])
			count, first := r.Bad()
			require.Equal(t, 1, count)
			assert.Equal(t, 3, first[0].Line)
			assert.Contains(t, first[0].Reason, tt.reason)
			assert.Contains(t, first[0].String(), "line 3: ")
		})
	}
}

func TestOnlyTheFirstBadLinesAreKept(t *testing.T) {
	r := NewCaptureReader(strings.NewReader(strings.Repeat("?\n", 1000)))
	assert.Empty(t, readAll(t, r))
	count, first := r.Bad()
	assert.Equal(t, 1000, count)
	require.Len(t, first, badLinesKept)
	assert.Equal(t, badLinesKept, first[badLinesKept-1].Line)
}

func TestAReaderThatFailsIsNoEndOfTheCapture(t *testing.T) {
	r := NewCaptureReader(iotest.TimeoutReader(iotest.OneByteReader(strings.NewReader("{}\n"))))
	_, err := r.Next()
	require.ErrorIs(t, err, iotest.ErrTimeout)
}

// Whatever is heard comes back from its capture: topic, flag and arrival
// exactly, the payload but for white space in JSON and bytes that are no text.
func FuzzCapture(f *testing.F) {
	for _, payload := range []string{
		`{"gravity":1.0118}`, ` [1, 2] `, `1.0e-5`, `"text"`, `text`, ``, `null`, "\xff\x00", `{"a":"\u2028<&>"}`, "{\"a\":\"\xff\"}", `  "x"`, `{} {}`,
	} {
		f.Add("cellar/FV3/hyd-1", []byte(payload), true, int64(1772413200123))
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool, millis int64) {
		var file bytes.Buffer
		w := &captureWriter{to: &file}
		m := Message{Topic: topic, Payload: payload, Retained: retained, Arrived: time.UnixMilli(millis % 4e12).UTC()}
		if m.Arrived.Year() < 1 || topic == "" || len(payload) > MaxPayload+1 {
			return // never reaches an intake
		}
		w.add(m)
		require.NoError(t, w.flush())
		require.Equal(t, 1, bytes.Count(file.Bytes(), []byte("\n")), "one line")
		r := NewCaptureReader(&file)
		all := readAll(t, r)
		count, first := r.Bad()
		require.Zero(t, count, "%v", first)
		require.Len(t, all, 1)
		assert.Equal(t, mendedRuns(topic), mendedRuns(all[0].Topic))
		assert.Equal(t, m.Arrived, all[0].Arrived)
		assert.Equal(t, m.Retained, all[0].Retained)
		assert.Equal(t, asCaptured(payload), mendedRuns(string(all[0].Payload)))
	})
}

// asCaptured is what a capture keeps of a payload.
func asCaptured(payload []byte) string {
	var compact bytes.Buffer
	isString := strings.HasPrefix(strings.TrimLeft(string(payload), " \t\r\n"), `"`)
	if !isString && json.Compact(&compact, payload) == nil {
		return mendedRuns(strings.ToValidUTF8(compact.String(), "\uFFFD"))
	}
	return mendedRuns(strings.ToValidUTF8(string(payload), "\uFFFD"))
}

// mendedRuns makes a run of replacements one, as strings.ToValidUTF8 does.
func mendedRuns(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	for strings.Contains(s, "\uFFFD\uFFFD") {
		s = strings.ReplaceAll(s, "\uFFFD\uFFFD", "\uFFFD")
	}
	return s
}
