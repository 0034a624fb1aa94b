package influx

import (
	"math"
	"testing"
	"time"

	protocol "github.com/influxdata/line-protocol"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		panic(err)
	}
	return t
}

func TestLine(t *testing.T) {
	when := at("2026-03-02T01:15:00.25Z")
	tests := []struct {
		name, site string
		reading    detect.Reading
		want       string
	}{
		{
			"gravity", "north-quay",
			detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity, Time: when, Value: 1.0118, Raw: 1.012},
			"cellar,probe=hyd-1,site=north-quay,tank=FV3 gravity=1.0118 1772414100250",
		},
		{
			"no site", "",
			detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: detect.Temperature, Time: when, Value: -0.5},
			"cellar,probe=hyd-1,tank=FV3 temperature=-0.5 1772414100250",
		},
		{
			"a site with a place", "North Quay, hall=2",
			detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: when, Value: 82},
			`cellar,probe=head-3,site=North\ Quay\,\ hall\=2,tank=FV3 pressure=82 1772414100250`,
		},
		{
			"a small figure has no exponent", "",
			detect.Reading{Tank: "FV3", Probe: "head-3", Quantity: detect.Pressure, Time: time.UnixMilli(-1), Value: 1e-7},
			"cellar,probe=head-3,tank=FV3 pressure=0.0000001 -1",
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got, err := appendLine(nil, test.site, test.reading)
			require.NoError(t, err)
			assert.Equal(t, test.want, string(got))
		})
	}
}

func TestLineRefusesWhatTheProtocolCannotCarry(t *testing.T) {
	good := detect.Reading{Tank: "FV3", Probe: "hyd-1", Quantity: detect.Gravity, Time: at("2026-03-02T01:15:00Z"), Value: 1.01}
	tests := map[string]struct {
		spoil func(*detect.Reading)
		want  string
	}{
		"no tank":       {func(r *detect.Reading) { r.Tank = "" }, "the tank has no name"},
		"a new line":    {func(r *detect.Reading) { r.Probe = "a\nb" }, `probe "a\nb"`},
		"a backslash":   {func(r *detect.Reading) { r.Probe = `a\` }, "backslash"},
		"bytes":         {func(r *detect.Reading) { r.Tank = "\xff" }, "not UTF-8"},
		"no number":     {func(r *detect.Reading) { r.Value = math.NaN() }, "gravity NaN is no number"},
		"beyond number": {func(r *detect.Reading) { r.Value = math.Inf(-1) }, "gravity -Inf is no number"},
		"a quantity":    {func(r *detect.Reading) { r.Quantity = "colour" }, `quantity "colour" has no field`},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			r := good
			test.spoil(&r)
			_, err := appendLine(nil, "", r)
			require.ErrorContains(t, err, test.want)
		})
	}
}

// FuzzLine holds the encoder against InfluxData's own parser: every line it
// makes is one line, and means what the reading meant.
func FuzzLine(f *testing.F) {
	f.Add("north-quay", "FV3", "hyd-1", 1.0118, int64(1772414100250))
	f.Add("North Quay, hall=2", "a=b", "c,d", -0.5, int64(-1))
	f.Add("", `back\slash`, "new\nline", math.Inf(1), int64(0))
	f.Add("\u00a0", "\"", "'", 1e300, int64(1)<<42)
	f.Fuzz(func(t *testing.T, site, tank, probe string, value float64, ms int64) {
		if ms < -1<<43 || ms > 1<<43 || site != "" && checkTag("site", site) != nil {
			t.Skip() // beyond the nanoseconds of an int64, or refused by New
		}
		r := detect.Reading{Tank: tank, Probe: probe, Quantity: detect.Gravity, Time: time.UnixMilli(ms), Value: value}
		text, err := appendLine(nil, site, r)
		if err != nil {
			return
		}
		points := parse(t, text)
		require.Len(t, points, 1)
		assert.Equal(t, point{site: site, tank: tank, probe: probe, field: "gravity", ms: ms}, points[0].identity())
		assert.InDelta(t, value, points[0].value, 0)
	})
}

// point is a line as InfluxData's parser reads it.
type point struct {
	site, tank, probe, field string
	ms                       int64
	value                    float64
}

// identity is what makes two lines the same point to InfluxDB.
func (p point) identity() point {
	p.value = 0
	return p
}

// parse reads lines of milliseconds.
func parse(t assert.TestingT, text []byte) (points []point) {
	handler := protocol.NewMetricHandler()
	handler.SetTimePrecision(time.Millisecond)
	metrics, err := protocol.NewParser(handler).Parse(text)
	assert.NoError(t, err, "%s", text)
	for _, m := range metrics {
		assert.Equal(t, measurement, m.Name())
		p := point{ms: m.Time().UnixMilli()}
		for _, tag := range m.TagList() {
			switch tag.Key {
			case "site":
				p.site = tag.Value
			case "tank":
				p.tank = tag.Value
			case "probe":
				p.probe = tag.Value
			}
		}
		for _, field := range m.FieldList() {
			p.field = field.Key
			p.value, _ = field.Value.(float64)
		}
		points = append(points, p)
	}
	return points
}
