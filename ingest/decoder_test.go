package ingest

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

var (
	noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	own  = time.Date(2026, 3, 2, 1, 15, 0, 0, time.UTC)
)

func newDecoder(t testing.TB, o DecoderOptions) *Decoder {
	t.Helper()
	d, err := NewDecoder(o)
	require.NoError(t, err)
	return d
}

// want is a reading without what is the same in all of them.
type want struct {
	quantity detect.Quantity
	value    float64
	time     time.Time
}

func wants(readings []detect.Reading) []want {
	var out []want
	for _, r := range readings {
		out = append(out, want{r.Quantity, r.Value, r.Time})
	}
	return out
}

func reasons(refusals []Refusal) []string {
	var out []string
	for _, r := range refusals {
		out = append(out, r.Reason)
	}
	return out
}

func TestPayloadsOfSpilesOwn(t *testing.T) {
	const probe, head = "cellar/FV3/hyd-1", "cellar/FV3/head-3/pressure"
	cases := map[string]struct {
		topic, payload string
		want           []want
		reasons        []string
	}{
		"all three": {probe, `{"time":"2026-03-02T01:15:00Z","gravity":1.0118,"temperature":14.3,"pressure":82.0}`,
			[]want{{detect.Gravity, 1.0118, own}, {detect.Temperature, 14.3, own}, {detect.Pressure, 82, own}}, nil},
		"any may be absent":           {probe, `{"temperature":14.3}`, []want{{detect.Temperature, 14.3, noon}}, nil},
		"null is absent":              {probe, `{"time":null,"gravity":null,"temperature":14.3}`, []want{{detect.Temperature, 14.3, noon}}, nil},
		"value with unit":             {probe, `{"temperature":{"value":50,"unit":"degF"}}`, []want{{detect.Temperature, 10, noon}}, nil},
		"unit in a text":              {probe, `{"pressure":"1 bar"}`, []want{{detect.Pressure, 100, noon}}, nil},
		"seconds since 1970":          {probe, `{"time":1772414100.2509,"temperature":14.3}`, []want{{detect.Temperature, 14.3, own.Add(250 * time.Millisecond)}}, nil},
		"milliseconds stay":           {probe, `{"time":1772414100.123,"temperature":14.3}`, []want{{detect.Temperature, 14.3, own.Add(123 * time.Millisecond)}}, nil},
		"offset and cut milliseconds": {probe, `{"time":"2026-03-02T02:15:00.0019+01:00","temperature":14.3}`, []want{{detect.Temperature, 14.3, own.Add(time.Millisecond)}}, nil},
		"other keys ignored":          {probe, `{"cell":{"v":[3.7,"}"]},"rssi":-71,"name":"a\"b","temperature":14.3}`, []want{{detect.Temperature, 14.3, noon}}, nil},
		"escaped key":                 {probe, `{"te\u006dperature":14.3}`, []want{{detect.Temperature, 14.3, noon}}, nil},
		"white space":                 {probe, " \n{ \"temperature\" :\t14.3 }\r\n", []want{{detect.Temperature, 14.3, noon}}, nil},
		"hot caustic":                 {probe, `{"temperature":80,"gravity":0.99}`, []want{{detect.Gravity, 0.99, noon}, {detect.Temperature, 80, noon}}, nil},
		"in part":                     {probe, `{"gravity":12,"temperature":14.3}`, []want{{detect.Temperature, 14.3, noon}}, []string{ReasonOutOfRange}},
		"bare number":                 {head, "82.0", []want{{detect.Pressure, 82, noon}}, nil},
		"bare number with unit":       {head, " 12 psig\n", []want{{detect.Pressure, 82.737087516, noon}}, nil},
		"value on a quantity":         {head, `{"time":"2026-03-02T01:15:00Z","value":0.5,"unit":"bar"}`, []want{{detect.Pressure, 50, own}}, nil},
		"SenML":                       {probe, `[{"n":"temperature","u":"Cel","v":14.3}]`, []want{{detect.Temperature, 14.3, noon}}, nil},

		"no quantity":           {probe, `{"battery":3.7}`, nil, []string{ReasonNoQuantity}},
		"number without one":    {probe, `14.3`, nil, []string{ReasonNoQuantity}},
		"empty":                 {probe, ``, nil, []string{ReasonBadJSON}},
		"a word":                {probe, `hello`, nil, []string{ReasonBadJSON}},
		"a word for a number":   {head, `NaN`, nil, []string{ReasonBadNumber}},
		"infinite":              {head, `-Inf`, nil, []string{ReasonBadNumber}},
		"cut off":               {probe, `{"gravity":1.01`, nil, []string{ReasonBadJSON}},
		"two objects":           {probe, `{"gravity":1.01}{"gravity":1.02}`, nil, []string{ReasonBadJSON}},
		"key twice":             {probe, `{"gravity":1.01,"gravity":1.02}`, nil, []string{ReasonBadJSON}},
		"number too large":      {probe, `{"gravity":1e400}`, nil, []string{ReasonBadNumber}},
		"truth for a number":    {probe, `{"gravity":true}`, nil, []string{ReasonBadNumber}},
		"unit unknown":          {probe, `{"gravity":{"value":1,"unit":"Oechsle"}}`, nil, []string{ReasonUnknownUnit}},
		"unit of another kind":  {probe, `{"temperature":{"value":12,"unit":"psi"}}`, nil, []string{ReasonUnknownUnit}},
		"unit no text":          {probe, `{"temperature":{"value":12,"unit":7}}`, nil, []string{ReasonUnknownUnit}},
		"below absolute zero":   {probe, `{"temperature":{"value":-300,"unit":"degC"}}`, nil, []string{ReasonOutOfRange}},
		"too cold":              {probe, `{"temperature":-127}`, nil, []string{ReasonOutOfRange}},
		"too dense":             {probe, `{"gravity":1.2001}`, nil, []string{ReasonOutOfRange}},
		"beyond a vacuum":       {probe, `{"pressure":-102}`, nil, []string{ReasonOutOfRange}},
		"time without zone":     {probe, `{"time":"2026-03-02T01:15:00","gravity":1.01}`, nil, []string{ReasonBadTime}},
		"time in words":         {probe, `{"time":"now","gravity":1.01}`, nil, []string{ReasonBadTime}},
		"time of a wrong type":  {probe, `{"time":[1],"gravity":1.01}`, nil, []string{ReasonBadTime}},
		"time too large":        {probe, `{"time":1e400,"gravity":1.01}`, nil, []string{ReasonBadTime}},
		"time in milliseconds":  {probe, `{"time":1772414100000,"gravity":1.01}`, nil, []string{ReasonBadTime}},
		"unknown quantity":      {"cellar/FV3/hyd-1/battery", `3.7`, nil, []string{ReasonBadTopic}},
		"log as a probe":        {"cellar/FV3/log/gravity", `1.01`, nil, []string{ReasonBadTopic}},
		"bad names, both told":  {"cellar/FV 3/-hyd", `{"gravity":1.01}`, nil, []string{ReasonBadTopic, ReasonBadTopic}},
		"name too long":         {"cellar/" + strings.Repeat("F", 33) + "/hyd-1", `{"gravity":1.01}`, nil, []string{ReasonBadTopic}},
		"elsewhere":             {"kitchen/kettle", `{"gravity":1.01}`, nil, []string{ReasonBadTopic}},
		"too large":             {probe, `{"x":"` + strings.Repeat("a", MaxPayload) + `"}`, nil, []string{ReasonTooLarge}},
		"text without a figure": {probe, `{"gravity":"high"}`, nil, []string{ReasonBadNumber}},
	}
	d := newDecoder(t, DecoderOptions{})
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			out := d.Decode(Message{Topic: c.topic, Payload: []byte(c.payload)}, noon)
			got := wants(out.Readings)
			require.Len(t, got, len(c.want), "%v", out.Refusals)
			for i := range got {
				assert.InDelta(t, c.want[i].value, got[i].value, 1e-9)
				got[i].value = c.want[i].value
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, c.reasons, reasons(out.Refusals), "%v", out.Refusals)
			for _, r := range out.Refusals {
				assert.NotEmpty(t, r.Detail)
				assert.Contains(t, Reasons(), r.Reason)
				assert.LessOrEqual(t, len(r.Payload), shownBytes)
				assert.Equal(t, noon, r.Time)
			}
		})
	}
}

