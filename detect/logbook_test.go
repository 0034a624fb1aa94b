package detect_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
	"spile/detect/beer"
)

var noonOfLog = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// parsed reads an event from JSON, as MQTT and HTTP do.
func parsed(t testing.TB, text string) (detect.Event, error) {
	t.Helper()
	var fields map[string]any
	require.NoError(t, json.Unmarshal([]byte(text), &fields))
	return detect.ParseEvent("FV3", fields, noonOfLog)
}

func TestEveryEventOfTheLog(t *testing.T) {
	for text, echo := range map[string]string{
		`{"event":"pitch","gravity":"12 degP","volume":"20 hL","beer":"Lock Gate","expected":1.011,"setpoint":"68 degF","yeast":"house, 4 L"}`: "FV3 pitch at 12:00: gravity 1.0484 SG (12.0 degP), volume 20.0 hL (17.0 bbl), beer Lock Gate, " +
			"expected 1.0110 SG (2.8 degP), setpoint 20.0 degC (68.0 degF), yeast house, 4 L",
		`{"event":"rest"}`:                                                        "FV3 rest at 12:00",
		`{"event":"rest","setpoint":20,"by":"Ada"}`:                               "FV3 rest at 12:00: setpoint 20.0 degC (68.0 degF) (by Ada)",
		`{"event":"vdk","result":"PASS"}`:                                         "FV3 vdk at 12:00: pass",
		`{"event":"crash","setpoint":"14.4 degC","time":"2026-03-02T02:10:00Z"}`:  "FV3 crash at 02:10: setpoint 14.4 degC (57.9 degF)",
		`{"event":"crash","setpoint":1,"time":"2026-03-01T23:10:00Z"}`:            "FV3 crash at 1 Mar 2026 23:10: setpoint 1.0 degC (33.8 degF)",
		`{"event":"yeast-off","volume":"1 hL"}`:                                   "FV3 yeast-off at 12:00: volume 1.0 hL (0.9 bbl)",
		`{"event":"dry-hop","mass":"9 kg","lot":42,"kind":"cold"}`:                "FV3 dry-hop at 12:00: mass 9.0 kg (19.8 lb), lot 42, kind cold",
		`{"event":"Dry Hop","mass":{"value":20,"unit":"lb"}}`:                     "FV3 dry-hop at 12:00: mass 9.1 kg (20.0 lb)",
		`{"event":"hops-off"}`:                                                    "FV3 hops-off at 12:00",
		`{"event":"seal"}`:                                                        "FV3 seal at 12:00",
		`{"event":"vent"}`:                                                        "FV3 vent at 12:00",
		`{"event":"vent","pressure":"70 kPa"}`:                                    "FV3 vent at 12:00: pressure 70.0 kPa (10.2 psi)",
		`{"event":"spund","pressure":"12 psig"}`:                                  "FV3 vent at 12:00: pressure 82.7 kPa (12.0 psi)",
		`{"event":"gas","hold":"12 psi"}`:                                         "FV3 gas at 12:00: hold 82.7 kPa (12.0 psi)",
		`{"event":"gas","hold":"off"}`:                                            "FV3 gas at 12:00: hold off",
		`{"event":"gas","to":80}`:                                                 "FV3 gas at 12:00: to 80.0 kPa (11.6 psi)",
		`{"event":"rouse"}`:                                                       "FV3 rouse at 12:00",
		`{"event":"add","what":"cherry pulp","mass":"30 kg","volume":"25 L"}`:     "FV3 add at 12:00: what cherry pulp, mass 30.0 kg (66.1 lb), volume 25.0 L (6.6 gal)",
		`{"event":"sample","volume":"500 mL"}`:                                    "FV3 sample at 12:00: volume 500 mL (16.9 fl oz)",
		`{"event":"work"}`:                                                        "FV3 work at 12:00: for 60 min",
		`{"event":"work","for":"1h30m"}`:                                          "FV3 work at 12:00: for 1.5 h",
		`{"event":"work","for":"20 min"}`:                                         "FV3 work at 12:00: for 20 min",
		`{"event":"probe","id":"hyd-1","state":"out"}`:                            "FV3 probe at 12:00: id hyd-1, out",
		`{"event":"transfer","to":"FV4","volume":"10 hL"}`:                        "FV3 transfer at 12:00: to FV4, volume 10.0 hL (8.5 bbl)",
		`{"event":"package","volume":"18 hL"}`:                                    "FV3 package at 12:00: volume 18.0 hL (15.3 bbl)",
		`{"event":"empty"}`:                                                       "FV3 empty at 12:00",
		`{"event":"tell","gravity":1.016,"by":"Ada"}`:                             "FV3 tell at 12:00: gravity 1.0160 SG (4.1 degP) (by Ada)",
		`{"event":"tell","temperature":"58 degF","stable":"48 h"}`:                "FV3 tell at 12:00: temperature 14.4 degC (58.0 degF), stable 2 days",
		`{"event":"tell","contact":"3 days","vdk":"due"}`:                         "FV3 tell at 12:00: contact 3 days, vdk due",
		`{"event":"note","note":"two\nlines"}`:                                    "FV3 note at 12:00: two lines",
		`{"event":"gravity","value":1.0118,"probe":"hyd-1"}`:                      "FV3 gravity at 12:00: 1.0118 SG (3.0 degP), probe hyd-1",
		`{"event":"temperature","value":57.9,"unit":"degF"}`:                      "FV3 temperature at 12:00: 14.4 degC (57.9 degF)",
		`{"event":"pitch","co2":"2.5 vol","abv":6.2}`:                             "FV3 pitch at 12:00: co2 4.91 g/L (2.50 vol), abv 6.2 %",
		`{"event":"forced","limit":"2.6 degP"}`:                                   "FV3 forced at 12:00: limit 1.0102 SG (2.6 degP)",
		`{"event":"strike","line":"5f2a90","note":"wrong tank"}`:                  "FV3 strike at 12:00: line 5f2a90, wrong tank",
		`{"event":"crash","setpoint":"58 degF","corrects":"5f2a90"}`:              "FV3 crash at 12:00: setpoint 14.4 degC (58.0 degF), corrects 5f2a90",
		`{"event":"pressure","pressure":"12 psi","note":"gauge on the manifold"}`: "FV3 pressure at 12:00: 82.7 kPa (12.0 psi), gauge on the manifold",
		`{"event":"co2","co2":"2.5 vol"}`:                                         "FV3 co2 at 12:00: 4.91 g/L (2.50 vol)",
	} {
		e, err := parsed(t, text)
		require.NoError(t, err, text)
		assert.Equal(t, echo, e.Echo())
		body, err := json.Marshal(e)
		require.NoError(t, err)
		var back detect.Event
		require.NoError(t, json.Unmarshal(body, &back), "%s", body)
		assert.Equal(t, e, back, "%s", body)
		again, err := parsed(t, string(body))
		require.NoError(t, err, "%s", body)
		assert.Equal(t, e, again, "what was written is read on every road")
	}
}

