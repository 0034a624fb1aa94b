package page

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

func TestAFormWritesTheLog(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	at := now
	s, kept := serve(t, func(o *Options) {
		o.Zone = lisbon
		o.Clock = func() time.Time { return at }
	})
	at = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)
	form := url.Values{
		"event": {"dry-hop"}, "id": {"form-1"}, "v.mass": {" 20 "}, "u.mass": {"lb"}, "v.lot": {"north field"}, "c.kind": {"cold"},
		"time": {"2026-07-01T12:30"}, "note": {"two bags"}, "by": {"Ines"},
	}
	got := submit(s, "/tanks/FV3/log", form)
	require.Equal(t, http.StatusSeeOther, got.Code, got.Body.String())
	require.Len(t, kept.events, 3)
	e := kept.events[2]
	assert.Regexp(t, "^form-1-[0-9a-f]{12}$", e.ID)
	assert.Equal(t, "/tanks/FV3?still&logged="+e.ID, got.Header().Get("Location"))
	assert.Equal(t, "dry-hop", e.Name)
	assert.InDelta(t, 20*453.59237, e.Amounts["mass"], 1e-6)
	assert.Equal(t, map[string]string{"lot": "north field", "kind": "cold", "note": "two bags"}, e.Words)
	assert.Equal(t, time.Date(2026, 7, 1, 11, 30, 0, 0, time.UTC), e.Time.UTC(), "half past twelve in Lisbon in summer")
	assert.Equal(t, "Ines", e.By)

	again := submit(s, "/tanks/FV3/log", form)
	assert.Equal(t, http.StatusSeeOther, again.Code)
	assert.Len(t, kept.events, 3, "pressed twice, written once")
	form.Set("v.mass", "22")
	submit(s, "/tanks/FV3/log", form)
	assert.Len(t, kept.events, 4, "gone back to and changed: another event")
	page := said(t, ask(s, "GET", got.Header().Get("Location"), "").Body.String())
	assert.Contains(t, page, "Logged. FV3 dry-hop at 12:30: mass 9.1 kg (20.0 lb)")
}

// Every event of the logbook can be written with its form.
func TestEveryEventHasAForm(t *testing.T) {
	for _, kind := range detect.Logbook() {
		t.Run(kind.Name, func(t *testing.T) {
			s, kept := serve(t, nil)
			form := url.Values{"event": {kind.Name}, "id": {"form-1"}, "note": {"for a test"}}
			for _, in := range s.inputs(kind, nil) {
				switch {
				case in.Units != nil:
					form.Set("v."+in.Name, map[string]string{"gravity": "1.05", "expected": "1.01", "limit": "1.01", "hops": "1.01", "value": "1.1"}[in.Name])
					if form.Get("v."+in.Name) == "" {
						form.Set("v."+in.Name, "5")
					}
					form.Set("u."+in.Name, in.Unit)
				case in.Choices != nil:
					form.Set("c."+in.Name, in.Choices[0])
				case in.Name == "line":
					form.Set("v.line", kept.events[0].Line())
				case in.Name != "note":
					form.Set("v."+in.Name, "word-1")
				}
			}
			got := submit(s, "/tanks/FV3/log", form)
			require.Equal(t, http.StatusSeeOther, got.Code, said(t, got.Body.String()))
			require.Len(t, kept.events, 3)
			for _, f := range kind.Fields {
				_, figure := kept.events[2].Amounts[f.Name]
				assert.True(t, figure || kept.events[2].Words[f.Name] != "", "%s is lost", f.Name)
			}
			for name := range form {
				if name == "id" || name == "note" || name == "event" {
					continue
				}
				page := ask(s, "GET", "/tanks/FV3/log?event="+kind.Name, "").Body.String()
				assert.Contains(t, page, `name="`+name+`"`, "the form has the input")
			}
		})
	}
}