func TestReadingIsWhole(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	out := d.Decode(Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(`{"time":"2026-03-02T01:15:00Z","gravity":1.0118}`)},
		noon.Add(1234*time.Microsecond).In(time.FixedZone("", 3600)))
	assert.Equal(t, Decoded{Source: "cellar/{tank}/{probe}", Readings: []detect.Reading{{
		Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity, Time: own, Value: 1.0118, Raw: 1.0118, Arrived: noon.Add(time.Millisecond),
	}}}, out)
}

func TestTimesAreHeldAgainstTheArrival(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	for _, c := range []struct {
		off     time.Duration
		reasons []string
	}{
		{detect.MaxAhead, nil}, {detect.MaxAhead + time.Millisecond, []string{ReasonTimeAhead}},
		{-detect.MaxBehind, nil}, {-detect.MaxBehind - time.Millisecond, []string{ReasonTimeBehind}},
	} {
		text := noon.Add(c.off).Format(time.RFC3339Nano)
		for topic, payload := range map[string]string{
			"cellar/FV3/hyd-1": `{"time":"` + text + `","gravity":1.01}`,
			"cellar/FV3/log":   `{"time":"` + text + `","event":"rouse"}`,
		} {
			out := d.Decode(Message{Topic: topic, Payload: []byte(payload)}, noon)
			assert.Equal(t, c.reasons, reasons(out.Refusals), "%s %s", topic, c.off)
			assert.Equal(t, c.reasons == nil, len(out.Readings)+len(out.Events) == 1)
		}
	}
}

