package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/ingest/servertest"
)

// screen is what a person looks at spile on.
type screen struct {
	name   string
	width  int64
	height int64
	dark   bool
	script bool
}

// screens are a phone by day and by night, a tablet's or a wall's screen, and a browser that runs no scripts.
var screens = []screen{
	{"phone", 390, 844, false, true}, {"phone-dark", 390, 844, true, true}, {"wall", 1280, 900, false, true}, {"wall-dark", 1280, 900, true, true},
	{"phone-plain", 390, 844, false, false},
}

// tab is a page of a real browser that notes all that goes wrong on it.
type tab struct {
	t    *testing.T
	ctx  context.Context //nolint:containedctx // it is the tab
	base string
	axe  string

	mu      sync.Mutex
	trouble []string
}

// browse opens a tab on a screen; base is where spile is.
func browse(t *testing.T, base string, on screen) *tab {
	t.Helper()
	b := &tab{t: t, base: base, axe: servertest.Axe(t)}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(servertest.Chromium(t)), chromedp.NoSandbox, chromedp.Flag("hide-scrollbars", false), chromedp.UserDataDir(t.TempDir()), chromedp.WSURLReadTimeout(2*time.Minute))
	ctx, end := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(end)
	b.ctx, end = chromedp.NewContext(ctx, chromedp.WithListener(b.hear))
	t.Cleanup(end)
	require.NoError(t, chromedp.Do(b.ctx)) // starts it, for as long as the test runs
	scheme := "light"
	if on.dark {
		scheme = "dark"
	}
	b.do("set up the screen",
		tell(log.Enable, cdp.Empty{}), tell(network.Enable, network.EnableParams{}),
		tell(emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
			Width: on.width, Height: on.height, DeviceScaleFactor: 1, Mobile: on.width < 600,
		}),
		tell(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		}),
		tell(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on.script}))
	return b
}

// tell sends the browser a command.
func tell[P, R any](command cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, params)
		return err
	})
}

// hear notes what a person's browser would complain of, and what a page asks of anybody but spile.
func (b *tab) hear(event any) {
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		b.note("exception: " + fmt.Sprintf("%s %s:%d", e.ExceptionDetails.Text, e.ExceptionDetails.URL, e.ExceptionDetails.LineNumber))
	case *runtime.EventConsoleAPICalled:
		if e.Type == "error" || e.Type == "warning" {
			b.note(fmt.Sprintf("console: %s %v", e.Type, e.Args))
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == "error" || e.Entry.Level == "warning" {
			b.note(fmt.Sprintf("console: %s %s %s", e.Entry.Level, e.Entry.Text, e.Entry.URL))
		}
	case *network.EventRequestWillBeSent:
		if url := e.Request.URL; !strings.HasPrefix(url, b.base+"/") && !strings.HasPrefix(url, "data:") {
			b.note("request to the outside: " + url)
		}
	}
}

func (b *tab) note(text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.trouble = append(b.trouble, text)
}

// patience is how long a step may take, on a machine that has other things to do.
const patience = 30 * time.Second

// step runs one step of a tab and fails with what it was for.
func step[T any](b *tab, what string, action chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	got, err := chromedp.Run(ctx, action)
	if err != nil {
		b.picture("failed")
		require.NoError(b.t, err, "%s", what)
	}
	return got
}

// do runs steps that give nothing.
func (b *tab) do(what string, actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	step(b, what, chromedp.Steps(actions...))
}

// open goes to a path and waits for what must stand there.
func (b *tab) open(path string) {
	b.t.Helper()
	b.do("open "+path, chromedp.Navigate(b.base+path), chromedp.WaitReady(chromedp.CSS("main")))
}

// sees waits until the page says some words.
func (b *tab) sees(words string) {
	b.t.Helper()
	b.do("wait for "+words, chromedp.WaitReady(chromedp.Search(fmt.Sprintf(`//main[contains(%s, %q)]`, asRead, words))))
}

// asRead is the XPath of a text as people read it: a space that no line ends at is a space.
const asRead = "normalize-space(translate(., '\u00a0', ' '))"

// press taps a button or a link by its words and waits for the page behind it.
func (b *tab) press(words string) {
	b.t.Helper()
	found := chromedp.Search(fmt.Sprintf(`//main//*[self::a or self::button][contains(%s, %q)]`, asRead, words))
	answer := step(b, "press "+words, func(ctx context.Context, _ *chromedp.Target) (*network.Response, error) {
		return chromedp.RunResponse(ctx, chromedp.Click(found))
	})
	require.NotNil(b.t, answer, "press %s", words)
	require.Less(b.t, answer.Status, int64(400), "press %s", words)
}

// eval asks the page a question in its own language.
func eval[T any](b *tab, question string) T {
	b.t.Helper()
	return step(b, "ask the page", chromedp.Evaluate[T](question, chromedp.EvalAwaitPromise))
}

// fits requires that nothing has to be scrolled sideways, and that every drawing was loaded.
func (b *tab) fits() {
	b.t.Helper()
	wide := eval[struct{ Page, Screen int }](b, `({Page: document.documentElement.scrollWidth, Screen: document.documentElement.clientWidth})`)
	assert.LessOrEqual(b.t, wide.Page, wide.Screen, "the page is wider than the screen")
	blank := eval[int](b, `Promise.all([...document.images].map((i) => i.decode().catch(() => {}))).then(() => [...document.images].filter((i) => !i.naturalWidth).length)`)
	assert.Zero(b.t, blank, "pictures that did not load")
}

// violation is what axe-core finds.
type violation struct {
	ID     string
	Impact string
	Help   string
	Nodes  []struct{ HTML string }
}

// accessible requires that axe-core finds nothing that keeps people out.
func (b *tab) accessible() {
	b.t.Helper()
	eval[bool](b, b.axe+"; true")
	found := eval[[]violation](b, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then((r) =>
		r.violations.map((v) => ({ID: v.id, Impact: v.impact, Help: v.help, Nodes: v.nodes.map((n) => ({HTML: n.html}))})))`)
	for _, v := range found {
		text, _ := json.Marshal(v)
		assert.NotContains(b.t, []string{"serious", "critical", "moderate"}, v.Impact, "%s", text)
	}
}

// well requires all that a page owes to a person, and takes its picture where SPILE_PICTURES names a folder.
func (b *tab) well(name string) {
	b.t.Helper()
	b.fits()
	b.accessible()
	b.picture(name)
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.Empty(b.t, b.trouble, name)
	b.trouble = nil
}

// picture keeps what the page looks like.
func (b *tab) picture(name string) {
	folder := os.Getenv("SPILE_PICTURES")
	if folder == "" {
		return
	}
	shot, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Logf("no picture of %s: %v", name, err)
		return
	}
	file := strings.NewReplacer("/", "-", " ", "-").Replace(b.t.Name() + "-" + name)
	require.NoError(b.t, os.WriteFile(filepath.Join(folder, file+".png"), shot, 0o600))
}
