//go:build peers

package console

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// The widths of a small phone and of a laptop.
var widths = map[string]int64{"phone": 360, "laptop": 1280}

// browser is Chromium on a console.
type browser struct {
	t   *testing.T
	ctx context.Context
	url string
	dir string // for pictures; none are taken if it is empty
}

// browse opens a browser on a console, which is served on loopback. With
// COBLINE_PICTURES naming a directory, pictures of the pages are left there.
func browse(t *testing.T, o *office) *browser {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- o.app.Listener(listener) }()
	ctx, stop := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(
		chromedp.ExecPath("chromium"),
		chromedp.NoSandbox, // what it opens is our own
	))
	t.Cleanup(func() {
		require.NoError(t, chromedp.Cancel(ctx))
		stop()
		require.NoError(t, o.app.ShutdownWithTimeout(10*time.Second))
		require.NoError(t, <-served)
	})
	b := &browser{t: t, ctx: ctx, url: "http://" + listener.Addr().String(), dir: os.Getenv("COBLINE_PICTURES")}
	require.NoError(t, chromedp.Do(ctx), "Chromium does not start")
	return b
}

// step is one thing that a browser does.
type step = chromedp.Action[chromedp.Void]

// do lets the browser do something.
func (b *browser) do(steps ...step) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	require.NoError(b.t, chromedp.Do(ctx, steps...))
}

// size makes the window as wide as one of the widths, in light or dark.
func (b *browser) size(width string, dark bool) {
	b.t.Helper()
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	b.do(chromedp.EmulateViewport(widths[width], 800))
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	require.NoError(b.t, err)
}

// open goes to a path.
func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.url+path), chromedp.WaitReady(chromedp.CSS("main")))
}

// signIn signs in to the account of a role.
func (b *browser) signIn(r Role) {
	b.t.Helper()
	b.open("/office/sign-in")
	b.do(
		chromedp.SendKeys(chromedp.CSS("#f-name"), r.String()),
		chromedp.SendKeys(chromedp.CSS("#f-password"), password+kb.Enter),
		chromedp.WaitReady(chromedp.CSS("nav.own")),
	)
}

// path returns where the browser is.
func (b *browser) path() string {
	b.t.Helper()
	path, err := chromedp.Run(b.ctx, chromedp.Location())
	require.NoError(b.t, err)
	return strings.TrimPrefix(path, b.url)
}

// evaluate returns what an expression comes to in the page.
func evaluate[T any](b *browser, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(b.t, err)
	return v
}

// picture leaves a picture of the whole page.
func (b *browser) picture(name string) {
	b.t.Helper()
	if b.dir == "" {
		return
	}
	require.NoError(b.t, os.MkdirAll(b.dir, 0o755))
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(filepath.Join(b.dir, name+".png"), png, 0o644))
}

// axeVersion is that of axe-core, which looks a page through for what keeps
// people out: https://github.com/dequelabs/axe-core.
const axeVersion = "4.14.1"

var axe = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "axe")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	npm := exec.Command("npm", "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@"+axeVersion)
	npm.Dir = dir
	if out, err := npm.CombinedOutput(); err != nil {
		return "", fmt.Errorf("npm: %w\n%s", err, out)
	}
	source, err := os.ReadFile(filepath.Join(dir, "node_modules/axe-core/axe.min.js"))
	return string(source), err
})