func TestAFormThatIsRefusedKeepsWhatWasTyped(t *testing.T) {
	tests := []struct {
		name  string
		form  url.Values
		holds []string
	}{
		{"degrees mixed up", url.Values{"event": {"crash"}, "v.setpoint": {"58"}, "u.setpoint": {"degC"}, "by": {"Rui"}}, []string{"Not logged.", "58°F", `value="58"`, `value="Rui"`}},
		{"a comma", url.Values{"event": {"crash"}, "v.setpoint": {"14,4"}, "u.setpoint": {"degC"}}, []string{"14.4", `value="14,4"`}},
		{"nothing typed", url.Values{"event": {"crash"}}, []string{"setpoint"}},
		{"a time that cannot be read", url.Values{"event": {"seal"}, "time": {"soon"}}, []string{"choose it in the field"}},
		{"a time ahead", url.Values{"event": {"seal"}, "time": {"2026-03-02T05:00"}}, []string{"ahead of its arrival", `value="2026-03-02T05:00"`}},
		{"no event", url.Values{}, []string{"Not logged.", "What was done to FV3?"}},
		{"the chosen unit", url.Values{"event": {"vent"}, "v.pressure": {"900"}, "u.pressure": {"psi"}}, []string{`<option value="psi" selected>`}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, kept := serve(t, nil)
			test.form.Set("id", "form-1")
			got := submit(s, "/tanks/FV3/log", test.form)
			assert.Equal(t, http.StatusBadRequest, got.Code)
			for _, words := range test.holds {
				assert.Contains(t, got.Body.String(), words)
			}
			if test.form.Get("event") != "" {
				assert.Contains(t, got.Body.String(), `name="id" value="form-1"`, "the same form, sent again")
			}
			assert.Len(t, kept.events, 2)
		})
	}
}

func TestAFormShowsAFailingDisk(t *testing.T) {
	s, kept := serve(t, discard)
	kept.fail = errDisk
	got := submit(s, "/tanks/FV3/log", url.Values{"event": {"seal"}, "id": {"form-1"}})
	assert.Equal(t, http.StatusInternalServerError, got.Code)
	assert.Contains(t, got.Body.String(), "Not logged.")
	assert.NotContains(t, got.Body.String(), "secret")
}

func TestATypedUnitWins(t *testing.T) {
	f := detect.Field{Name: "setpoint", Kind: "temperature"}
	assert.Equal(t, "58F", typedValue(url.Values{"v.setpoint": {"58F"}, "u.setpoint": {"degC"}}, f))
	assert.Equal(t, "58 degF", typedValue(url.Values{"v.setpoint": {"58"}, "u.setpoint": {"degF"}}, f))
	assert.Empty(t, typedValue(url.Values{"u.setpoint": {"degF"}}, f))
	assert.Equal(t, "off", typedValue(url.Values{"c.hold": {"off"}, "v.hold": {"12"}}, detect.Field{Name: "hold", Kind: "pressure"}))
}

func TestTheRangeIsSaidInTheUnitShown(t *testing.T) {
	f := detect.Field{Kind: "pressure", Low: -101, High: 400}
	assert.Equal(t, "-14.65 to 58.02 psi", span(f, "psi"))
	assert.Equal(t, "-101 to 400 kPa", span(f, "kPa"))
	assert.Equal(t, "0.01 to 200000 L", span(detect.Field{Kind: "volume", Low: 0.01, High: 200_000}, "L"))
	assert.Empty(t, span(f, "furlong"))
}

func TestTooLargeAForm(t *testing.T) {
	s, kept := serve(t, nil)
	got := submit(s, "/tanks/FV3/log", url.Values{"event": {"note"}, "note": {string(make([]byte, maxBody))}})
	assert.Equal(t, http.StatusRequestEntityTooLarge, got.Code)
	assert.Len(t, kept.events, 2)
}

// What was to be done is done with the same step that signs in, and nothing of it is lost on the way.
func TestSigningInGoesOn(t *testing.T) {
	s, kept := serve(t, func(o *Options) { o.Token = "secret" })
	first := submit(s, "/tanks/FV3/log", url.Values{"event": {"seal"}, "id": {"form-1"}, "by": {"Ines"}})
	require.Equal(t, http.StatusUnauthorized, first.Code)
	carried := url.Values{}
	action := ""
	for _, n := range nodes(t, first.Body.String()) {
		if n.Data == "form" {
			action = attribute(n, "action")
		}
		if n.Data == "input" && attribute(n, "type") == "hidden" {
			carried.Set(attribute(n, "name"), attribute(n, "value"))
		}
	}
	assert.Equal(t, "/tanks/FV3/log", action)
	assert.Equal(t, url.Values{"event": {"seal"}, "id": {"form-1"}, "by": {"Ines"}}, carried)

	carried.Set("token", "wrong")
	wrong := submit(s, action, carried)
	assert.Equal(t, http.StatusUnauthorized, wrong.Code)
	assert.Contains(t, wrong.Body.String(), "That is not the token")
	assert.NotContains(t, wrong.Body.String(), `value="wrong"`)
	assert.Len(t, kept.events, 2)

	carried.Set("token", "secret")
	done := submit(s, action, carried)
	assert.Equal(t, http.StatusSeeOther, done.Code)
	require.Len(t, kept.events, 3)
	assert.Equal(t, "Ines", kept.events[2].By)

	cookie := done.Result().Cookies()[0]
	next := submit(s, "/alarms/creep/acknowledge", nil, func(r *http.Request) { r.AddCookie(cookie) })
	assert.Equal(t, http.StatusSeeOther, next.Code)
	assert.Equal(t, []string{"acknowledge|creep|page|"}, kept.acts)
}