func TestRetainedMessagesNeedTheirOwnTime(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	for name, c := range map[string]struct {
		topic, payload string
		taken          int
		reasons        []string
	}{
		"empty clears":     {"cellar/FV3/hyd-1", ``, 0, nil},
		"no time":          {"cellar/FV3/hyd-1", `{"gravity":1.01}`, 0, []string{ReasonRetained}},
		"with time":        {"cellar/FV3/hyd-1", `{"time":"2026-03-02T01:15:00Z","gravity":1.01}`, 1, nil},
		"bare number":      {"cellar/FV3/hyd-1/gravity", `1.01`, 0, []string{ReasonRetained}},
		"SenML relative":   {"cellar/FV3/hyd-1", `[{"n":"gravity","v":1.01,"t":-5}]`, 0, []string{ReasonRetained}},
		"SenML absolute":   {"cellar/FV3/hyd-1", `[{"n":"gravity","v":1.01,"t":1772414100}]`, 1, nil},
		"log without time": {"cellar/FV3/log", `{"event":"seal"}`, 0, []string{ReasonRetained}},
		"log with time":    {"cellar/FV3/log", `{"event":"seal","time":"2026-03-02T01:15:00Z"}`, 1, nil},
	} {
		t.Run(name, func(t *testing.T) {
			out := d.Decode(Message{Topic: c.topic, Payload: []byte(c.payload), Retained: true}, noon)
			assert.Len(t, out.Readings, c.taken-len(out.Events))
			assert.Equal(t, c.reasons, reasons(out.Refusals))
		})
	}
}

func TestCellarLog(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	hear := func(payload string) Decoded {
		return d.Decode(Message{Topic: "cellar/FV3/log", Payload: []byte(payload)}, noon)
	}
	out := hear(`{"event":"crash","time":"2026-03-02T01:15:00Z","setpoint":"58 degF"}`)
	require.Len(t, out.Events, 1)
	assert.Equal(t, "cellar/{tank}/log", out.Source)
	assert.Equal(t, "FV3", out.Events[0].Tank)
	assert.Equal(t, own, out.Events[0].Time)
	assert.InDelta(t, 14.444, out.Events[0].Amounts["setpoint"], 0.001)

	for payload, reason := range map[string]string{
		`[]`: ReasonBadJSON, `{`: ReasonBadJSON, `{"event":"crash","setpoint":1e400}`: ReasonBadJSON,
		`{"event":"crush"}`:                         ReasonUnknownEvent,
		`{"event":"crash"}`:                         ReasonBadField,
		`{"event":"crash","setpoint":58}`:           ReasonOutOfRange,
		`{"event":"crash","setpoint":"14 psi"}`:     ReasonUnknownUnit,
		`{"event":"seal","time":"yesterday"}`:       ReasonBadTime,
		`{"event":"seal","tank":"FV4"}`:             ReasonBadField,
		`{"event":"vdk","result":"good"}`:           ReasonBadField,
		`{"event":"vent","pressure":[1]}`:           ReasonBadNumber,
		`{"event":"transfer","to":"the other one"}`: ReasonBadField,
	} {
		out := hear(payload)
		assert.Empty(t, out.Events, payload)
		assert.Equal(t, []string{reason}, reasons(out.Refusals), "%s: %v", payload, out.Refusals)
	}
}

func TestRefusalsNameTheMend(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	for payload, mend := range map[string]string{
		`{"gravity":12}`:                        `in degP? send {"value":12,"unit":"degP"}`,
		`{"temperature":-127}`:                  "expected -20 to 110",
		`14.3`:                                  "cellar/FV3/hyd-1/gravity",
		`{"battery":3.7}`:                       "send gravity, temperature or pressure",
		`{"time":1772414100000,"gravity":1.01}`: "milliseconds",
		`{"gravity":1.01`:                       "cut off",
	} {
		out := d.Decode(Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(payload)}, noon)
		require.Len(t, out.Refusals, 1, payload)
		assert.Contains(t, out.Refusals[0].Detail, mend)
	}
}

func TestFloodOfFaultsIsOneMessage(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	pack := "[" + strings.Repeat(`{"n":"gravity","v":99},`, 1000) + `{"n":"gravity","v":1.01}]`
	out := d.Decode(Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(pack)}, noon)
	assert.Len(t, out.Refusals, maxRefusals)
	assert.Len(t, out.Readings, 1)
}

func TestRefusalShowsNothingHarmful(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	out := d.Decode(Message{Topic: "a/\x1b[31m\xff", Payload: []byte("\x00\x1b]0;title\a" + strings.Repeat("\xff", 300))}, noon)
	require.Len(t, out.Refusals, 1)
	r := out.Refusals[0]
	assert.Equal(t, "a/·[31m·", r.Topic)
	assert.True(t, strings.HasPrefix(r.Payload, "··]0;title·"), r.Payload)
	assert.LessOrEqual(t, len(r.Payload), shownBytes)
}

func BenchmarkDecodeObject(b *testing.B) {
	d := newDecoder(b, DecoderOptions{})
	m := Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(
		`{"time":"2026-03-02T01:15:00Z","gravity":1.0118,"temperature":14.3,"pressure":82.0,"battery":3.71,"rssi":-71,"seq":12}`)}
	b.ReportAllocs()
	for b.Loop() {
		if out := d.Decode(m, noon); len(out.Readings) != 3 {
			b.Fatal(out)
		}
	}
}
