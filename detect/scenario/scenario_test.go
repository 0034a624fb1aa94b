package scenario

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/cellarsim"
)

// bench is a file that says a little of everything.
const bench = `
# A story for people.
cellar: days 4, seed 9, start 2026-05-04T06:00:00+02:00, weather 0.5 kPa,
  fronts day 2 04:00 by -2 kPa over 10 h returning 30 h then 2026-05-06T02:00:00Z by 0.1 psi over 90 min
tank FV3: beer 12 bbl, headspace 2 hL, relief 15 psi, temperature 58 degF, pressure 12 psi,
  original 1.060, extract 3.6 degP, exchange 12 h      # goes on
config FV3: headspace 3 hL, not sealed, above 0.8 K
probe hyd-1: float, every 15 min, noise 0.0005, per-kelvin -0.0001 SG, at top
probe well-1: thermowell
probe head-1: gauge, factory-sealed, offset -0.4 kPa
list hand-1: gravity, every 1 h, from day 2 00:00, values 1.0140 x2 then nothing then 1.0140 to 1.0130 x3
at day 0 10:00: crash setpoint=58degF
at day 2 09:00: vent
at day 2 09:20: dry-hop mass=9kg lot="A 17, new", leach 0.03 degP
at day 2 09:40: seal, air 30 %, told 45 min
at day 3 00:00: creep 0.6 degP
at day 3 06:00: sample volume=2L, not logged
at day 3 07:00: note note="looks fine # really", only logged
expect no pressure-rise by day 3 00:00
expect refermentation as high between day 3 04:00 and day 4 10:00, returns by day 4 20:00
expect nothing else above low
`

func parse(t testing.TB, text string) *Scenario {
	t.Helper()
	s, err := Parse("night.scenario", text)
	require.NoError(t, err)
	return s
}

func TestParseReadsTheWholeLanguage(t *testing.T) {
	s := parse(t, bench)
	assert.Equal(t, time.Date(2026, 5, 4, 4, 0, 0, 0, time.UTC), s.Start)
	assert.Equal(t, time.Date(2026, 5, 3, 22, 0, 0, 0, time.UTC), s.dayOne, "midnight in the offset of the start")
	assert.Equal(t, 4*24*time.Hour, s.Length)
	assert.EqualValues(t, 9, s.Seed)
	assert.Equal(t, 0.5, s.Weather.Sigma)
	require.Len(t, s.Weather.Fronts, 2)
	assert.Equal(t, cellarsim.Front{Begins: 22 * time.Hour, Lasts: 10 * time.Hour, KPa: -2, Returns: 30 * time.Hour}, s.Weather.Fronts[0])
	assert.Equal(t, 46*time.Hour, s.Weather.Fronts[1].Begins)
	assert.Equal(t, 90*time.Minute, s.Weather.Fronts[1].Lasts)
	assert.InDelta(t, 0.689, s.Weather.Fronts[1].KPa, 0.001)
	assert.Equal(t, usualReturns, s.Weather.Fronts[1].Returns)

	require.Len(t, s.Tanks, 1)
	m := s.Tanks[0].Model
	assert.InDelta(t, 1408.2, m.BeerLiters, 0.1)
	assert.InDelta(t, 103.42, m.ReliefKPa, 0.01)
	assert.InDelta(t, 14.44, m.Celsius, 0.01)
	assert.Equal(t, m.Celsius, m.Cooling.Setpoint, "without a setpoint the thermostat holds the beer where it is")
	assert.InDelta(t, 14.74, m.OriginalPlato, 0.02)
	assert.Equal(t, 12*time.Hour, m.ExchangeLag)
	assert.Equal(t, 0.0005, m.Probes[0].Gravity.Noise)
	assert.True(t, m.Probes[2].Pressure.SealedRef)

	told := s.Settings()["FV3"]
	assert.Equal(t, 300.0, told.HeadspaceLiters, "the config says otherwise")
	assert.Equal(t, 200.0, m.HeadspaceLiters, "than what is true")
	assert.False(t, told.Sealed)
	assert.Equal(t, 0.8, told.DriftAbove)
	assert.Equal(t, map[string]detect.Place{"hyd-1": detect.Top}, told.At)
	assert.Len(t, s.Expectations, 3)
}

