package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func float(v float64) *float64 { return &v }

// The examples of RFC 8428, section 5.1, held against section 5.1.4's way to resolve them.
func TestPacksOfRFC8428(t *testing.T) {
	const device = "urn:dev:ow:10e2073a01080063"
	for name, c := range map[string]struct {
		pack string
		want []record
	}{
		"5.1.1 single data point": {`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
			[]record{{Name: device, Unit: "Cel", Value: float(23.1)}}},
		"5.1.2 multiple data points": {`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
			{"n":"current","u":"A","v":1.2}]`,
			[]record{{Name: device + ":voltage", Unit: "V", Value: float(120.1)}, {Name: device + ":current", Unit: "A", Value: float(1.2)}}},
		"5.1.2 with base time and unit": {`[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
			{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3}]`,
			[]record{
				{Name: "urn:dev:ow:10e2073a0108006:voltage", Unit: "V", Value: float(120.1), Time: 1276020076.001},
				{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Value: float(1.2), Time: 1276020071.001},
				{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Value: float(1.3), Time: 1276020072.001},
			}},
		"5.1.3 multiple measurements": {`[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
			{"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3}]`,
			[]record{
				{Name: device, Unit: "%RH", Value: float(20), Time: 1320067464}, {Name: device, Unit: "lon", Value: float(24.30621), Time: 1320067464},
				{Name: device, Unit: "lat", Value: float(60.07965), Time: 1320067464}, {Name: device, Unit: "%RH", Value: float(20.3), Time: 1320067524},
			}},
		"5.1.5 values of other types": {`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
			{"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]`,
			[]record{
				{Name: device + ":temp", Unit: "Cel", Value: float(23.1)}, {Name: device + ":label"},
				{Name: device + ":open"}, {Name: device + ":nfc-reader"},
			}},
		"5.1.6 sum only": {`[{"n":"urn:dev:ow:10e2073a01080063:meter","u":"J","s":1,"ut":5}]`,
			[]record{{Name: device + ":meter", Unit: "J"}}},
		"base value adds": {`[{"bn":"a/","bv":1,"n":"gravity","v":0.0118},{"n":"gravity","v":0.0117}]`,
			[]record{{Name: "a/gravity", Value: float(1.0118)}, {Name: "a/gravity", Value: float(1.0117)}}},
		"base fields alone make no record": {`[{"bn":"a/","bu":"Cel"},{"n":"temperature","v":14}]`,
			[]record{{Name: "a/temperature", Unit: "Cel", Value: float(14)}}},
		"unknown labels are ignored": {`[{"n":"temperature","v":14,"note":"x"}]`, []record{{Name: "temperature", Value: float(14)}}},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := resolve([]byte(c.pack))
			require.NoError(t, err)
			require.Len(t, got, len(c.want))
			for i := range got {
				if c.want[i].Value != nil && got[i].Value != nil {
					assert.InDelta(t, *c.want[i].Value, *got[i].Value, 1e-12)
					got[i].Value = c.want[i].Value
				}
				assert.InDelta(t, c.want[i].Time, got[i].Time, 1e-6)
				got[i].Time = c.want[i].Time
			}
			assert.Equal(t, c.want, got)
		})
	}
}

func TestPacksThatAreRefused(t *testing.T) {
	for pack, detail := range map[string]string{
		`[`: "cut off", `[1]`: "list of objects", `[{"bver":11,"n":"gravity","v":1}]`: "bver is 11",
		`[{"n":"gravity","v":1,"must_":2}]`: `"must_" must be understood`, `[{"bt":"now","n":"gravity","v":1}]`: "bt is",
		`[{"n":"gravity","v":1},{"bn":null}]`: "record 2: bn is null",
	} {
		_, err := resolve([]byte(pack))
		assert.ErrorContains(t, err, detail, pack)
	}
	for pack, fault := range map[string]string{
		`[{"n":"gravity"}]`: "no value", `[{"n":"gravity","v":1,"vs":"x"}]`: "exactly one", `[{"v":1}]`: "name",
		`[{"n":"_gravity","v":1}]`: "name", `[{"n":"gravity","v":"1"}]`: `v is "1"`, `[{"n":7,"v":1}]`: "n is 7",
		`[{"n":"gravity","v":1,"t":"x"}]`: "t is", `[{"n":"gravity","v":null}]`: "v is null",
	} {
		records, err := resolve([]byte(pack))
		require.NoError(t, err, pack)
		require.Len(t, records, 1, pack)
		assert.Contains(t, records[0].Fault, fault, pack)
	}
}

