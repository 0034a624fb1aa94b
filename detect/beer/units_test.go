package beer

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseReadsEveryUnit(t *testing.T) {
	tests := []struct {
		text string
		kind Kind
		want float64
	}{
		{"1.0118", KindGravity, 1.0118},
		{"1.0118 SG", KindGravity, 1.0118},
		{"0.998", KindGravity, 0.998},
		{"12 degP", KindGravity, 1.04837}, // ASBC-type table: 12 degP is 1.04837
		{"12°P", KindGravity, 1.04837},
		{"14.4", KindTemperature, 14.4},
		{"14.4 degC", KindTemperature, 14.4},
		{"14.4degC", KindTemperature, 14.4},
		{" 14.4 °C ", KindTemperature, 14.4},
		{"58F", KindTemperature, 14.4444},
		{"58 degF", KindTemperature, 14.4444},
		{"-40 degF", KindTemperature, -40},
		{"\u22121 degC", KindTemperature, -1},
		{"273.15 K", KindTemperature, 0},
		{"1.44e1 c", KindTemperature, 14.4},
		{"80 kPa", KindPressure, 80},
		{"0.8 bar", KindPressure, 80},
		{"12 psi", KindPressure, 82.7371},
		{"12 psig", KindPressure, 82.7371},
		{"12 PSI", KindPressure, 82.7371},
		{"820 mbar", KindPressure, 82},
		{"820 hPa", KindPressure, 82},
		{"82000 Pa", KindPressure, 82},
		{"2 inHg", KindPressure, 6.77276},
		{"20 L", KindVolume, 20},
		{"20 hL", KindVolume, 2000},
		{"355 mL", KindVolume, 0.355},
		{"12 fl oz", KindVolume, 0.35488},
		{"1 bbl", KindVolume, 117.348},
		{"31 gal", KindVolume, 117.348},
		{"9 kg", KindMass, 9000},
		{"9", KindMass, 9},
		{"1 lb", KindMass, 453.592},
		{"16 oz", KindMass, 453.592},
		{"4.9 g/L", KindCO2, 4.9},
		{"2.5 vol", KindCO2, 4.9087},
		{"2.5 volumes", KindCO2, 4.9087},
		{"90 s", KindDuration, 0.025},
		{"30 min", KindDuration, 0.5},
		{"20m", KindDuration, 1.0 / 3},
		{"1h30m", KindDuration, 1.5},
		{"36h", KindDuration, 36},
		{"2 days", KindDuration, 48},
		{"2 d", KindDuration, 48},
		{"1.0 degC", KindDifference, 1},
		{"1.8 degF", KindDifference, 1},
		{"0.3 K", KindDifference, 0.3},
		{"0.5 degP", KindExtract, 0.5},
		{"2 points", KindExtract, 0.508},
		{"0.002 SG", KindExtract, 0.508},
		{"30 m", KindLength, 30},
		{"100 ft", KindLength, 30.48},
	}
	for _, tt := range tests {
		t.Run(tt.text+" as "+string(tt.kind), func(t *testing.T) {
			got, err := Parse(tt.text, tt.kind)
			require.NoError(t, err)
			assert.InDelta(t, tt.want, got, 1e-4*max(1, math.Abs(tt.want)/10))
		})
	}
}

