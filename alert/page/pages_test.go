package page

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"spile/alert"
	"spile/detect"
)

// everyPage is a path to each template, with its forms.
var everyPage = []string{
	"/", "/tanks/FV3", "/tanks/FV2", "/tanks/FV3?logged=e2", "/tanks/FV3/log", "/tanks/FV3/log?event=dry-hop", "/tanks/FV3/log?event=gas",
	"/tanks/FV3/log?event=probe", "/tanks/FV3/log?event=note", "/alarms", "/alarms/creep", "/alarms/over", "/alarms/mute", "/alarms/past", "/sign-in", "/nowhere",
}

// nodes lists the elements of a page, in order.
func nodes(t *testing.T, page string) []*html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var all []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			all = append(all, n)
		}
	}
	return all
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func TestEveryInputHasALabelAndEveryIDIsOne(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token = "secret" })
	for _, target := range everyPage {
		labelled, ids := map[string]bool{}, map[string]bool{}
		all := nodes(t, ask(s, "GET", target, "").Body.String())
		for _, n := range all {
			if n.Data == "label" {
				labelled[attribute(n, "for")] = true
			}
			if id := attribute(n, "id"); id != "" {
				assert.False(t, ids[id], "%s: two elements have the id %s", target, id)
				ids[id] = true
			}
		}
		for _, n := range all {
			isInput := n.Data == "select" || n.Data == "textarea" || n.Data == "input" && attribute(n, "type") != "hidden"
			if isInput && attribute(n, "aria-label") == "" {
				assert.True(t, labelled[attribute(n, "id")], "%s: no label for %s", target, attribute(n, "name"))
			}
			if hint := attribute(n, "aria-describedby"); hint != "" {
				assert.True(t, ids[hint], "%s: no hint %s", target, hint)
			}
		}
	}
}

func TestPagesLoadNothingFromOutside(t *testing.T) {
	s, _ := serve(t, nil)
	for _, target := range everyPage {
		for _, n := range nodes(t, ask(s, "GET", target, "").Body.String()) {
			assert.NotContains(t, []string{"iframe", "object", "style"}, n.Data, target)
			if n.Data == "script" {
				assert.Nil(t, n.FirstChild, "%s: a script in the page", target)
				assert.Equal(t, s.script.Path(), attribute(n, "src"), target)
			}
			for _, a := range n.Attr {
				assert.False(t, strings.HasPrefix(a.Key, "on") || a.Key == "style", "%s: %s", target, a.Key)
				if a.Key == "href" || a.Key == "src" || a.Key == "srcset" || a.Key == "action" {
					assert.Regexp(t, `^(/[^/]|/$|#|\?)`, a.Val, target)
				}
			}
		}
	}
}

func TestLinksLeadSomewhere(t *testing.T) {
	s, _ := serve(t, nil)
	for _, target := range everyPage {
		for _, n := range nodes(t, ask(s, "GET", target, "").Body.String()) {
			if href, _, _ := strings.Cut(attribute(n, "href"), "#"); strings.HasPrefix(href, "/") {
				assert.Equal(t, http.StatusOK, ask(s, "GET", href, "").Code, "%s links to %s", target, href)
			}
		}
	}
}

func TestOnlyPagesWithNothingToFillInRenewThemselves(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Token = "secret" })
	for _, target := range everyPage {
		page := ask(s, "GET", target, "").Body.String()
		typed := false
		for _, n := range nodes(t, page) {
			typed = typed || n.Data == "textarea" || n.Data == "select" || n.Data == "input" && attribute(n, "type") != "hidden"
		}
		renews := strings.Contains(page, `http-equiv="refresh"`)
		assert.False(t, typed && renews, "%s would eat a half-filled form", target)
	}
	assert.Contains(t, ask(s, "GET", "/", "").Body.String(), `http-equiv="refresh" content="10"`)
	assert.NotContains(t, ask(s, "GET", "/?still", "").Body.String(), `http-equiv="refresh"`)
}