// sound looks the page through: nobody is kept out, and nothing is wider than the
// window.
func (b *browser) sound(name string) {
	b.t.Helper()
	source, err := axe()
	require.NoError(b.t, err)
	evaluate[chromedp.Void](b, source)
	found := evaluate[struct {
		Passes     int
		Violations []struct {
			ID, Help string
			Nodes    []struct{ HTML, FailureSummary string }
		}
	}](b, `axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
		.then(({passes, violations}) => ({passes: passes.length, violations}))`)
	require.Greater(b.t, found.Passes, 10, "%s was not looked through", name)
	list, err := json.MarshalIndent(found.Violations, "", " ")
	require.NoError(b.t, err)
	require.Empty(b.t, found.Violations, "%s: %s", name, list)
	over := evaluate[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`)
	require.LessOrEqual(b.t, over, 0, "%s is wider than the window", name)
}

// Every page at both widths, with everything and with nothing, in light and dark.
func TestEveryPageIsForEverybody(t *testing.T) {
	each(t, func(t *testing.T, o *office) {
		b := browse(t, o)
		kind := t.Name()[strings.LastIndex(t.Name(), "/")+1:]
		look := func(name, path string) {
			for width := range widths {
				for _, dark := range []bool{false, true} {
					b.size(width, dark)
					b.open(path)
					name := strings.Join([]string{kind, name, width, map[bool]string{false: "light", true: "dark"}[dark]}, "-")
					b.sound(name)
					b.picture(name)
				}
			}
		}
		look("sign-in", "/office/sign-in")
		b.signIn(Administrator)
		for _, path := range o.pages(o.as(Administrator)) {
			look(strings.ReplaceAll(strings.TrimPrefix(path, Root+"/"), "/", "-"), path)
		}
		look("not-here", "/office/nothing")
	})
}

// Who uses no mouse signs in, goes to a page, mends a form and signs out.
func TestByKeyboard(t *testing.T) {
	o := newConsole(t)
	b := browse(t, o)
	b.size("laptop", false)
	focused := func() string {
		return evaluate[string](b, `(e => e.id || e.textContent.trim())(document.activeElement)`)
	}
	press := func(keys ...string) {
		for _, k := range keys {
			b.do(chromedp.KeyEvent(k))
		}
	}
	b.open("/office/sign-in")
	press(kb.Tab)
	require.Equal(t, "Skip to the page", focused())
	require.True(t, evaluate[bool](b, `document.activeElement.getBoundingClientRect().left >= 0`), "it is seen once it has the focus")
	press(kb.Enter, kb.Tab)
	require.Equal(t, "f-name", focused(), "and leads past the head of the page")
	press("officer", kb.Tab, "not the password", kb.Enter)
	b.do(chromedp.WaitVisible(chromedp.CSS("#faults")))
	require.Equal(t, "faults", focused(), "what is wrong is read first")
	b.sound("sign-in-wrong")
	b.picture("sign-in-wrong")
	b.do(chromedp.Focus(chromedp.CSS("#f-password")))
	press(password, kb.Enter)
	b.do(chromedp.WaitReady(chromedp.CSS("nav.own")))
	require.Equal(t, "/office/outlook", b.path())
	for focused() != "Questions" {
		press(kb.Tab)
	}
	require.Equal(t, "solid", evaluate[string](b, `getComputedStyle(document.activeElement).outlineStyle`))
	press(kb.Enter)
	b.do(chromedp.WaitReady(chromedp.CSS(`nav a[href="/office/questions"][aria-current]`)))
	for focused() != "officer" {
		press(kb.Tab)
	}
	press(kb.Enter) // it unfolds
	b.sound("yours")
	b.picture("yours")
	for focused() != "Sign out" {
		press(kb.Tab)
	}
	press(kb.Enter)
	b.do(chromedp.WaitVisible(chromedp.CSS("#f-name")))
}

// The script asks before what cannot be taken back, and is not needed for it.
func TestAskingBefore(t *testing.T) {
	o := newConsole(t)
	b := browse(t, o)
	b.size("laptop", false)
	b.signIn(Administrator)
	disabled := func() bool {
		a, err := o.Accounts.Get(context.Background(), "viewer")
		require.NoError(t, err)
		return a.Disabled
	}
	for _, yes := range []bool{false, true} {
		b.open("/office/accounts/viewer")
		asked := make(chan string, 1)
		go func() {
			for e, err := range chromedp.Events(b.ctx, cdp.JavascriptDialogOpening) {
				if err != nil {
					return
				}
				asked <- e.Message
				_, _ = chromedp.Call(b.ctx, cdp.HandleJavaScriptDialog, cdp.HandleJavaScriptDialogParams{Accept: yes})
				return
			}
		}()
		b.do(chromedp.Click(chromedp.CSS("button.grave")))
		require.Equal(t, "Disable the account viewer?", <-asked)
		if yes {
			b.do(chromedp.WaitVisible(chromedp.CSS(".told")))
		}
		require.Equal(t, yes, disabled())
	}
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	b.open("/office/accounts/viewer")
	b.do(chromedp.Click(chromedp.CSS(`form[action$="/enable"] button`)), chromedp.WaitVisible(chromedp.CSS(".told")))
	require.False(t, disabled())
}

// While somebody writes, what phones will show stands beside it, in a column as
// wide as one; the texts go in no address. Without the script a button does it.
func TestTextsStandAsOnPhonesWhileWritten(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	o.joined("lakeside", 1)
	b := browse(t, o)
	b.signIn(Officer)
	for _, width := range []string{"phone", "laptop"} {
		b.size(width, false)
		for _, tt := range []struct{ path, shown, told string }{
			{"/office/notices/new", "text-en", "1 message, 7 characters of GSM-7; some letters"},
			{o.talkOf(20), "text", "1 message, 26 characters of GSM-7; some letters"},
			{"/office/questions/answer", "text", "1 message, 7 characters of GSM-7; some letters"},
		} {
			b.open(tt.path)
			require.False(t, evaluate[bool](b, `!!document.querySelector('[data-plain]').offsetParent`), "the script does what the button does")
			b.do(chromedp.SendKeys(chromedp.CSS("#f-"+tt.shown), "Grind \u2019"))
			b.until("#n-"+tt.shown, tt.told)
			require.Contains(t, b.read("#m-"+tt.shown), "Grind '")
			column := evaluate[float64](b, fmt.Sprintf(`document.querySelector('#m-%s .sms').getBoundingClientRect().width`, tt.shown))
			require.InDelta(t, 270, column, 40, "as wide as a phone")
			b.do(chromedp.SendKeys(chromedp.CSS("#f-"+tt.shown), strings.Repeat("x", 200)))
			b.until("#n-"+tt.shown, "2 messages")
			name := strings.NewReplacer("/office/", "", "/", "-").Replace(tt.path)
			b.sound("writing-" + name)
			b.picture("writing-" + width + "-" + name[:min(len(name), 20)])
		}
	}
	b.open("/office/notices/new")
	b.do(chromedp.SendKeys(chromedp.CSS("#f-text-en"), "Meeting on Friday."))
	b.until("#m-all", "It goes to 1 phone and takes 1 message, 0.80 KES in all.")
	requested := evaluate[string](b, `performance.getEntriesByType('resource').map(e => e.name).join(' ')`)
	require.Contains(t, requested, "/office/notices/measure")
	require.NotContains(t, requested, "Friday")

	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	b.open("/office/notices/new")
	b.do(
		chromedp.SendKeys(chromedp.CSS("#f-text-en"), "Meeting on Friday."),
		chromedp.Click(chromedp.CSS("[data-plain]")), chromedp.WaitVisible(chromedp.CSS("#m-text-en .sms")),
	)
	require.Equal(t, "/office/notices/new#looks", b.path())
}
