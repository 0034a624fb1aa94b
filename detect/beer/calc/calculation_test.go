package calc

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"spile/detect/beer"
)

// figures splits an example as the command line does.
func figures(t require.TestingT, example string) map[string]string {
	args := map[string]string{}
	for _, figure := range strings.Fields(example) {
		key, value, ok := strings.Cut(figure, "=")
		require.True(t, ok, figure)
		args[key] = value
	}
	return args
}

// What programs outside rely on: these names, these keys, these fields; and the figures a handbook gives.
func TestRunAnswers(t *testing.T) {
	tests := []struct {
		line   string
		source string
		want   map[string][2]float64 // the figure, and how far off it may be
	}{
		{"plato sg=1.048", "ASBC table (from memory)", map[string][2]float64{"plato": {11.91, 0.005}}},
		{"sg plato=12", "ASBC table (from memory)", map[string][2]float64{"sg": {1.04837, 0.00002}}},
		{"sg plato=12degP", "ASBC table (from memory)", map[string][2]float64{"sg": {1.04837, 0.00002}}},
		{"correct sg=1.010 temperature=14.4degC calibration=20degC", "water 999.191, glass 25e-6",
			map[string][2]float64{"sg": {1.01 * 998.207 / 999.191 / (1 - 25e-6*5.6), 0.00001}}},
		{"water temperature=68degF", "Tanaka 2001", map[string][2]float64{"kg_per_m3": {998.2067, 0.0001}}},
		{"balling og=1.060 fg=1.011", "Balling by hand", map[string][2]float64{
			"abv": {6.54, 0.01}, "abw": {5.117, 0.002}, "real_extract": {4.971, 0.002}, "apparent_attenuation": {80.9, 0.1},
			"real_attenuation": {66.3, 0.1}, "co2_grams_per_liter": {49.39, 0.05}}},
		{"drop drop=1degP og=12degP", "Balling by hand", map[string][2]float64{
			"grams_per_liter": {3.91, 0.01}, "volumes": {1.99, 0.01}, "abv": {0.52, 0.002}}},
		{"freeze og=1.060 fg=1.011", "colder than water with its alcohol alone, -2.14; the old rule, warm signs",
			map[string][2]float64{"celsius": {-2.5, 0.3}, "alarm_celsius": {-1.36, 0.01}}},
		{"co2 temperature=38degF pressure=12psi", "Miller 1994, table I", map[string][2]float64{
			"volumes": {2.57, 0.02}, "grams_per_liter": {2.57 * 1.9635, 0.04}, "uncertainty": {0.06, 0}}},
		{"co2 temperature=38degF pressure=14.5psi altitude=5000ft", "the same beer at 5000 ft, chart: +0.5 psi per 1000 ft",
			map[string][2]float64{"volumes": {2.57, 0.03}}},
		{"pressure temperature=38degF volumes=2.5", "brewers' chart", map[string][2]float64{
			"psi": {11.3, 0.2}, "kpa": {11.3 * 6.895, 1.4}}},
		{"spund temperature=38degF volumes=4.91g/L", "the same", map[string][2]float64{"psi": {11.3, 0.2}}},
		{"atmosphere altitude=1000m", "ISO 2533 (from memory)", map[string][2]float64{"kpa": {89.875, 0.01}, "psi": {13.035, 0.01}}},
		{"package volumes=2.5 drop=0.5degP temperature=38degC", "2.5 and half of 1.99 volumes; chart extended",
			map[string][2]float64{"volumes": {3.5, 0.02}, "psi": {80, 3}, "kpa": {80 * 6.895, 20}, "psi_high": {91.5, 3}}},
		{"balance temperature=14.4degC pressure=80kPa beer=20hL headspace=2hL", "European formula; gas law",
			map[string][2]float64{"dissolved_grams": {7060, 420}, "headspace_grams": {668, 3}, "total_grams": {7728, 420}}},
		{"cool temperature=20degC to=1degC pressure=0 beer=95L headspace=5L", "gas law; European formula",
			map[string][2]float64{"gas_only_psi": {-0.95, 0.01}, "psi": {-6.6, 0.3}}},
		{"rise temperature=2degC pressure=60kPa beer=90L headspace=10L drop=1points", "European formula, less 5 % of CO2",
			map[string][2]float64{"psi": {60/6.895 + 4.7*0.96, 0.3}}},
		{"convert temperature=58degF", "by hand", map[string][2]float64{"degC": {14.4444, 0.0001}, "degF": {58, 0.0001}}},
	}
	for _, tt := range tests {
		t.Run(tt.line, func(t *testing.T) {
			name, example, _ := strings.Cut(tt.line, " ")
			result, err := Run(name, figures(t, example))
			require.NoError(t, err)
			for field, want := range tt.want {
				got, ok := result.Value(field)
				require.True(t, ok, "no field %s", field)
				assert.InDelta(t, want[0], got, want[1]+1e-9, "%s: %s", field, tt.source)
			}
		})
	}
}