// TestTheLogCautionsWhereSomebodyCanBeHurt holds every deed at a tank to its words of caution, by what can go wrong.
func TestTheLogCautionsWhereSomebodyCanBeHurt(t *testing.T) {
	cautious := map[string][]string{
		"pitch": {"CO2", "alone", "relief"}, "rest": {"warms", "relief valve"}, "crash": {"pulled flat", "vacuum breaker"},
		"yeast-off": {"eyes and hands", "CO2", "slowly", "pulled flat"}, "hops-off": {"eyes and hands", "CO2", "slowly", "pulled flat"},
		"dry-hop": {"erupt", "prove it"}, "add": {"erupt", "prove it"}, "probe": {"erupt", "prove it"},
		"seal": {"relief valve", "plate", "no relief valve"}, "vent": {"slowly", "foam", "CO2", "alone", "no relief valve"},
		"gas": {"CO2", "alone"}, "rouse": {"foam", "gauge", "CO2"}, "sample": {"slowly", "eyes and hands"},
		"transfer": {"pulled flat"}, "package": {"burst", "gloves and eye protection", "rating", "local law"},
		"empty": {"pulled flat", "Caustic", "collapse"},
	}
	words := map[string]bool{ // said or measured: nobody opens anything for them
		"vdk": true, "forced": true, "work": true, "tell": true, "note": true, "strike": true,
		"gravity": true, "temperature": true, "pressure": true, "co2": true,
	}
	for _, kind := range detect.Logbook() {
		if words[kind.Name] {
			assert.Empty(t, kind.Caution, kind.Name)
			continue
		}
		require.Contains(t, cautious, kind.Name, "what can go wrong with it?")
		for _, word := range cautious[kind.Name] {
			assert.Contains(t, kind.Caution, word, kind.Name)
		}
	}
}

