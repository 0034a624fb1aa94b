package detect_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestFiguresThatDoNotFitTheTankAreAskedAbout(t *testing.T) {
	tank := detect.Settings{BeerLiters: 2000, HeadspaceLiters: 200, ReliefKPa: 100}
	tests := map[string]string{
		`{"event":"vent","pressure":"120 kPa"}`:   "vent pressure=120.0 kPa (17.4 psi): the relief valve of FV3 is set at 100.0 kPa (14.5 psi)",
		`{"event":"vent","pressure":"12 psi"}`:    "",
		`{"event":"vent","pressure":"100 kPa"}`:   "",
		`{"event":"vent"}`:                        "",
		`{"event":"gas","hold":"30 psi"}`:         "gas hold=206.8 kPa (30.0 psi): the relief valve",
		`{"event":"gas","to":"1.5 bar"}`:          "gas to=150.0 kPa (21.8 psi): the relief valve",
		`{"event":"gas","hold":"off"}`:            "",
		`{"event":"pitch","volume":20}`:           "pitch volume=20 L: in a tank for 20.0 hL (17.0 bbl)? write 20hL",
		`{"event":"pitch","volume":"20 hL"}`:      "",
		`{"event":"pitch","volume":"200 hL"}`:     "pitch volume=20000 L: FV3 holds 22.0 hL (18.7 bbl) in all",
		`{"event":"package","volume":"0.5 hL"}`:   "",
		`{"event":"transfer","volume":"40 hL"}`:   "transfer volume=4000 L: FV3 holds",
		`{"event":"dry-hop","mass":20}`:           "dry-hop mass=20 g: into 20.0 hL (17.0 bbl)? write 20kg or 20lb",
		`{"event":"dry-hop","mass":"9 kg"}`:       "",
		`{"event":"dry-hop","mass":"900 kg"}`:     "dry-hop mass=900000 g: 450 g/L? look at the unit",
		`{"event":"sample","volume":"500 mL"}`:    "",
		`{"event":"crash","setpoint":"14.4degC"}`: "",
	}
	for text, want := range tests {
		e, err := parsed(t, text)
		require.NoError(t, err, text)
		err = tank.Doubt(e)
		if want == "" {
			assert.NoError(t, err, text)
		} else {
			assert.ErrorContains(t, err, want, text)
		}
		assert.NoError(t, detect.Settings{}.Doubt(e), "of a tank of which nothing is known: %s", text)
	}
}