func TestParseTellsWhatIsLoggedFromWhatIsDone(t *testing.T) {
	script := parse(t, bench).Tanks[0].Model.Script
	logged, done := map[string]time.Duration{}, 0
	for _, a := range script {
		if line, ok := a.Do.(cellarsim.Line); ok {
			logged[line.Event] = a.Told
			continue
		}
		done++
	}
	assert.Equal(t, map[string]time.Duration{"crash": 0, "vent": 0, "dry-hop": 0, "seal": 45 * time.Minute, "note": 0}, logged)
	assert.Equal(t, 6, done, "crash, vent, hops, seal, creep and the sample nobody logged")
}

func TestParseErrorsNameThePlaceAndTheMend(t *testing.T) {
	const top = "tank FV3: beer 20 hL\nprobe hyd-1: float\n"
	for _, c := range []struct{ text, want string }{
		{"", `night.scenario:1: nothing is expected: end with "expect nothing else above low"`},
		{"tenk FV3: beer 20 hL", `:1: "tenk" begins no statement: did you mean "tank"?`},
		{"tank FV3 beer 20 hL", `:1: "tank": a statement has a colon and a space`},
		{"  beer 20 hL", `:1: an indented line goes on with the statement above`},
		{"tank FV3: beer 20 hL,", `:1: nothing stands behind the colon or between two commas`},
		{"tank FV3: beer 20 hL,\n  headspce 2 hL", `:2: tank FV3: "headspce 2 hL" is not known: did you mean "headspace"?`},
		{"tank FV3: beer 20 psi", `:1: tank FV3: beer: "20 psi"`},
		{"tank FV3: beer", `:1: tank FV3: beer: needs a figure behind it, in L`},
		{"tank FV3: beer 20 hL, beer 21 hL", `:1: tank FV3: beer is said twice`},
		{"tank FV3: temperature 58", `:1: tank FV3: temperature "58" is out of reach: write -2 to 40 degC`},
		{"tank FV3: air 0.3", `:1: tank FV3: air: "0.3" is no share: write it as 30 %`},
		{"tank FV3: air 130 %", `out of reach: write 0 to 100 %`},
		{"tank FV3: open wide", `:1: tank FV3: open: "wide" is too much`},
		{"tank F V: open", `:1: tank "F V": a name has`},
		{top + "tank FV3: open", `:3: tank FV3 is there already`},
		{top + "cellar: days 3", `:3: cellar: it stands once, above everything else`},
		{"cellar: days 3.5", `:1: cellar: days: "3.5" is no whole number`},
		{"cellar: start yesterday", `:1: cellar: start "yesterday" is no time: write RFC 3339`},
		{"cellar: start", `:1: cellar: start "" is no time: write RFC 3339`},
		{"cellar: fronts by -2 kPa over 10 h", `:1: cellar: fronts: "by" is no time: write day 3 04:00`},
		{"cellar: seed 2,\n  fronts day 3 04:00 by -2 kPa", `:2: cellar: fronts: say how far and how long, as in "day 3 04:00 by -2 kPa over 10 h"`},
		{"cellar: fronts day 3 04:00 over 10 h", `:1: cellar: fronts: say how far`},
		{"cellar: fronts day 3 04:00 -2 kPa over 10 h", `:1: cellar: fronts: "-2 kPa" is not known: write by, over, returning`},
		{"cellar: fronts day 3 04:00 by -2 kPa by -1 kPa over 10 h", `:1: cellar: fronts: by is said twice`},
		{"cellar: fronts day 3 04:00 by -20 kPa over 10 h", `:1: cellar: fronts: by "-20 kPa" is out of reach: write -10 to 10 kPa`},
		{"cellar: fronts day 3 04:00 by -2 kPa over 10 h then", `:1: cellar: fronts: over: "10 h then"`},
		{"cellar: fronts day 4 04:00 by -2 kPa over 10 h", `:1: cellar: fronts: day 4 04:00 lies outside of the scenario: move it, or make that longer`},
		{"cellar: fronts 0002-01-01T00:00:00Z by -2 kPa over 10 h", `:1: cellar: fronts: 0002-01-01T00:00:00Z lies outside`},
		{"probe hyd-1: float", `:1: there is no tank yet`},
		{top + "tank FV4: open\nprobe hyd-2: float", `:4: there are several tanks: say which`},
		{top + "probe FV9/hyd-2: float", `:3: there is no tank "FV9"`},
		{top + "probe hyd-1: gauge", `:3: probe hyd-1: the tank has it already`},
		{top + "probe head-1: manometer", `:3: probe head-1: "manometer" is no sort of probe: write float, thermowell, gauge or barometer`},
		{top + "probe head-1: gauge, per-kelvin 0.0001", `:3: probe head-1: "per-kelvin 0.0001" is not known`},
		{top + "list hyd-2: density, every 1 h, values 1", `:3: list hyd-2: "density" is nothing that a probe measures`},
		{top + "list hyd-2: gravity, values 1.01", `:3: list hyd-2: say how often and what`},
		{top + "list hyd-2: gravity, every 1 h, values 1.01 xmany", `:3: list hyd-2: "xmany" says no number of readings`},
		{top + "list hyd-2: gravity, every 1 h, values 1.01 x50000 then 1.01", `more than 50000 values`},
		{top + strings.Repeat("list hyd-2: gravity, every 1 h, values 1.01 x30000\n", 2), `:4: list hyd-2: more than 50000 values in all the lists`},
		{top + "at day 1 09:00: note note=" + strings.Repeat("x", 20_000), `:3: a clause of 20010 characters: at most 20000`},
		{top + "list hyd-2: gravity, every 1 h, from noon, values 1.01", `:3: "noon" is no time: write day 3 04:00`},
		{top + "at noon: vent", `:3: at: "noon" is no time`},
		{top + "at day 1: vent", `:3: at: a day and a time of day are missing`},
		{top + "at day one 09:00: vent", `:3: at: "one" is no day`},
		{top + "at day 1 24:00: vent", `:3: at: "24:00" is no time of day: write 04:00, up to 23:59`},
		{top + "at day 9 09:00: vent", `:3: at: day 9 09:00 is after the end of the scenario`},
		{top + "at day 1 09:00 FV4: vent", `:3: there is no tank "FV4"`},
		{top + "at day 1 09:00 FV3 FV4: vent", `is too much`},
		{top + "at day 1 09:00: crsh setpoint=2degC", `:3: unknown event "crsh": did you mean "crash"?`},
		{top + "at day 1 09:00: crash setpoint=58", `:3: crash setpoint=58: 58 degC? write 58degF`},
		{top + "at day 1 09:00: crash setpoint=-4degC", `beer or glycol? the setpoint is the beer's`},
		{top + "at day 1 09:00: vent id=7", `:3: vent: leave time, id and by out`},
		{top + "at day 1 09:00: vent, air 30 %", `:3: vent: "air 30 %" is not known: write not logged, only logged, told`},
		{top + "at day 1 09:00: vent, not logged, told 1 h", `:3: vent: it is not logged and yet told`},
		{top + "at day 1 09:00: note note=\"open", `:3: a quote is opened and not closed`},
		{top + "at day 1 09:00: stuck hyd-9", `:3: stuck: tank FV3 has no probe "hyd-9"`},
		{top + "at day 1 09:00: door 25 degC", `:3: door: say how long it stands open`},
		{top + "at day 0 09:00: creep 0.5 degP", `:3: creep: before the scenario begins only the log can be told`},
		{top + "at day 1 09:00: cooling stops", `:3: cooling: "cooling stops" is not known: did you mean "cooling fails"?`},
		{top + "expect vacuumm", `:3: expect: "vacuumm" is no alarm: did you mean "vacuum"?`},
		{top + "expect FV9: no leak", `:3: there is no tank "FV9"`},
		{top + "expect no leak as high", `:3: expect: "as" is not known here: write above PRIORITY`},
		{top + "expect leak above low", `:3: expect: "above" is not known here: write on PROBE, as PRIORITY`},
		{top + "expect leak as urgent", `:3: expect: as "urgent": write low, medium, high or critical`},
		{top + "expect nothing else above critical", `:3: expect: above "critical": write low, medium or high`},
		{top + "expect leak between day 2 04:00", `between takes two times`},
		{top + "expect leak between day 2 04:00 and day 1 04:00", `the second time is not after the first: swap them`},
		{top + "expect leak by day 2 04:00 sharp", `"sharp" is too much behind the time`},
		{top + "expect no leak, returns by day 2 04:00", `behind a comma stands "returns by day 3 04:00", after an alarm that should come`},
		{"tank FV3: open\nexpect no leak", `tank FV3 has no probe: add one`},
		{"tank FV3: open \xff", `:1: this is not UTF-8 text`},
		{strings.Repeat("# long\n", longestFile/7+1), `a scenario is a page or two; is this a capture?`},
	} {
		_, err := Parse("night.scenario", c.text)
		if assert.ErrorContains(t, err, c.want, "%.60s", c.text) {
			assert.Regexp(t, placed, err.Error())
		}
	}
}

