package main

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/alert"
	"spile/ingest/servertest"
)

// demoAtItsEnd is a demo whose simulated days are over: three alarms stand, and nothing moves any more.
func demoAtItsEnd(t *testing.T) *process {
	t.Helper()
	servertest.Chromium(t)
	servertest.Axe(t)
	p := spawn(t, "demo", "--speed", "18000", "--http", "127.0.0.1:0")
	require.Eventually(t, func() bool { return strings.Contains(p.Said(), "The simulated days are over") }, 5*time.Minute, 50*time.Millisecond)
	return p
}

// alarms are those that stand, the most pressing first.
func (p *process) alarms() []alert.Incident {
	p.t.Helper()
	status, body := p.fetch("/api/v1/alarms")
	require.Equal(p.t, http.StatusOK, status)
	var answer struct{ Alarms []alert.Incident }
	require.NoError(p.t, json.Unmarshal(body, &answer))
	return answer.Alarms
}

// Every page on every screen: nothing is cut off, nothing from outside is asked for, nothing goes wrong in the browser,
// and nobody is kept out.
func TestEveryPageOnEveryScreen(t *testing.T) {
	p := demoAtItsEnd(t)
	first := p.alarms()[0]
	pages := map[string]string{
		"cellar": "/", "tank": "/tanks/FV1", "week": "/tanks/FV1?range=week", "batch": "/tanks/FV3?range=batch", "log": "/tanks/FV1/log",
		"dry-hop": "/tanks/FV1/log?event=dry-hop", "alarms": "/alarms", "report": "/tanks/FV1/report", "alarm": "/alarms/" + first.ID, "sign-in": "/sign-in",
	}
	for _, on := range screens {
		t.Run(on.name, func(t *testing.T) {
			b := browse(t, p.url, on)
			for name, path := range pages {
				b.open(path)
				if on.script { // axe-core is a script
					b.well(name)
				} else {
					b.picture(name)
				}
			}
		})
	}
}

// A name that is broken in two, as FV3 and a 3 below it, is another tank's at three in the morning.
func TestATanksNameIsNotBroken(t *testing.T) {
	servertest.Chromium(t)
	servertest.Axe(t)
	p := spawn(t, "run", "--config", configFile(t, "http: {listen: 127.0.0.1:0}\nmqtt: {listen: 127.0.0.1:0}\ndata: %s\n"+
		"tanks: {FV33: {}, brite-12: {}, a-name-as-long-as-a-name-may-be2: {}}\n", t.TempDir()))
	p.ready()
	for _, on := range screens {
		t.Run(on.name, func(t *testing.T) {
			b := browse(t, p.url, on)
			b.open("/")
			b.fits()
			broken := eval[[]string](b, `[...document.querySelectorAll(".plate h2 a")].filter((a) => a.textContent.length < 12 && a.offsetHeight > 60).map((a) => a.textContent)`)
			assert.Empty(t, broken)
		})
	}
}

// A thumb logs a dry-hop, acknowledges, keeps quiet and looks at another stretch, with and without scripts.
func TestAThumbDoesTheNightsWork(t *testing.T) {
	p := demoAtItsEnd(t)
	for _, on := range []screen{screens[0], screens[2], screens[4]} {
		t.Run(on.name, func(t *testing.T) {
			b := browse(t, p.url, on)
			b.open("/tanks/FV2")
			b.press("Week")
			b.sees("Curves")
			b.press("Log what was done")
			b.press("dry-hop")
			b.do("fill in", chromedp.SendKeys(chromedp.CSS("#mass"), "7.5"), chromedp.SendKeys(chromedp.CSS(`select[name="u.mass"]`), "kg"),
				chromedp.SendKeys(chromedp.CSS("#by"), on.name))
			b.press("Log dry-hop")
			b.sees("Logged.")
			b.sees("mass 7.5 kg")
			b.sees("by " + on.name)
		})
	}
	b := browse(t, p.url, screens[0])
	called := p.alarms()
	require.GreaterOrEqual(t, len(called), 2)
	b.open("/alarms/" + called[0].ID)
	b.press("Acknowledge")
	b.sees("Acknowledged. Since")
	b.open("/alarms/" + called[1].ID)
	b.do("say why", chromedp.SendKeys(chromedp.CSS("#why"), "I stand beside it"), chromedp.SetValue(chromedp.CSS("#for"), "30m"))
	b.press("Keep quiet")
	b.sees("quiet until")
	b.well("kept-quiet")
	stands := map[string]alert.State{}
	for _, i := range p.alarms() {
		stands[i.ID] = i.State
	}
	assert.Equal(t, alert.Acknowledged, stands[called[0].ID])
	assert.Equal(t, alert.Shelved, stands[called[1].ID])
}

// What is judged stands on an open page within two seconds, and nothing that a person is typing is lost.
func TestAnOpenPageStaysFresh(t *testing.T) {
	p := demoAtItsEnd(t)
	cellar, alarm := browse(t, p.url, screens[2]), browse(t, p.url, screens[0])
	called := p.alarms()[0]
	cellar.open("/")
	cellar.sees("3 alarms want an answer.")
	alarm.open("/alarms/" + called.ID)
	alarm.do("type", chromedp.SendKeys(chromedp.CSS("#why"), "half a sen"))

	began := time.Now()
	answer, err := http.Post(p.url+"/api/v1/alarms/"+called.ID+"/acknowledge", "", nil) //nolint:noctx // a test's own server
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusOK, answer.StatusCode)
	cellar.sees("2 alarms want an answer.")
	took := time.Since(began)
	t.Logf("the page showed it after %s", took.Round(time.Millisecond))
	assert.Less(t, took, 8*time.Second, "two seconds, and some more for a machine that is busy with other tests")
	alarm.sees("Acknowledged. Since")
	assert.Equal(t, "half a sen", eval[string](alarm, `document.getElementById("why").value`))

	p.Kill()
	for _, b := range []*tab{cellar, alarm} {
		b.do("say that it is old", chromedp.WaitVisible(chromedp.CSS("#lost")))
	}
}

// Whoever cannot point reaches everything by the keyboard, and sees where they are.
func TestTheKeyboardIsEnough(t *testing.T) {
	p := demoAtItsEnd(t)
	b := browse(t, p.url, screens[2])
	b.open("/tanks/FV1")
	at := func() string {
		return eval[string](b, `(document.activeElement.innerText || document.activeElement.textContent).trim()`)
	}
	b.do("tab", chromedp.KeyEvent(kb.Tab))
	assert.Equal(t, "To the content", at())
	assert.Positive(t, eval[float64](b, `document.activeElement.getBoundingClientRect().right`), "it comes into sight")
	seen := map[string]bool{}
	for range 60 {
		b.do("tab", chromedp.KeyEvent(kb.Tab))
		seen[at()] = true
		outlined := eval[bool](b, `document.activeElement === document.body || parseFloat(getComputedStyle(document.activeElement).outlineWidth) > 0`)
		assert.True(t, outlined, "the focus is not to be seen on %q", at())
	}
	for _, what := range []string{"Cellar", "Acknowledge", "Night", "Batch", "Log what was done"} {
		assert.True(t, seen[what], "%s is out of the keyboard's reach: %v", what, seen)
	}
	b.open("/tanks/FV2/log?event=note")
	b.do("type and send", chromedp.SendKeys(chromedp.CSS("#by"), "by keyboard"), chromedp.SendKeys(chromedp.CSS("#note"), "a note"))
	b.do("go back to who", chromedp.Focus(chromedp.CSS("#by")), chromedp.KeyEvent(kb.Enter))
	b.sees("Logged.")
}