// Whatever a probe, a person or a foreign program put into the records is shown as text.
func TestHostileWordsStayWords(t *testing.T) {
	const hostile = `"><script>alert(1)</script>' onload=x {{.}} javascript:`
	kept, view := cellar()
	bad := incident("x", hostile, detect.Alarm(hostile), detect.Priority(hostile), alert.State(hostile), 5)
	bad.Summary, bad.Why, bad.Probe = hostile, hostile, hostile
	bad.Evidence = detect.Evidence{Witnesses: []string{hostile}, Probe: hostile, Forecast: &detect.Forecast{Limit: hostile, LimitReached: &detect.Span{Low: now, High: now}}}
	kept.alarms = append(kept.alarms, bad)
	kept.steps["x"] = []alert.Transition{{Time: now, From: alert.State(hostile), To: alert.State(hostile), By: hostile, Why: hostile}}
	kept.events = append(kept.events, detect.Event{ID: hostile, Tank: hostile, Name: hostile, Time: now, By: hostile, Words: map[string]string{hostile: hostile}})
	view.Tanks = append(view.Tanks, alert.TankView{Status: detect.Status{
		Tank: hostile, Gas: detect.Gas(hostile), Learning: []string{hostile}, Probes: []detect.ProbeStatus{{Probe: hostile, LastHeard: now}},
		Last: map[detect.Quantity]detect.Latest{detect.Gravity: {Value: 1.01, Time: now, Probe: hostile}},
	}, Incidents: []alert.Incident{bad}})
	view.Incidents = append(view.Incidents, bad)
	o := options(kept, view)
	o.Site, o.Notice, o.Version, o.Ready = hostile, hostile, hostile, func() []string { return []string{hostile} }
	s, err := New(o)
	require.NoError(t, err)
	plain, _ := serve(t, nil)

	tank := "/tanks/" + url.PathEscape(hostile)
	for _, target := range []string{"/", tank, tank + "?logged=" + url.QueryEscape(hostile), "/alarms", "/alarms/x", "/tanks/FV3/log?event=" + url.QueryEscape(hostile), "/nowhere" + url.PathEscape(hostile)} {
		assertNoScript(t, target, ask(s, "GET", target, "").Body.String())
	}
	for _, form := range []url.Values{
		{"event": {hostile}, hostile: {hostile}},
		{"event": {"dry-hop"}, "v.mass": {hostile}, "u.mass": {hostile}, "c.kind": {hostile}, "time": {hostile}, "note": {hostile}, "by": {hostile}, "id": {hostile}},
	} {
		assertNoScript(t, "form", submit(plain, "/tanks/FV3/log", form).Body.String())
	}
	locked, _ := serve(t, func(o *Options) { o.Token = "secret" })
	assertNoScript(t, "sign in", submit(locked, "/tanks/FV3/log", url.Values{hostile: {hostile}}).Body.String())
}

func assertNoScript(t *testing.T, target, page string) {
	t.Helper()
	require.NotEmpty(t, page, target)
	for _, n := range nodes(t, page) {
		assert.False(t, n.Data == "script" && !strings.HasPrefix(attribute(n, "src"), "/static/spile-"), target)
		for _, a := range n.Attr {
			assert.False(t, strings.HasPrefix(a.Key, "on"), "%s: <%s %s>", target, n.Data, a.Key)
			assert.False(t, a.Key == "href" && strings.HasPrefix(a.Val, "javascript:"), target)
		}
	}
}

// text returns what a page says, without its tags and with single spaces.
func said(t *testing.T, page string) string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var words []string
	for n := range root.Descendants() {
		if n.Type == html.TextNode {
			words = append(words, strings.Fields(n.Data)...)
		}
	}
	return strings.Join(words, " ")
}

func TestTanksStandInOrderOfNeed(t *testing.T) {
	s, _ := serve(t, nil)
	found := regexp.MustCompile(`<h2><a href="/tanks/(\w+)"`).FindAllStringSubmatch(ask(s, "GET", "/", "").Body.String(), -1)
	var names []string
	for _, f := range found {
		names = append(names, f[1])
	}
	assert.Equal(t, []string{"FV5", "FV3", "FV1", "FV2", "FV4"}, names, "critical, high, silent, then by name")
}

func TestNeed(t *testing.T) {
	with := func(p detect.Priority, state alert.State) int {
		c := card{TankView: alert.TankView{Incidents: []alert.Incident{{Priority: p, State: state}}}}
		return c.need()
	}
	falling := []int{
		with(detect.Critical, alert.Unacknowledged), with(detect.Critical, alert.Acknowledged), with(detect.High, alert.Unacknowledged),
		with(detect.High, alert.Returned), with(detect.Low, alert.Unacknowledged), with(detect.Low, alert.Acknowledged), with(detect.Critical, alert.Shelved),
	}
	for i := range falling[1:] {
		assert.Greater(t, falling[i], falling[i+1], "the %dth needs more than the next", i)
	}
	assert.Zero(t, with(detect.Critical, alert.Suppressed))
}