// The example that explains the language is one of the scenarios that are played.
func TestTheExampleOfTheDocIsPlayed(t *testing.T) {
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	file, err := os.ReadFile("../../testdata/scenarios/01-vent-dose-close.scenario")
	require.NoError(t, err)
	var example strings.Builder
	for line := range strings.Lines(string(doc)) {
		if strings.HasPrefix(line, "// # Lines") {
			break
		}
		if text, ok := strings.CutPrefix(line, "//\t"); ok {
			example.WriteString(text)
		}
	}
	assert.Equal(t, string(file), example.String())
}

// Every word of the language stands in the package comment.
func TestTheDocNamesEveryClause(t *testing.T) {
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	names := append(append(namesOf(tankClauses), namesOf(configClauses)...), namesOf(cellarClauses)...)
	names = append(append(names, namesOf(whenClauses(nil, nil))...), namesOf(frontClauses)...)
	names = append(append(names, namesOf(logClauses)...), namesOf(listClauses(kPa))...)
	for _, table := range eventExtra {
		names = append(names, namesOf(table)...)
	}
	for _, m := range mishaps {
		names = append(names, namesOf(m.clauses)...)
	}
	for _, sort := range []string{"float", "thermowell", "gauge"} {
		names = append(append(names, sort), namesOf(probeClauses(kPa, sort))...)
	}
	for _, n := range names {
		n = strings.TrimPrefix(n, "at ") // of a probe's place
		assert.Regexp(t, `\b`+regexp.QuoteMeta(n)+`\b`, string(doc))
	}
}