func TestParseErrorNamesTheMend(t *testing.T) {
	tests := []struct {
		text string
		kind Kind
		want string
	}{
		{"12 psi", KindTemperature, `"12 psi" is a pressure; a temperature is written in degC or degF`},
		{"58 degX", KindTemperature, `"58 degX": unknown unit; a temperature is written in degC or degF`},
		{"58 degF", KindPressure, `"58 degF" is a temperature or a temperature difference; a pressure is written in kPa, bar or psi`},
		{"3 degP", KindVolume, `"3 degP" is a gravity or an extract difference; a volume is written in L, hL or bbl`},
		{"2 hL", KindMass, `"2 hL" is a volume; a mass is written in g, kg, lb or oz`},
		{"2.5 vol", KindPressure, `"2.5 vol" is a CO2 content; a pressure`},
		{"26.7 psia", KindPressure, `"26.7 psia" is an absolute pressure; give what the gauge shows`},
		{"14,4 degC", KindTemperature, `"14,4 degC" has a comma; write the decimals behind a point`},
		{"", KindMass, `"" begins with no number; a mass is written in g, kg, lb or oz`},
		{"cold", KindTemperature, `"cold" begins with no number`},
		{"NaN", KindTemperature, `"NaN" begins with no number`},
		{"Inf degC", KindTemperature, `"Inf degC" begins with no number`},
		{"1e999 degC", KindTemperature, `"1e999 degC" is beyond what a number holds`},
		{"1.7e308 hL", KindVolume, `"1.7e308 hL" is beyond what a number holds`},
		{"-300 degC", KindTemperature, `"-300 degC" is below absolute zero`},
		{"40 degP", KindGravity, `"40 degP": outside the range: extract 40 degP; the formula holds from`},
		{"1", Kind("colour"), `"1": there is no kind of figure called "colour"`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			_, err := Parse(tt.text, tt.kind)
			require.Error(t, err)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func TestNoNumberIsRefusedEitherWay(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, kind := range kinds {
			for _, unit := range append(Units(kind), "") {
				_, err := FromUnit(bad, unit, kind)
				require.Error(t, err, "%v %s", bad, unit)
				_, err = ToUnit(bad, unit, kind)
				require.Error(t, err, "%v %s", bad, unit)
			}
			assert.Equal(t, "unknown", Both(bad, kind))
		}
	}
}

func TestBothFromBeginsWithTheUnitThatIsRead(t *testing.T) {
	tests := []struct {
		value float64
		unit  string
		kind  Kind
		want  string
	}{
		{14.4, "degF", KindTemperature, "57.9 degF (14.4 degC)"},
		{14.4, "degC", KindTemperature, "14.4 degC (57.9 degF)"},
		{14.4, "", KindTemperature, "14.4 degC (57.9 degF)"},
		{82, "psi", KindPressure, "11.9 psi (82.0 kPa)"},
		{82, "bar", KindPressure, "0.820 bar (82.0 kPa)"},
		{1.0118, "degP", KindGravity, "3.0 degP (1.0118 SG)"},
		{1.2, "SG", KindGravity, "1.2000 SG"},
		{1.2, "degP", KindGravity, "1.2000 SG"},
		{14.4, "furlong", KindTemperature, "14.4 degC (57.9 degF)"},
		{math.NaN(), "degF", KindTemperature, "unknown"},
	}
	for _, tt := range tests {
		t.Run(tt.want, func(t *testing.T) { assert.Equal(t, tt.want, BothFrom(tt.value, tt.unit, tt.kind)) })
	}
}

func TestBothReadsAsABrewerWritesIt(t *testing.T) {
	tests := []struct {
		value float64
		kind  Kind
		want  string
	}{
		{14.4, KindTemperature, "14.4 degC (57.9 degF)"},
		{-0.01, KindTemperature, "0.0 degC (32.0 degF)"},
		{82, KindPressure, "82.0 kPa (11.9 psi)"},
		{1.0118, KindGravity, "1.0118 SG (3.0 degP)"},
		{0.998, KindGravity, "0.9980 SG (-0.5 degP)"},
		{1.2, KindGravity, "1.2000 SG"},
		{9000, KindMass, "9.0 kg (19.8 lb)"},
		{250, KindMass, "250 g (8.8 oz)"},
		{2000, KindVolume, "20.0 hL (17.0 bbl)"},
		{0.355, KindVolume, "355 mL (12.0 fl oz)"},
		{50, KindVolume, "50.0 L (13.2 gal)"},
		{4.9087, KindCO2, "4.91 g/L (2.50 vol)"},
		{36, KindDuration, "36.0 h (1.5 d)"},
		{1, KindDifference, "1.0 degC (1.8 degF)"},
		{0.508, KindExtract, "0.51 degP (2.0 points)"},
		{30, KindLength, "30 m (98 ft)"},
		{1, Kind("colour"), "unknown"},
	}
	for _, tt := range tests {
		t.Run(tt.want, func(t *testing.T) { assert.Equal(t, tt.want, Both(tt.value, tt.kind)) })
	}
}

func TestPrintTakesTheUnitAskedFor(t *testing.T) {
	got, err := Print(14.4, "°f", KindTemperature)
	require.NoError(t, err)
	assert.Equal(t, "57.9 degF", got)
	got, err = Print(82, "", KindPressure)
	require.NoError(t, err)
	assert.Equal(t, "82.0 kPa", got)
	_, err = Print(82, "degC", KindPressure)
	assert.ErrorContains(t, err, "a pressure is written in kPa")
	_, err = Print(math.Inf(1), "bar", KindPressure)
	assert.ErrorContains(t, err, "not a finite number")
	_, err = ToUnit(1e308, "mL", KindVolume)
	assert.EqualError(t, err, "1e+308 L is beyond what a number holds in mL")
	_, err = ToUnit(14.4, "degX", KindTemperature)
	assert.EqualError(t, err, `"degX": unknown unit; a temperature is written in degC or degF`)
}

func TestInsideUnitComesFirst(t *testing.T) {
	assert.Equal(t, "SG", InsideUnit(KindGravity))
	assert.Equal(t, "kPa", InsideUnit(KindPressure))
	assert.Empty(t, InsideUnit("colour"))
	assert.Equal(t, []string{"degC", "degF", "K"}, Units(KindTemperature))
	for _, kind := range kinds {
		got, err := FromUnit(1.05, InsideUnit(kind), kind)
		require.NoError(t, err)
		assert.Equal(t, 1.05, got, "%s", kind)
	}
}

// No spelling may mean two units of one kind, and no error may list a unit that Parse refuses.
func TestSpellingsAreUnique(t *testing.T) {
	for _, kind := range kinds {
		for i, u := range unitsOf[kind] {
			for _, spelling := range append([]string{u.name}, u.spellings...) {
				found, err := find(spelling, kind, spelling)
				require.NoError(t, err)
				assert.Equal(t, unitsOf[kind][i].name, found.name, "%s as a %s", spelling, kind)
			}
		}
	}
}

func TestUnitsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		name := rapid.SampledFrom(Units(kind)).Draw(t, "unit")
		value := rapid.Float64Range(0, 1e6).Draw(t, "value")
		if kind == KindGravity {
			value = rapid.Float64Range(lowestGravity, highestGravity).Draw(t, "gravity")
		}
		shown, err := ToUnit(value, name, kind)
		require.NoError(t, err)
		back, err := FromUnit(shown, name, kind)
		require.NoError(t, err)
		assert.InDelta(t, value, back, 1e-9*max(1, value))
		parsed, err := Parse(strconv.FormatFloat(shown, 'f', -1, 64)+" "+name, kind)
		require.NoError(t, err)
		assert.InDelta(t, back, parsed, 1e-9*max(1, value)) // a duration also goes by whole nanoseconds
	})
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{"14.4 degC", "58F", "12 psig", "9 kg", "1.0118", "-1", "1h30m", "1e9 d", "٣ kg", "1e-400"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, kind := range kinds {
			value, err := Parse(text, kind)
			if err != nil {
				continue
			}
			if !finite(value) {
				t.Fatalf("Parse(%q, %s) = %v", text, kind, value)
			}
			if Both(value, kind) == "unknown" && math.Abs(value) < 1e300 {
				t.Fatalf("Parse(%q, %s) = %v, which Both does not print", text, kind, value)
			}
		}
	})
}