func TestTheCellarIsSaidInWords(t *testing.T) {
	s, _ := serve(t, func(o *Options) { o.Display = detect.Display{Temperature: "degF", Pressure: "psi"} })
	page := said(t, ask(s, "GET", "/", "").Body.String())
	for _, words := range []string{
		"One tank is silent: nobody watches it.",
		"Silent: last heard 5 h ago",
		"heard 12 s ago",
		"gravity 1.0118 SG temperature 58.1 °F pressure 11.9 psi 40 min ago",
		"Closed, holding pressure. Crashed to 57.9 °F. Dry-hopped since Sat 11:15.",
		"Not watched for over-pressure: relief not given.",
		"Since 02:10 , called 02:50 · wants an answer Now gravity 1.0109 SG, head 12.0 psi",
		"quiet until 07:15: spare battery comes Monday",
		"Hands on this tank until 03:45: alarms of the beer wait, those of the vessel do not.",
		"Empty.",
		"spile is no safety device.",
	} {
		assert.Contains(t, page, words)
	}
}

func TestHeadline(t *testing.T) {
	mute := card{Silent: true}
	assert.Equal(t, "No tank has been heard yet.", headline(0, nil))
	assert.Equal(t, "No alarm wants an answer.", headline(0, []card{{}}))
	assert.Equal(t, "2 alarms want an answer. 2 tanks are silent: nobody watches them.", headline(2, []card{mute, mute}))
	assert.Equal(t, "One alarm wants an answer.", headline(1, nil), "the link can be lost before a tank is heard")
}

func TestTheTankPageCautionsWhereItMatters(t *testing.T) {
	s, _ := serve(t, nil)
	assert.Contains(t, said(t, ask(s, "GET", "/tanks/FV2", "").Body.String()), "can collapse a closed tank in seconds", "an empty tank")
	assert.NotContains(t, said(t, ask(s, "GET", "/tanks/FV3", "").Body.String()), "can collapse a closed tank")
	assert.Contains(t, said(t, ask(s, "GET", "/alarms/over", "").Body.String()), about(detect.OverPressure).Safety)
	for path, caution := range map[string]string{
		"/tanks/FV3": about(detect.Refermentation).Caution, "/alarms/creep": "Before you go there " + about(detect.Refermentation).Safety,
		"/tanks/FV5": about(detect.OverPressure).Safety, "/alarms": about(detect.OverPressure).Safety, "/": about(detect.OverPressure).Caution,
	} {
		assert.Contains(t, said(t, ask(s, "GET", path, "").Body.String()), caution, "%s, answered or not", path)
	}
	assert.Contains(t, said(t, ask(s, "GET", "/alarms", "").Body.String()), "As found: gravity falls 0.9 points a day", "beside its figures of now")
	call := said(t, ask(s, "GET", "/alarms/creep", "").Body.String())
	assert.Less(t, strings.Index(call, about(detect.Refermentation).Caution), strings.Index(call, "Look first"), "on a phone's first screen")
	held := incident("held", "FV5", detect.OverPressure, detect.Critical, alert.Suppressed, 4)
	again := incident("again", "FV5", detect.OverPressure, detect.Critical, alert.Shelved, 4)
	assert.Equal(t, []string{about(detect.OverPressure).Caution}, card{TankView: alert.TankView{Incidents: []alert.Incident{held, again, again}}}.Cautions())
	assert.Empty(t, card{TankView: alert.TankView{Incidents: []alert.Incident{held}}}.Cautions(), "another alarm stands for it")
	hops, _ := detect.LookupEvent("dry-hop")
	require.NotEmpty(t, hops.Caution)
	assert.Contains(t, said(t, ask(s, "GET", "/tanks/FV3/log?event=dry-hop", "").Body.String()), hops.Caution+" Local codes and licensed people decide.")
}

