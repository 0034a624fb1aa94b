package page

import (
	"html"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/detect"
)

// faring are probes of FV3 that say how they fare.
func faring(o *Options) {
	o.Stamina = func(tank, probe string) Stamina {
		switch tank + "/" + probe {
		case "FV3/hyd-3":
			return Stamina{Battery: ptr(0.15), Signal: ptr(-71.4)}
		case "FV3/head-3":
			return Stamina{Battery: ptr(0.16)}
		case "FV3/hyd-9":
			return Stamina{Battery: ptr(0.02)} // out of the tank: it may lie in a drawer
		}
		return Stamina{}
	}
}

func TestAThermometerInFahrenheitIsAskedAbout(t *testing.T) {
	for name, tt := range map[string]struct {
		celsius float64
		empty   bool
		asked   bool
	}{
		"beer at 58 degF":        {58, false, true},
		"a crash to 34 degF":     {34, false, false}, // may be a warm fermentation as well
		"beer":                   {14.4, false, false},
		"a warm fermentation":    {40, false, false},
		"cleaned hot":            {80, true, false},
		"hotter than water gets": {120, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			view := alert.View{At: now, Tanks: []alert.TankView{{Status: detect.Status{
				Tank: "FV3", Empty: tt.empty, Last: map[detect.Quantity]detect.Latest{
					detect.Temperature: {Value: tt.celsius, Time: now, Probe: "well-3"},
				},
			}}}}
			s, _ := serve(t, func(o *Options) {
				o.View, o.Display = func() alert.View { return view }, detect.Display{Temperature: "degF"}
			})
			for _, target := range []string{"/", "/tanks/FV3"} {
				page := html.UnescapeString(ask(s, "GET", target, "").Body.String())
				assert.Equal(t, tt.asked, strings.Contains(page, "is too hot for beer: is well-3 in °F? Then let it say so"), "%s: %s", target, page)
			}
		})
	}
}

func TestBatteryAndSignalStandBesideTheirProbe(t *testing.T) {
	s, _ := serve(t, faring)
	page := said(t, ask(s, http.MethodGet, "/tanks/FV3", "").Body.String())
	assert.Contains(t, page, "Probe Heard Battery Signal head-3 40 min ago 16 % hyd-3 12 s ago 15 %, low -71 dBm hyd-9 out of the tank 2 %")
	const low = "The battery of hyd-3 is down to 15 %."
	assert.Contains(t, page, low)
	cellar := said(t, ask(s, http.MethodGet, "/", "").Body.String())
	assert.Contains(t, cellar, low)
	assert.NotContains(t, cellar, "battery of head-3")
	assert.NotContains(t, cellar, "battery of hyd-9")
	other := said(t, ask(s, http.MethodGet, "/tanks/FV4", "").Body.String())
	assert.Contains(t, other, "Probe Heard head-4", "none says anything: no empty columns")
}

func TestBatteryAndSignalOverTheAPI(t *testing.T) {
	s, _ := serve(t, faring)
	got := ask(s, http.MethodGet, "/api/v1/tanks/FV3", "")
	require.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, []any{
		map[string]any{"probe": "head-3", "last_heard": "2026-03-02T02:35:00Z", "out": false, "battery_ratio": 0.16},
		map[string]any{"probe": "hyd-3", "last_heard": "2026-03-02T03:14:48Z", "out": false, "battery_ratio": 0.15, "signal_dbm": -71.4},
		map[string]any{"probe": "hyd-9", "out": true, "battery_ratio": 0.02},
	}, object(t, got.Body.String())["probes"])
}