// Every entry is whole: its example runs, its fields come in the order it documents, and it tells where it is from.
func TestEveryCalculationIsWhole(t *testing.T) {
	names := map[string]bool{}
	for _, c := range All() {
		t.Run(c.Name, func(t *testing.T) {
			assert.False(t, names[c.Name], "two calculations have one name")
			names[c.Name] = true
			for _, text := range append(append([]string{c.Meaning, c.Example, c.Range}, c.Formula...), c.Source...) {
				assert.NotEmpty(t, text)
			}
			assert.NotEmpty(t, c.Formula)
			assert.NotEmpty(t, c.Source)
			result, err := Run(c.Name, figures(t, c.Example))
			require.NoError(t, err)
			if c.Name != "convert" {
				require.Len(t, result.Figures, len(c.Outputs))
				for i, out := range c.Outputs {
					assert.Equal(t, out.Name, result.Figures[i].Name)
				}
			}
			for _, f := range result.Figures {
				assert.False(t, math.IsNaN(f.Value) || math.IsInf(f.Value, 0), f.Name)
			}
		})
	}
}

func TestCautionsStandWhereSomebodyCanBeHurt(t *testing.T) {
	for name, word := range map[string]string{
		"pressure": "relief valve", "spund": "relief valve", "rise": "relief valve", "cool": "vacuum", "package": "shielded",
	} {
		c, err := Find(name)
		require.NoError(t, err)
		result, err := Run(name, figures(t, c.Example))
		require.NoError(t, err)
		assert.Contains(t, result.Caution, word, name)
		assert.Contains(t, result.Caution, "decide", name)
	}
}

func TestRunNamesWhatItAssumed(t *testing.T) {
	result, err := Run("package", figures(t, "volumes=2.5 drop=0.5degP temperature=38degC"))
	require.NoError(t, err)
	assert.Contains(t, result.Assumed, "original extract 12 degP")
	assert.Contains(t, result.Assumed, "headspace 0 mL")
	known, err := Run("package", figures(t, "volumes=2.5 drop=0.5degP temperature=38degC og=1.060 headspace=15mL"))
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(known.Assumed, "; "), "original extract")
	assert.NotContains(t, known.Assumed, "headspace 0 mL")
	still, err := Run("package", figures(t, "volumes=2.5 temperature=38degC"))
	require.NoError(t, err)
	assert.NotContains(t, strings.Join(still.Assumed, "; "), "original extract", "without a drop it does not matter")
}

// What More offers must be what Run takes, at the value that stands without it.
func TestMoreIsWhatStandsOtherwise(t *testing.T) {
	for _, c := range All() {
		if c.Name == "convert" {
			continue // one figure, whichever
		}
		bare, err := Run(c.Name, figures(t, c.Example))
		require.NoError(t, err)
		args := figures(t, c.Example)
		for key, value := range figures(t, c.More()) {
			if value != "" {
				args[key] = value
			}
		}
		full, err := Run(c.Name, args)
		require.NoError(t, err, c.Name)
		assert.Equal(t, bare.Figures, full.Figures, c.Name)
	}
	balance, err := Find("balance")
	require.NoError(t, err)
	assert.Equal(t, "altitude=0m inert=0kPa", balance.More())
}