func namesOf[T any](table []clause[T]) []string {
	var out []string
	for _, c := range table {
		out = append(out, c.name)
	}
	return out
}

// placed is how an error begins.
var placed = regexp.MustCompile(`^night\.scenario:[1-9][0-9]*: .`)

func FuzzParse(f *testing.F) {
	f.Add(bench)
	f.Add("expect FV3: probe-silent on hyd-1 after 2026-03-02T01:15:00Z, returns by 2026-03-02T02:00:00Z\n")
	paths, err := filepath.Glob("../../testdata/scenarios/*.scenario")
	require.NoError(f, err)
	require.NotEmpty(f, paths)
	for _, path := range paths {
		text, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(string(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse("night.scenario", text)
		if err != nil {
			assert.Regexp(t, placed, err.Error())
			return
		}
		assert.NotEmpty(t, s.Expectations)
		assert.LessOrEqual(t, s.Length, mostDays*24*time.Hour)
		again, err := Parse("night.scenario", text+"\n\n# the end")
		require.NoError(t, err, "a comment changes nothing")
		assert.Equal(t, s.Expectations, again.Expectations)
		// Held against silence, whatever should come is missing, and what should not is not there.
		err = s.Hold(nil, s.Start, s.End())
		for _, e := range s.Expectations {
			if !e.Never {
				assert.Error(t, err)
			}
		}
	})
}
