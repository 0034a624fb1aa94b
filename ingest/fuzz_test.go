package ingest

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// fuzzDecoder has every sort of source and correction.
func fuzzDecoder(t testing.TB) *Decoder {
	twenty := 20.0
	return newDecoder(t, DecoderOptions{
		Sources: []Source{
			{Topic: "plant/{tank}/dens/{probe}", Time: "/ts", Fields: map[detect.Quantity]Field{
				detect.Gravity: {At: "/d/0/val", Unit: "degP"}, detect.Temperature: {At: "/d/1/val"}}},
			{Topic: "ms/{tank}/{probe}/{quantity}", Time: "/t", TimeUnit: "ms", Fields: map[detect.Quantity]Field{detect.Pressure: {At: ""}}},
		},
		Probes: map[string]Correction{"hyd-1": {Calibration: &twenty, Offset: map[detect.Quantity]float64{detect.Gravity: -0.001}}},
	})
}

// Any bytes on any topic: no panic, only readings that are finite, in range and
// placed in time, and never silence but for what is known to say nothing.
func FuzzDecode(f *testing.F) {
	for topic, payloads := range map[string][]string{
		"cellar/FV3/hyd-1": {``, ` `, `{}`, `{"gravity":1.0118,"temperature":14.3,"time":"2026-03-02T01:15:00Z"}`, `{"gravity":{"value":3,"unit":"degP"}}`,
			`{"temperature":"57.9 degF","time":1772414100.5}`, `{"a":"\"}","gra\u0076ity":1.01}`, `[{"n":"gravity","v":1.01,"t":-5},{"n":"temperature","v":14,"t":-5}]`,
			`{"gravity":1.01,"gravity":1}`, `{"gravity":1e999}`, "{\"gravity\":1.01}\x00", `[[[[`, `{"temperature":-1E-9}`},
		"cellar/FV3/hyd-1/gravity": {`1.01`, `-`, `1e3`, `1.01 SG`, `{"value":12,"unit":"degP"}`, `0x1p0`, `١`},
		"cellar/FV3/log":           {`{"event":"crash","setpoint":"58 degF"}`, `{"event":"probe","id":"hyd-1","state":"out"}`, `{"event":7}`, `null`, `"x"`},
		"plant/FV1/dens/x9":        {`{"ts":1772414100,"d":[{"val":"12"},{"val":14}]}`, `{"d":{}}`},
		"ms/FV1/x9/pressure":       {`82`, `{"t":1772414100123}`},
		"\xff/{tank}":              {`x`}, "cellar/FV3/": {`1`}, "$SYS/x": {`1`},
	} {
		for _, payload := range payloads {
			f.Add(topic, []byte(payload), false)
			f.Add(topic, []byte(payload), true)
		}
	}
	d := fuzzDecoder(f)
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		out := d.Decode(Message{Topic: topic, Payload: payload, Retained: retained}, noon)
		require.Contains(t, d.Patterns(), out.Source)
		if len(out.Readings)+len(out.Events)+len(out.Refusals) == 0 {
			require.True(t, retained && len(payload) == 0, "silence")
		}
		for _, r := range out.Readings {
			checkReading(t, r)
		}
		for _, e := range out.Events {
			body, err := json.Marshal(e)
			require.NoError(t, err)
			var back detect.Event
			require.NoError(t, json.Unmarshal(body, &back))
			require.Equal(t, e, back)
		}
		for _, r := range out.Refusals {
			require.Contains(t, Reasons(), r.Reason)
			require.NotEmpty(t, r.Detail)
		}
	})
}

func checkReading(t *testing.T, r detect.Reading) {
	t.Helper()
	low, high := bounds(r.Quantity)
	for _, v := range []float64{r.Value, r.Raw} {
		require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		require.True(t, v >= low && v <= high, "%+v", r)
	}
	require.True(t, detect.ValidName(r.Tank) && detect.ValidName(r.Probe))
	require.NoError(t, detect.CheckTime(r.Time, r.Arrived))
	require.Equal(t, r.Time, r.Time.UTC().Truncate(time.Millisecond))
}

// The walk over members finds what encoding/json finds.
func FuzzMembers(f *testing.F) {
	for _, seed := range []string{`{}`, `{"a":1}`, ` { "a" : { "b" : [ 1 , "}" ] } , "c" : "\"" } `, `{"":"","é":null}`, `{"a":[[],{}],"b":-1e9}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var want map[string]json.RawMessage
		if json.Unmarshal(text, &want) != nil || want == nil {
			return
		}
		got := map[string]json.RawMessage{}
		walk := members{text: text}
		for key, value, more := walk.next(); more; key, value, more = walk.next() {
			got[string(key)] = value
			require.True(t, json.Valid(value), "%q", value)
		}
		for key, value := range got {
			if _, same := want[key]; same { // a key of broken UTF-8 is kept as it stands, and is no key of ours
				assert.Equal(t, string(want[key]), string(value))
			}
		}
		require.LessOrEqual(t, len(want), len(got))
	})
}

// Resolved records are what the rules allow, and resolving them again changes nothing.
func FuzzSenML(f *testing.F) {
	for _, seed := range []string{`[]`, `[{"n":"gravity","v":1.01}]`, `[{"bn":"a:","bt":1772414100,"bu":"Cel","bv":1,"n":"t","v":2,"t":-5},{"n":"x","vb":true}]`,
		`[{"bver":11}]`, `[{"x_":1}]`, `[{"n":"m","s":1}]`, `[{"n":null}]`, `[{"n":"a","v":1e308,"bv":1e308}]`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		records, err := resolve(text)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		records = slices.DeleteFunc(records, func(r record) bool {
			return r.Fault != "" || r.Value == nil || math.IsInf(*r.Value, 0) || math.IsInf(r.Time, 0)
		})
		var again []map[string]any
		for _, r := range records {
			require.True(t, validSenMLName(r.Name))
			again = append(again, map[string]any{"n": r.Name, "u": r.Unit, "v": *r.Value, "t": r.Time})
		}
		body, err := json.Marshal(again)
		require.NoError(t, err)
		back, err := resolve(body)
		require.NoError(t, err)
		require.Len(t, back, len(records))
		for i := range back {
			require.Equal(t, records[i], back[i])
		}
	})
}

// A pointer that can be read finds a value in a text or says that there is none.
func FuzzPointer(f *testing.F) {
	for _, seed := range []string{"", "/", "/foo/0", "/a~1b", "/m~0n", "x", "/~", "/foo/-", "/foo/01", "/ /x"} {
		f.Add(seed)
	}
	var document any
	require.NoError(f, json.Unmarshal([]byte(rfc6901), &document))
	f.Fuzz(func(t *testing.T, text string) {
		p, err := parsePointer(text)
		if err != nil {
			return
		}
		if v, found := p.find(document); !found {
			require.Nil(t, v)
		}
		if len(p) > 0 {
			nested := any("found")
			for _, token := range slices.Backward(p) {
				nested = map[string]any{token: nested}
			}
			v, found := p.find(nested)
			require.True(t, found)
			require.Equal(t, "found", v)
		}
	})
}