func TestAShelvedVesselAlarmStandsOnEveryPage(t *testing.T) {
	kept, view := cellar()
	over := incident("over", "FV5", detect.OverPressure, detect.Critical, alert.Shelved, 4)
	over.Until, over.Why = now.Add(20*time.Minute), "I stand here"
	view.Incidents[1] = over
	s, err := New(options(kept, view))
	require.NoError(t, err)
	for _, target := range []string{"/", "/alarms", "/tanks/FV3"} {
		page := said(t, ask(s, "GET", target, "").Body.String())
		assert.Contains(t, page, "Kept quiet: FV5: "+about(detect.OverPressure).Title+" , quiet until 03:35: I stand here.")
		assert.NotContains(t, page, "Kept quiet: FV1", "a probe's alarm guards no vessel")
	}
}

func TestWhoCannotWriteSeesNoButtons(t *testing.T) {
	s, _ := serve(t, nil)
	for _, target := range []string{"/tanks/FV3", "/alarms", "/alarms/creep", "/tanks/FV3/log?event=seal"} {
		page := ask(s, "GET", target, "", peer("192.168.1.20:5")).Body.String()
		assert.NotContains(t, page, "<button", target)
		assert.Contains(t, page, "give http.token_file", target)
	}
}

func TestWhoSetsAProbeUpSeesWhyItIsRefused(t *testing.T) {
	s, kept := serve(t, nil)
	before := s.pulse.look(now)[""]
	page := said(t, ask(s, "GET", "/", "").Body.String())
	assert.Contains(t, page, `Not taken, just now: a message on cellar/FV3/hyd-3 : gravity: "wet". All that was not taken`)

	kept.refused = slices.Insert(kept.refused, 0, Refusal{Time: now, Source: "none", Topic: "lights/door", Reason: "bad-topic", Detail: "no source fits"})
	assert.Contains(t, said(t, ask(s, "GET", "/", "").Body.String()), "a message on cellar/FV3/hyd-3", "lights are no probe")
	kept.refused = []Refusal{{Time: now.Add(-2 * time.Hour), Source: "cellar/{tank}/{probe}", Topic: "cellar/FV3/hyd-3"}}
	assert.NotContains(t, said(t, ask(s, "GET", "/", "").Body.String()), "Not taken", "long ago")
	s.pulse.marks = nil
	assert.NotEqual(t, before, s.pulse.look(now)[""], "an open page hears of it")
}

func TestACopyThatWaitsIsSaid(t *testing.T) {
	problem := "401 unauthorized"
	s, _ := serve(t, func(o *Options) {
		o.Copying = func() (string, time.Time) { return problem, now.Add(-time.Hour) }
	})
	assert.Contains(t, said(t, ask(s, "GET", "/alarms", "").Body.String()), "It waits since 02:15 : 401 unauthorized. The readings stand in the journal")
	problem = ""
	assert.NotContains(t, ask(s, "GET", "/alarms", "").Body.String(), "InfluxDB")
}

func TestPastAlarmsAreCutShort(t *testing.T) {
	s, kept := serve(t, nil)
	for i := range pastShown {
		kept.alarms = append(kept.alarms, incident(fmt.Sprint("p", i), "FV2", detect.Leak, detect.Medium, alert.Normal, 10000+i))
	}
	page := said(t, ask(s, "GET", "/alarms", "").Body.String())
	assert.Equal(t, pastShown, strings.Count(page, "· over"))
	assert.Contains(t, page, "Older ones")

	back := ask(s, "GET", "/alarms?before="+fmt.Sprint("p", pastShown-3), "").Body.String()
	assert.Contains(t, ask(s, "GET", "/alarms", "").Body.String(), `href="/alarms?before=p97"`, "the last that is listed")
	page = said(t, back)
	assert.Equal(t, 2, strings.Count(page, "· over"))
	assert.NotContains(t, page, "Older ones")
	assert.NotContains(t, page, "wants an answer · ", "what stands is on the first page")
	assert.Contains(t, back, `<a href="/alarms">The newest, and those that stand</a>`)
	assert.NotContains(t, back, `http-equiv="refresh"`, "the past does not move")
	assert.Equal(t, http.StatusNotFound, ask(s, "GET", "/alarms?before=none", "").Code)
}