func TestFaultsOfTheLogNameTheMend(t *testing.T) {
	for text, want := range map[string][2]string{
		`{"event":"crash","setpoint":58}`:                         {detect.ReasonOutOfRange, "crash setpoint=58: 58 degC? write 58degF"},
		`{"event":"crash","setpoint":"58"}`:                       {detect.ReasonOutOfRange, "crash setpoint=58: 58 degC? write 58degF"},
		`{"event":"crash","setpoint":"58 degC"}`:                  {detect.ReasonOutOfRange, "crash setpoint=58 degC: 58 degC? write 58degF"},
		`{"event":"crash","setpoint":{"value":58,"unit":"degC"}}`: {detect.ReasonOutOfRange, "58 degC? write 58degF"},
		`{"event":"crash","setpoint":-6}`:                         {detect.ReasonOutOfRange, "crash setpoint=-6: beer or glycol? the setpoint is the beer's"},
		`{"event":"crash","setpoint":"24 degF"}`:                  {detect.ReasonOutOfRange, "beer or glycol? the setpoint is the beer's"},
		`{"event":"crash","setpoint":"140 degF"}`:                 {detect.ReasonOutOfRange, "expected -2 to 25 degC"},
		`{"event":"crash","setpoint":"cold"}`:                     {detect.ReasonBadNumber, "begins with no number"},
		`{"event":"crash","setpoint":"14 psi"}`:                   {detect.ReasonUnknownUnit, "is a pressure; a temperature is written in"},
		`{"event":"crash","setpoint":true}`:                       {detect.ReasonBadNumber, "true or false"},
		`{"event":"crash"}`:                                       {detect.ReasonBadField, `crash needs setpoint`},
		`{"event":"crash","setpont":14}`:                          {detect.ReasonBadField, `crash has no field "setpont": did you mean "setpoint"?`},
		`{"event":"crash","setpoint":14,"colour":"red"}`:          {detect.ReasonBadField, "crash takes setpoint, time, note, by, id"},
		`{"event":"dry-hop","mass":9}`:                            {detect.ReasonOutOfRange, "9 g? write 9kg"},
		`{"event":"dry-hop","kind":"warm"}`:                       {detect.ReasonBadField, `kind="warm": write cold or active`},
		`{"event":"vent","pressure":800}`:                         {detect.ReasonOutOfRange, "800 kPa? write 800mbar"},
		`{"event":"vent","pressure":"5 bar"}`:                     {detect.ReasonOutOfRange, "expected 0 to 400 kPa"},
		`{"event":"spund"}`:                                       {detect.ReasonBadField, "spund needs pressure"},
		`{"event":"gas","hold":"on"}`:                             {detect.ReasonBadNumber, "or off"},
		`{"event":"pitch","gravity":12}`:                          {detect.ReasonOutOfRange, "12 SG? write 12degP"},
		`{"event":"pitch","gravity":1048}`:                        {detect.ReasonOutOfRange, "write the gravity as 1.0480"},
		`{"event":"pitch","gravity":12,"setpoint":-9}`:            {detect.ReasonOutOfRange, "write 12degP; pitch setpoint=-9: beer or glycol?"},
		`{"event":"vdk"}`:                                         {detect.ReasonBadField, "vdk needs result"},
		`{"event":"probe","id":"a b","state":"in"}`:               {detect.ReasonBadField, detect.NameRule},
		`{"event":"gravity","value":1.01,"gravity":1.02}`:         {detect.ReasonBadField, "given twice"},
		`{"event":"note","note":{"a":1}}`:                         {detect.ReasonBadField, "note is an object: write a text"},
		`{"event":"dryhopp"}`:                                     {detect.ReasonUnknownEvent, `did you mean "dryhop"?`},
		`{"event":"bottling-line"}`:                               {detect.ReasonUnknownEvent, "write one of pitch, rest"},
		`{"mass":"9 kg"}`:                                         {detect.ReasonUnknownEvent, `"event" is nothing`},
		`{"event":"seal","time":"02:10"}`:                         {detect.ReasonBadTime, "RFC 3339"},
		`{"event":"seal","time":"2026-03-02T12:05:01Z"}`:          {detect.ReasonTimeAhead, "ahead of its arrival"},
		`{"event":"seal","time":"2024-02-28T12:00:00Z"}`:          {detect.ReasonTimeBehind, "two years behind"},
		`{"event":"seal","tank":"FV4"}`:                           {detect.ReasonBadField, "this is the log of FV3"},
		`{"event":"tell"}`:                                        {detect.ReasonBadField, "tell needs at least one of its fields"},
		`{"event":"tell","note":"soon"}`:                          {detect.ReasonBadField, "such as gravity=1.0118"},
		`{"event":"tell","stable":"2 min"}`:                       {detect.ReasonOutOfRange, "expected 1 to 720"},
		`{"event":"work","for":"3 days"}`:                         {detect.ReasonOutOfRange, "expected"},
		`{"event":"sample","volume":{"value":[1]}}`:               {detect.ReasonBadNumber, "a list"},
		`{"event":"transfer","to":"FV4","volume":"20 kg"}`:        {detect.ReasonUnknownUnit, "is a mass"},
	} {
		_, err := parsed(t, text)
		var problem *detect.InputError
		require.ErrorAs(t, err, &problem, text)
		assert.Equal(t, want[0], problem.Reason, text)
		assert.Contains(t, problem.Text, want[1], text)
	}
	_, err := detect.ParseEvent("F V", map[string]any{"event": "seal"}, noonOfLog)
	assert.ErrorContains(t, err, "tank")
}

