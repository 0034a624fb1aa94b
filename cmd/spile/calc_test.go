package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// runCalc parses and runs a command line as main does, without leaving the process.
func runCalc(t *testing.T, line string) (string, error) {
	t.Helper()
	var command calcCommand
	parser, err := kong.New(&command, kong.Name("calc"))
	require.NoError(t, err)
	_, err = parser.Parse(strings.Fields(line))
	require.NoError(t, err)
	var out, complaints bytes.Buffer
	err = command.Run(&streams{out: &out, err: &complaints})
	assert.Empty(t, complaints.String())
	return out.String(), err
}

// The figures themselves are held to handbooks in detect/beer/calc; here stands that the command carries them.
func TestCalcAnswersInJSON(t *testing.T) {
	for line, fields := range map[string][]string{
		"plato sg=1.048": {"plato"},
		"sg plato=12":    {"sg"},
		"correct sg=1.010 temperature=14.4degC calibration=20degC": {"sg"},
		"balling og=1.060 fg=1.011": {"abv", "abw", "real_extract", "apparent_attenuation", "real_attenuation",
			"co2_grams_per_liter"},
		"co2 temperature=38degF pressure=12psi":                                     {"grams_per_liter", "volumes"},
		"pressure temperature=38degF volumes=2.5":                                   {"kpa", "psi"},
		"freeze og=1.060 fg=1.011":                                                  {"celsius"},
		"package volumes=2.5 drop=0.5degP temperature=38degC":                       {"volumes", "kpa", "psi"},
		"balance temperature=14.4degC pressure=80kPa beer=20hL headspace=2hL":       {"dissolved_grams", "headspace_grams"},
		"cool temperature=14.4degC to=2degC pressure=80kPa beer=20hL headspace=2hL": {"gas_only_kpa", "kpa"},
		"spund temperature=38degF volumes=2.5":                                      {"kpa", "psi"},
	} {
		t.Run(line, func(t *testing.T) {
			out, err := runCalc(t, line)
			require.NoError(t, err)
			var answer map[string]any
			require.NoError(t, json.Unmarshal([]byte(out), &answer))
			for _, field := range fields {
				assert.IsType(t, 0.0, answer[field], field)
			}
			assert.NotContains(t, answer, "explain")
		})
	}
}

func TestCalcExplains(t *testing.T) {
	out, err := runCalc(t, "--explain sg plato=12")
	require.NoError(t, err)
	var answer struct {
		SG      float64 `json:"sg"`
		Explain struct {
			Formula, Steps, Source []string
			Range                  string
		} `json:"explain"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &answer))
	assert.InDelta(t, 1.04837, answer.SG, 1e-5)
	assert.NotEmpty(t, answer.Explain.Formula)
	assert.Contains(t, answer.Explain.Steps[0], "1.04837^3")
	assert.NotEmpty(t, answer.Explain.Source)
	assert.Contains(t, answer.Explain.Range, "degP")
}

func TestCalcListsItsCalculations(t *testing.T) {
	out, err := runCalc(t, "")
	require.NoError(t, err)
	for _, line := range []string{"spile calc plato sg=1.048", "spile calc package volumes=2.5 drop=0.5degP temperature=38degC"} {
		assert.Contains(t, out, line)
	}
	assert.Contains(t, out, "also takes altitude=0m inert=0kPa")
	for _, line := range strings.Split(strings.TrimSpace((&calcCommand{}).Help()), "\n") {
		assert.Contains(t, out, strings.TrimSpace(line))
	}
}

func TestCalcTellsUsageFromPhysics(t *testing.T) {
	for line, usage := range map[string]bool{
		"colour ebc=12":                     true,
		"plato gravity=1.048":               true,
		"plato sg":                          true,
		"plato =1.048":                      true,
		"plato sg=1.048 sg=1.050":           true,
		"co2 temperature=12psi pressure=12": true,
		"co2 temperature=38degF":            true,
		"plato sg=1.200":                    false,
		"co2 temperature=90degC pressure=1": false,
	} {
		t.Run(line, func(t *testing.T) {
			out, err := runCalc(t, line)
			require.Error(t, err)
			var wrong usageError
			assert.Equal(t, usage, errors.As(err, &wrong), "%v", err)
			assert.Empty(t, out, "a refusal is no answer")
		})
	}
}

// failing is a stream that is closed at the other end.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("the pipe is closed") }

func TestCalcReportsAClosedPipe(t *testing.T) {
	for _, command := range []calcCommand{{}, {Name: "plato", Figures: []string{"sg=1.048"}}} {
		assert.ErrorContains(t, command.Run(&streams{out: failing{}}), "the pipe is closed")
	}
}