func TestButtonsOfAnAlarm(t *testing.T) {
	s, kept := serve(t, nil)
	got := submit(s, "/alarms/creep/acknowledge", nil)
	assert.Equal(t, http.StatusSeeOther, got.Code)
	assert.Equal(t, "/alarms/creep", got.Header().Get("Location"))
	assert.NotContains(t, ask(s, "GET", "/alarms/creep", "").Body.String(), "Acknowledged means you know")

	submit(s, "/alarms/creep/shelve", url.Values{"for": {"30m"}, "why": {"sampling"}, "by": {"Ines"}})
	submit(s, "/alarms/creep/unshelve", nil)
	assert.Equal(t, []string{"acknowledge|creep|page|", "shelve|creep|Ines|sampling", "unshelve|creep|page|"}, kept.acts)

	refused := submit(s, "/alarms/over/shelve", url.Values{"for": {"2h"}, "why": {"I stand here"}})
	assert.Equal(t, http.StatusBadRequest, refused.Code)
	assert.Contains(t, said(t, refused.Body.String()), "for 60 min at most")
	assert.Contains(t, refused.Body.String(), `value="I stand here"`)
	assert.Equal(t, http.StatusConflict, submit(s, "/alarms/past/acknowledge", nil).Code)
	assert.Equal(t, http.StatusNotFound, submit(s, "/alarms/none/acknowledge", nil).Code)
}

// A messenger fetches a link before the person taps it.
func TestOpeningALinkAcknowledgesNothing(t *testing.T) {
	s, kept := serve(t, nil)
	for _, method := range []string{"GET", "HEAD"} {
		for _, target := range []string{"/alarms/creep", "/alarms/creep/acknowledge", "/alarms/creep/shelve", "/alarms/mute/unshelve"} {
			ask(s, method, target, "")
		}
	}
	assert.Empty(t, kept.acts)
}

func TestAVesselIsOfferedAnHourAtMost(t *testing.T) {
	s, _ := serve(t, nil)
	vessel := ask(s, "GET", "/alarms/over", "").Body.String()
	assert.Contains(t, vessel, `<option value="1h">`)
	assert.NotContains(t, vessel, `<option value="4h">`)
	assert.Contains(t, ask(s, "GET", "/alarms/creep", "").Body.String(), `<option value="72h">`)
}

func FuzzForm(f *testing.F) {
	for _, seed := range []string{
		"event=crash&v.setpoint=58&u.setpoint=degF&id=a", "event=probe&v.id=hyd-3&c.state=in", "event=gas&c.hold=off&v.hold=12", "time=2026-03-02T01%3A15&event=seal",
		"event=%00", "%", "token=x&event=seal", "event=note&note=%3Cscript%3E", "v.setpoint=1e999&event=crash", "a;b",
	} {
		f.Add(seed)
	}
	s, kept := serve(f, nil)
	first := kept.events
	f.Fuzz(func(t *testing.T, body string) {
		kept.events = first[:len(first):len(first)]
		got := ask(s, "POST", "/tanks/FV3/log", body, header("Content-Type", "application/x-www-form-urlencoded"))
		switch got.Code {
		case http.StatusSeeOther:
			require.LessOrEqual(t, len(kept.events), 3)
		case http.StatusBadRequest, http.StatusRequestEntityTooLarge:
			require.Len(t, kept.events, 2)
			require.Contains(t, got.Body.String(), "<h1>")
		default:
			t.Fatalf("status %d for %q", got.Code, body)
		}
	})
}