func TestRunRefuses(t *testing.T) {
	tests := []struct {
		line  string
		usage bool // the caller's error, not physics
		want  string
	}{
		{"colour ebc=12", true, `no calculation is called "colour"; there are plato, sg, correct,`},
		{"plato gravity=1.048", true, `plato: there is no "gravity" here; it takes sg`},
		{"co2 temperature=38degF", true, "co2: pressure is missing; for example: spile calc co2 temperature=38degF pressure=12psi"},
		{"co2 temperature=12psi pressure=12psi", true, `co2: temperature: "12psi" is a pressure; a temperature is written in`},
		{"co2 temperature=cold pressure=12psi", true, `temperature: "cold" begins with no number`},
		{"pressure temperature=2 volumes=NaN", true, `"NaN vol" begins with no number`},
		{"convert", true, "give one figure"},
		{"convert mass=1kg volume=1L", true, "2 were given"},
		{"plato sg=1.2", false, "plato: outside the range: gravity 1.2 SG; the formula holds from 1 to 1.11 SG"},
		{"plato sg=40degP", false, `sg: "40degP": outside the range`},
		{"sg plato=30", false, "extract 30 degP"},
		{"correct sg=1.010 temperature=90degC", false, "beer temperature 90 degC"},
		{"water temperature=-5degC", false, "water temperature -5 degC"},
		{"balling og=1.010 fg=1.060", false, "denser than its wort"},
		{"drop drop=-1degP", false, "drop -1 degP"},
		{"drop drop=1degP og=1.2", false, "gravity 1.2 SG"},
		{"freeze og=1.2 fg=1.010", false, "gravity 1.2 SG"},
		{"freeze og=1.110 fg=0.985", false, "alcohol"},
		{"co2 temperature=60degC pressure=1bar", false, "beer temperature 60 degC"},
		{"co2 temperature=2degC pressure=1bar altitude=30km", true, `altitude: "30km": unknown unit`},
		{"co2 temperature=2degC pressure=1bar altitude=9000m", false, "altitude 9000 m"},
		{"pressure temperature=2degC volumes=99", false, "CO2 content"},
		{"pressure temperature=2degC volumes=2 altitude=9000m", false, "altitude"},
		{"atmosphere altitude=9000m", false, "altitude"},
		{"package volumes=2.5 temperature=38degC beer=0L", false, "a package holds some"},
		{"package volumes=6 temperature=38degC", false, "keep them cold, and shielded"},
		{"package volumes=2.5 temperature=38degC drop=-1degP", false, "drop"},
		{"balance temperature=2degC pressure=80kPa beer=0L headspace=2hL", false, "a tank holds 0 L"},
		{"balance temperature=2degC pressure=80kPa beer=1L headspace=2L altitude=9000m", false, "altitude"},
		{"cool temperature=2degC to=60degC pressure=80kPa beer=20hL headspace=2hL", false, "beer temperature 60 degC"},
		{"cool temperature=2degC to=1degC pressure=80kPa beer=0hL headspace=2hL", false, "a tank holds 0 L"},
		{"rise temperature=2degC pressure=80kPa beer=0hL headspace=2hL drop=1", false, "a tank holds 0 L"},
		{"rise temperature=2degC pressure=80kPa beer=20hL headspace=2hL drop=20", false, "CO2 in the head space"},
		{"rise temperature=2degC pressure=80kPa beer=20hL headspace=2hL drop=99", false, "drop 99 degP"},
		{"convert gravity=1.2", false, "gravity 1.2 SG"},
	}
	for _, tt := range tests {
		t.Run(tt.line, func(t *testing.T) {
			name, example, _ := strings.Cut(tt.line, " ")
			_, err := Run(name, figures(t, example))
			require.Error(t, err)
			assert.Contains(t, err.Error(), tt.want)
			if tt.usage {
				assert.ErrorIs(t, err, ErrUsage)
			} else {
				assert.ErrorIs(t, err, beer.ErrRange)
				assert.NotErrorIs(t, err, ErrUsage)
			}
		})
	}
}

func TestResultIsOneFlatObjectInOrder(t *testing.T) {
	result, err := Run("balance", figures(t, "temperature=14.4degC pressure=80kPa beer=20hL headspace=2hL"))
	require.NoError(t, err)
	line, err := json.Marshal(result)
	require.NoError(t, err)
	assert.Regexp(t, `^\{"dissolved_grams":[0-9.]+,"headspace_grams":[0-9.]+,"total_grams":.*,`+
		`"assumed":\["altitude 0 m","inert 0 kPa"\]\}$`, string(line))
	var back map[string]any
	require.NoError(t, json.Unmarshal(line, &back))
	dissolved, ok := result.Value("dissolved_grams")
	require.True(t, ok)
	assert.InEpsilon(t, dissolved, back["dissolved_grams"], 1e-5)

	explained, err := result.MarshalExplained()
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(explained, &back))
	explain, ok := back["explain"].(map[string]any)
	require.True(t, ok)
	for _, part := range []string{"inputs", "formula", "steps", "source", "range"} {
		assert.NotEmpty(t, explain[part], part)
	}
	_, ok = result.Value("colour")
	assert.False(t, ok)
}

func TestFiguresAreWrittenPlainly(t *testing.T) {
	assert.Equal(t, 1.04837, significant(1.0483749))
	assert.False(t, math.Signbit(significant(math.Copysign(0, -1))))
	assert.Equal(t, "12345700", digits(12345678))
	assert.Equal(t, "0.0000123457", digits(0.0000123456789))
}

// Whatever a caller gives, an answer has numbers or there is a reason.
func TestRunNeverAnswersNonsense(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(All()).Draw(t, "calculation")
		args := figures(t, c.Example)
		for _, in := range c.Inputs {
			if rapid.Bool().Draw(t, "spoil") {
				args[in.Name] = rapid.SampledFrom([]string{"0", "-1", "1e9", "1e308", "1.01", "38degF", "2.5vol", "1e-9", "x", ""}).
					Draw(t, in.Name)
			}
		}
		result, err := Run(c.Name, args)
		if err != nil {
			return
		}
		line, err := result.MarshalExplained()
		require.NoError(t, err)
		require.True(t, json.Valid(line))
	})
}