func TestSenMLReadings(t *testing.T) {
	d := newDecoder(t, DecoderOptions{})
	for name, c := range map[string]struct {
		pack    string
		want    []want
		reasons []string
	}{
		"units of the registry": {`[{"bn":"urn:dev:mac:0024befffe804ff1:","n":"gravity","u":"/","v":1.0118},{"n":"temperature","u":"K","v":287.45},{"n":"pressure","u":"Pa","v":82000}]`,
			[]want{{detect.Gravity, 1.0118, noon}, {detect.Temperature, 14.3, noon}, {detect.Pressure, 82, noon}}, nil},
		"secondary unit": {`[{"n":"pressure","u":"hPa","v":820}]`, []want{{detect.Pressure, 82, noon}}, nil},
		"times of their own": {`[{"bn":"a/","bt":1772414100,"n":"gravity","v":1.01},{"n":"gravity","t":60,"v":1.011}]`,
			[]want{{detect.Gravity, 1.01, own}, {detect.Gravity, 1.011, own.Add(time.Minute)}}, nil},
		"relative to now":                {`[{"n":"gravity","v":1.01,"t":-90}]`, []want{{detect.Gravity, 1.01, noon.Add(-90 * time.Second)}}, nil},
		"2^28 is absolute, and long ago": {`[{"n":"gravity","v":1.01,"t":268435456}]`, nil, []string{ReasonTimeBehind}},
		"below 2^28 is the future":       {`[{"n":"gravity","v":1.01,"t":268435455}]`, nil, []string{ReasonTimeAhead}},
		"far past":                       {`[{"n":"gravity","v":1.01,"t":-1e300}]`, nil, []string{ReasonTimeBehind}},
		"beyond any calendar":            {`[{"n":"gravity","v":1.01,"t":1e300}]`, nil, []string{ReasonBadTime}},
		"one fault, one good":            {`[{"n":"gravity","v":1.01},{"n":"temperature"}]`, []want{{detect.Gravity, 1.01, noon}}, []string{ReasonBadSenML}},
		"other names are ignored":        {`[{"n":"battery","u":"V","v":3.7},{"n":"gravity","v":1.01}]`, []want{{detect.Gravity, 1.01, noon}}, nil},
		"only other names":               {`[{"n":"battery","u":"V","v":3.7}]`, nil, []string{ReasonNoQuantity}},
		"nothing":                        {`[]`, nil, []string{ReasonNoQuantity}},
		"unit of another kind":           {`[{"n":"temperature","u":"Pa","v":14}]`, nil, []string{ReasonUnknownUnit}},
		"unit that is not registered":    {`[{"n":"temperature","u":"degF","v":57.9}]`, nil, []string{ReasonUnknownUnit}},
		"a text for a value":             {`[{"n":"gravity","vs":"1.01"}]`, nil, []string{ReasonBadNumber}},
		"infinite by its base":           {`[{"n":"gravity","bv":1.7e308,"v":1.7e308}]`, nil, []string{ReasonBadNumber}},
		"out of range":                   {`[{"n":"gravity","v":2}]`, nil, []string{ReasonOutOfRange}},
	} {
		t.Run(name, func(t *testing.T) {
			out := d.Decode(Message{Topic: "cellar/FV3/hyd-1", Payload: []byte(c.pack)}, noon)
			got := wants(out.Readings)
			require.Len(t, got, len(c.want), "%v", out.Refusals)
			for i := range got {
				assert.InDelta(t, c.want[i].value, got[i].value, 1e-9)
				got[i].value = c.want[i].value
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, c.reasons, reasons(out.Refusals), "%v", out.Refusals)
		})
	}
}
