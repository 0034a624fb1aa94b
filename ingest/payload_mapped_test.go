package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestForeignPayloads(t *testing.T) {
	d := newDecoder(t, DecoderOptions{Sources: []Source{
		{Topic: "plant/{tank}/dens/{probe}", Time: "/ts", Fields: map[detect.Quantity]Field{
			detect.Gravity: {At: "/d/0/val", Unit: "degP"}, detect.Temperature: {At: "/d/1/val", Unit: "degF"},
		}},
		{Topic: "mill/{tank}/p-{probe}/{quantity}", Time: "/at", TimeUnit: "ms", Fields: map[detect.Quantity]Field{
			detect.Temperature: {At: "/v"}, detect.Pressure: {At: "/v", Unit: "mbar"},
		}},
		{Topic: "float/7", Tank: "FV7", Probe: "hyd-7"},
		{Topic: "gauge/+/out", Tank: "FV7", Probe: "head-7", Fields: map[detect.Quantity]Field{detect.Pressure: {At: ""}}},
	}})
	for name, c := range map[string]struct {
		topic, payload, source, place string
		want                          []want
		reasons                       []string
	}{
		"pointers and units": {"plant/FV1/dens/x9", `{"ts":"2026-03-02T01:15:00Z","d":[{"val":12},{"val":50}]}`, "plant/{tank}/dens/{probe}", "FV1 x9",
			[]want{{detect.Gravity, 1.04839, own}, {detect.Temperature, 10, own}}, nil},
		"a number as a text":   {"plant/FV1/dens/x9", `{"d":[{"val":"12.0"}]}`, "plant/{tank}/dens/{probe}", "FV1 x9", []want{{detect.Gravity, 1.04839, noon}}, nil},
		"its own unit instead": {"plant/FV1/dens/x9", `{"d":[{"val":{"value":1.01,"unit":"SG"}}]}`, "plant/{tank}/dens/{probe}", "FV1 x9", []want{{detect.Gravity, 1.01, noon}}, nil},
		"milliseconds, and only the topic's quantity": {"mill/FV2/p-p1/pressure", `{"at":1772414100123,"v":820}`, "mill/{tank}/p-{probe}/{quantity}", "FV2 p1",
			[]want{{detect.Pressure, 82, own.Add(123 * time.Millisecond)}}, nil},
		"own payloads elsewhere": {"float/7", `{"gravity":1.01}`, "float/7", "FV7 hyd-7", []want{{detect.Gravity, 1.01, noon}}, nil},
		"the whole text":         {"gauge/left/out", `82`, "gauge/+/out", "FV7 head-7", []want{{detect.Pressure, 82, noon}}, nil},

		"nothing there":       {"plant/FV1/dens/x9", `{"d":[{"val":null}]}`, "plant/{tank}/dens/{probe}", "", nil, []string{ReasonNoQuantity}},
		"quantity not mapped": {"mill/FV2/p-p1/gravity", `{"v":1.01}`, "mill/{tank}/p-{probe}/{quantity}", "", nil, []string{ReasonNoQuantity}},
		"not JSON":            {"plant/FV1/dens/x9", `12,14`, "plant/{tank}/dens/{probe}", "", nil, []string{ReasonBadJSON}},
		"number too large":    {"plant/FV1/dens/x9", `{"d":[{"val":1e999}]}`, "plant/{tank}/dens/{probe}", "", nil, []string{ReasonBadJSON}},
		"list for a number":   {"plant/FV1/dens/x9", `{"d":[{"val":[1]}]}`, "plant/{tank}/dens/{probe}", "", nil, []string{ReasonBadNumber}},
		"bad time":            {"plant/FV1/dens/x9", `{"ts":"noon","d":[{"val":12}]}`, "plant/{tank}/dens/{probe}", "", nil, []string{ReasonBadTime}},
		"bad milliseconds":    {"mill/FV2/p-p1/pressure", `{"at":"now","v":820}`, "mill/{tank}/p-{probe}/{quantity}", "", nil, []string{ReasonBadTime}},
	} {
		t.Run(name, func(t *testing.T) {
			out := d.Decode(Message{Topic: c.topic, Payload: []byte(c.payload)}, noon)
			assert.Equal(t, c.source, out.Source)
			require.Len(t, out.Readings, len(c.want), "%v", out.Refusals)
			for i, r := range out.Readings {
				assert.Equal(t, c.place, r.Tank+" "+r.Probe)
				assert.InDelta(t, c.want[i].value, r.Value, 1e-4)
				assert.Equal(t, c.want[i].quantity, r.Quantity)
				assert.Equal(t, c.want[i].time, r.Time)
			}
			assert.Equal(t, c.reasons, reasons(out.Refusals), "%v", out.Refusals)
		})
	}
}

func TestSourcesThatAreRefused(t *testing.T) {
	gravity := map[detect.Quantity]Field{detect.Gravity: {At: "/g"}}
	for detail, s := range map[string]Source{
		"the topic is empty":          {},
		"has no {probe}":              {Topic: "a/{tank}", Fields: gravity},
		"has no {tank}":               {Topic: "a/{probe}", Fields: gravity},
		"so leave out tank: FV1":      {Topic: "a/{tank}/{probe}", Tank: "FV1", Fields: gravity},
		`probe "a b"`:                 {Topic: "a/{tank}", Probe: "a b", Fields: gravity},
		"{vessel} is not known":       {Topic: "a/{vessel}/{probe}", Fields: gravity},
		"stands there twice":          {Topic: "{tank}/{tank}/{probe}", Fields: gravity},
		"the } is missing":            {Topic: "{tank/{probe}", Fields: gravity},
		"one {name} between":          {Topic: "{tank}{probe}", Fields: gravity},
		"# is not taken":              {Topic: "{tank}/{probe}/#", Fields: gravity},
		"a JSON Pointer begins":       {Topic: "{tank}/{probe}", Fields: map[detect.Quantity]Field{detect.Gravity: {At: "g"}}},
		`"1 bar" is a pressure`:       {Topic: "{tank}/{probe}", Fields: map[detect.Quantity]Field{detect.Gravity: {At: "/g", Unit: "bar"}}},
		`field "ph"`:                  {Topic: "{tank}/{probe}", Fields: map[detect.Quantity]Field{"ph": {At: "/p"}}},
		"time: unit \"h\"":            {Topic: "{tank}/{probe}", Time: "/t", TimeUnit: "h", Fields: gravity},
		"time: \"t\": a JSON Pointer": {Topic: "{tank}/{probe}", Time: "t", Fields: gravity},
		"a time without a field":      {Topic: "{tank}/{probe}", Time: "/t"},
	} {
		assert.ErrorContains(t, CheckSource(s), detail)
		_, err := NewDecoder(DecoderOptions{Sources: []Source{s}})
		assert.ErrorContains(t, err, "source 1: ")
	}
}