func TestStylesheetMayBeKeptForEver(t *testing.T) {
	s, _ := serve(t, nil)
	got := ask(s, "GET", s.style.Path(), "")
	assert.Equal(t, http.StatusOK, got.Code)
	assert.Equal(t, "text/css; charset=utf-8", got.Header().Get("Content-Type"))
	assert.Contains(t, got.Header().Get("Cache-Control"), "immutable")
	assert.Equal(t, http.StatusOK, ask(s, "GET", s.icon.Path(), "").Code)
	assert.Equal(t, http.StatusNotFound, ask(s, "GET", "/static/spile.css", "").Code, "a name without its hash would go stale")
}

// A gauge on a tank that something holds shows what holds it, and no figure of the yeast's work is made of that.
func TestAHeldTankSaysThatItsGaugeIsMute(t *testing.T) {
	for gas, want := range map[detect.Gas]string{
		detect.GasHeldBelow: "Head pressure tells nothing of CO2 being made: gas is fed to this tank.",
		detect.GasHeldAbove: "Head pressure tells nothing of CO2 being made: the valve lets go what is made.",
		detect.GasClosed:    "",
	} {
		s, _ := serve(t, func(o *Options) {
			view := o.View()
			view.Tanks[3].Gas = gas
			o.View = func() alert.View { return view }
		})
		page := said(t, ask(s, "GET", "/tanks/FV4", "").Body.String())
		if want == "" {
			assert.NotContains(t, page, "Head pressure tells nothing")
			continue
		}
		assert.Contains(t, page, want)
		assert.NotContains(t, page, "CO2 is made at")
	}
}

// What to look at first, and what can hurt, stand before the button that says "I know".
func TestAnAlarmIsUnderstoodBeforeItIsAnswered(t *testing.T) {
	s, _ := serve(t, nil)
	page := ask(s, "GET", "/alarms/creep", "").Body.String()
	button := strings.Index(page, "<button")
	require.Positive(t, button)
	for _, first := range []string{`id="look-first"`, `class="caution"`} {
		at := strings.Index(page, first)
		assert.True(t, at >= 0 && at < button, "%s stands at %d, the button at %d", first, at, button)
	}
}

func TestASentenceEndsOnce(t *testing.T) {
	assert.Equal(t, "Do not go alone.", sentence("Do not go alone."))
	assert.Equal(t, "Put CO2 on first.", sentence("Put CO2 on first"))
}

func TestAnAlarmIsNamedByWhatWasFound(t *testing.T) {
	cold := incident("cold", "FV3", detect.CrashDrift, detect.High, alert.Unacknowledged, 30)
	cold.Evidence = detect.Evidence{TemperatureCelsius: ptr(12.0), SetpointCelsius: ptr(14.4)}
	s, kept := serve(t, nil)
	kept.alarms = append(kept.alarms, cold)
	page := said(t, ask(s, "GET", "/alarms/cold", "").Body.String())
	assert.Contains(t, page, "FV3: Beer is colder than its setpoint")
	assert.Contains(t, page, "do other tanks run cold too?")
	assert.NotContains(t, page, "do other tanks warm too?")
}

// Pressure that is gone is asked about under the name of a leak: whoever is sent to look must not read that one is there.
func TestAQuestionReadsAsOneOnItsPage(t *testing.T) {
	gone := incident("gone", "FV3", detect.Leak, detect.Low, alert.Unacknowledged, 30)
	s, kept := serve(t, nil)
	kept.alarms = append(kept.alarms, gone)
	page := said(t, ask(s, "GET", "/alarms/gone", "").Body.String())
	assert.Contains(t, page, "FV3: Head pressure is gone, was it opened?")
	assert.Contains(t, page, "let off by hand and not logged, or lost by a leak")
	assert.NotContains(t, page, about(detect.Leak).Meaning)
	gone.ID, gone.Priority = "leak", detect.Medium
	kept.alarms = append(kept.alarms, gone)
	assert.Contains(t, said(t, ask(s, "GET", "/alarms/leak", "").Body.String()), about(detect.Leak).Meaning)

	d := drawing{tank: alert.TankView{Status: detect.Status{Tank: "FV3"}}, steps: []alert.Transition{
		{ID: "gone", Tank: "FV3", Alarm: detect.Leak, Priority: detect.Low, To: alert.Unacknowledged, Time: now},
		{ID: "gone", Tank: "FV3", Alarm: detect.Leak, Priority: detect.Low, To: alert.Normal, Time: now.Add(time.Hour)},
	}}
	assert.Equal(t, "leak?", d.bars()[0].Name)
}