func TestTypedEvents(t *testing.T) {
	for _, c := range []struct {
		name string
		args []string
		echo string
	}{
		{"crash", []string{"setpoint=58degF"}, "FV3 crash at 12:00: setpoint 14.4 degC (57.9 degF)"},
		{"vdk", []string{"pass"}, "FV3 vdk at 12:00: pass"},
		{"gas", []string{"off"}, "FV3 gas at 12:00: hold off"},
		{"probe", []string{"id=hyd-1", "out"}, "FV3 probe at 12:00: id hyd-1, out"},
		{"note", []string{"note=a = b", "by=Ada"}, "FV3 note at 12:00: a = b (by Ada)"},
	} {
		e, err := detect.ParseFields("FV3", c.name, c.args, noonOfLog)
		require.NoError(t, err)
		echo := c.echo
		if c.name == "crash" {
			echo = "FV3 crash at 12:00: setpoint 14.4 degC (58.0 degF)"
		}
		assert.Equal(t, echo, e.Echo())
	}
	for mend, args := range map[string][]string{
		"58 degC? write 58degF": {"setpoint=58"}, "write KEY=VALUE": {"58"}, "given twice": {"setpoint=1", "setpoint=2"},
		"the log of FV3": {"setpoint=1", "tank=FV4"},
	} {
		_, err := detect.ParseFields("FV3", "crash", args, noonOfLog)
		assert.ErrorContains(t, err, mend)
	}
	_, err := detect.ParseFields("FV3", "crahs", nil, noonOfLog)
	assert.ErrorContains(t, err, `did you mean "crash"?`)
}

func TestIdentityOfAnEvent(t *testing.T) {
	one := func(text string) string {
		e, err := parsed(t, text)
		require.NoError(t, err)
		return e.Identity()
	}
	hop := one(`{"event":"dry-hop","mass":"9 kg","time":"2026-03-02T09:00:00Z"}`)
	assert.Equal(t, hop, one(`{"time":1772442000,"event":"dryhop","mass":9000,"by":"Ada"}`), "written another way, it is the same")
	for _, other := range []string{
		`{"event":"dry-hop","mass":"9.1 kg","time":"2026-03-02T09:00:00Z"}`, `{"event":"dry-hop","mass":"9 kg","time":"2026-03-02T09:00:00.001Z"}`,
		`{"event":"add","mass":"9 kg","time":"2026-03-02T09:00:00Z"}`, `{"event":"dry-hop","mass":"9 kg","note":"x","time":"2026-03-02T09:00:00Z"}`,
	} {
		assert.NotEqual(t, hop, one(other))
	}
	assert.Equal(t, "a1", one(`{"event":"seal","id":"a1"}`))
	assert.Equal(t, "a1", one(`{"event":"probe","id":"a1","probe":"hyd-1","state":"in"}`))
}

func TestTimeOfAnEvent(t *testing.T) {
	e, err := detect.ParseEvent("FV3", map[string]any{"event": "seal"}, noonOfLog.Add(1500*time.Microsecond))
	require.NoError(t, err)
	assert.Equal(t, noonOfLog.Add(time.Millisecond), e.Time, "it happened on arrival")
	assert.Equal(t, e.Time, e.Arrived)
	e, err = parsed(t, `{"event":"seal","arrived":"2020-01-01T00:00:00Z"}`)
	require.NoError(t, err)
	assert.Equal(t, noonOfLog, e.Arrived, "nobody tells spile when it heard")
}

func TestCatalogueIsSound(t *testing.T) {
	seen := map[string]bool{}
	for _, kind := range detect.Logbook() {
		assert.NotEmpty(t, kind.Means)
		for _, name := range append(kind.Aliases, kind.Name) {
			assert.False(t, seen[name], name)
			seen[name] = true
			found, ok := detect.LookupEvent(name)
			assert.True(t, ok)
			assert.Equal(t, kind.Name, found.Name)
		}
		for _, f := range kind.Fields {
			assert.NotEmpty(t, f.Means, "%s %s", kind.Name, f.Name)
			if f.Kind != "" {
				assert.NotEmpty(t, beer.InsideUnit(f.Kind))
				assert.Less(t, f.Low, f.High)
			}
		}
	}
}

func TestTextsAreKeptHarmless(t *testing.T) {
	e, err := parsed(t, `{"event":"note","note":"a\u001b[31mb\u0000c"}`)
	require.NoError(t, err)
	assert.Equal(t, "a [31mb c", e.Word("note"))
	long := make([]byte, 1001)
	for i := range long {
		long[i] = 'x'
	}
	_, err = detect.ParseEvent("FV3", map[string]any{"event": "note", "note": string(long)}, noonOfLog)
	assert.ErrorContains(t, err, "longer than 1000")
	_, err = detect.ParseEvent("FV3", map[string]any{"event": "seal", "id": string(long)}, noonOfLog)
	assert.ErrorContains(t, err, "longer than 128")
}

func TestNames(t *testing.T) {
	for _, good := range []string{"F", "FV3", "hyd-1", "0.a_B-", "abcdefghijklmnopqrstuvwxyz012345"} {
		assert.True(t, detect.ValidName(good), good)
	}
	for _, bad := range []string{"", "-a", ".a", "_a", "a b", "a/b", "é", "a\x00", "+", "abcdefghijklmnopqrstuvwxyz0123456"} {
		assert.False(t, detect.ValidName(bad), bad)
	}
}

func TestNearest(t *testing.T) {
	known := []string{"tanks", "timezone", "webhooks"}
	for word, want := range map[string]string{"tnaks": "tanks", "tank": "tanks", "time-zone": "timezone", "webhook": "webhooks", "influx": "", "": ""} {
		assert.Equal(t, want, detect.Nearest(word, known), word)
	}
}

// Whatever JSON comes as an event: no panic, and what is taken is sound and
// survives being written and read.
func FuzzParseEvent(f *testing.F) {
	for _, seed := range []string{`{"event":"crash","setpoint":"58 degF"}`, `{"event":"gas","hold":"off","note":"x"}`, `{"event":"probe","id":"hyd-1","probe":"p","state":"in"}`,
		`{"event":"temperature","value":57.9,"unit":"degF"}`, `{"event":"dry-hop","mass":1e308}`, `{"event":"note","text":"\u2028é","id":"7","by":3}`, `{"event":"work","for":"1h30m"}`, `{"event":"work","for":"1 min"}`,
		`{"event":"note","note":"\u00000\u007f"}`, `{"event":"note","note":"\u0000"}`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var fields map[string]any
		if json.Unmarshal(text, &fields) != nil {
			return
		}
		e, err := detect.ParseEvent("FV3", fields, noonOfLog)
		if err != nil {
			var problem *detect.InputError
			require.ErrorAs(t, err, &problem)
			require.NotEmpty(t, problem.Text)
			return
		}
		kind, ok := detect.LookupEvent(e.Name)
		require.True(t, ok)
		for _, field := range kind.Fields {
			if amount, has := e.Amounts[field.Name]; has {
				require.True(t, amount >= field.Low && amount <= field.High)
			}
		}
		require.NotEmpty(t, e.Echo())
		body, err := json.Marshal(e)
		require.NoError(t, err)
		var back detect.Event
		require.NoError(t, json.Unmarshal(body, &back))
		require.Equal(t, e, back)
		require.Equal(t, e.Identity(), back.Identity())
	})
}
