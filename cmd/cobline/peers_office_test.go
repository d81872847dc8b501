//go:build peers

package main

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// TestDemoInABrowser opens the invented district in Chromium, page by page. With
// COBLINE_PICTURES naming a directory, pictures of the pages are left there: the
// README's are made by
//
//	COBLINE_PICTURES=../../testdata/pictures go test -tags peers ./cmd/cobline -run DemoInABrowser
func TestDemoInABrowser(t *testing.T) {
	address, err := freeAddress()
	require.NoError(t, err)
	line := exec.Command(build(t), "serve", "--demo", "--listen", address)
	told, err := line.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, line.Start())
	stopped := false
	t.Cleanup(func() {
		if !stopped {
			_ = line.Process.Kill()
			_ = line.Wait()
		}
	})
	lines := bufio.NewScanner(told)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "Open http://") {
	}
	require.NoError(t, lines.Err())
	go func() {
		for lines.Scan() {
			t.Log(lines.Text())
		}
	}()

	ctx, stop := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(
		chromedp.ExecPath("chromium"),
		chromedp.NoSandbox, // what it opens is our own
	))
	defer stop()
	do := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		ctx, cancel := context.WithTimeout(ctx, time.Minute)
		defer cancel()
		require.NoError(t, chromedp.Do(ctx, steps...))
	}
	require.NoError(t, chromedp.Do(ctx), "Chromium does not start")
	defer func() { require.NoError(t, chromedp.Cancel(ctx)) }()
	picture := func(name string) {
		t.Helper()
		dir := os.Getenv("COBLINE_PICTURES")
		if dir == "" {
			return
		}
		require.NoError(t, os.MkdirAll(dir, 0o755))
		png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
	}
	text := func() string {
		t.Helper()
		s, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector('main').innerText`))
		require.NoError(t, err)
		return s
	}
	open := func(path string) {
		t.Helper()
		do(chromedp.Navigate("http://"+address+path), chromedp.WaitReady(chromedp.CSS("main")))
	}
	wide := chromedp.EmulateViewport(1100, 760)
	do(wide)
	open("/office")
	do(
		chromedp.SendKeys(chromedp.CSS("#f-name"), demoOfficer),
		chromedp.SendKeys(chromedp.CSS("#f-password"), demoPassword+kb.Enter),
		chromedp.WaitReady(chromedp.CSS("nav.own")),
	)
	for path, says := range map[string][]string{
		"outlook":       {"Kisima cha Juu", "Rain"},
		"notices":       {"Rain is likely", "paused"},
		"talk":          {"COVERED"},
		"talk/charts":   {"recipe"},
		"questions":     {"nubbins", "makopa"},
		"producers":     {"Umoja wa Kisima"},
		"batches":       {"maize cobs"},
		"practice":      {"Begin"},
		"notices/new":   {"Whom it is for"},
		"producers/new": {"agreed"},
	} {
		open("/office/" + path)
		name := strings.ReplaceAll(path, "/", "-")
		picture(name)
		do(chromedp.EmulateViewport(360, 760))
		picture(name + "-phone")
		do(wide)
		shown := text()
		for _, s := range says {
			if !strings.Contains(strings.ToLower(shown), strings.ToLower(s)) {
				t.Errorf("%s does not say %q:\n%s", path, s, shown)
			}
		}
	}
	tomorrow := time.Now().Add(24 * time.Hour).Format("2006-01-02T15:04")
	open("/office/notices/new?ready=rain&ring=likely&place=kisima&place=mto&hour=" + tomorrow)
	do(
		chromedp.Click(chromedp.CSS("form[action='/office/notices/preview'] button")),
		chromedp.WaitReady(chromedp.CSS("form[action='/office/notices/send']")),
	)
	picture("notice-preview")
	require.Contains(t, text(), "Rain is likely: Kisima cha Juu")
	open("/office/practice")
	do(
		chromedp.Click(chromedp.CSS("form[action='/office/practice/begin'] button")),
		chromedp.WaitReady(chromedp.CSS("#f-text")),
	)
	do(
		chromedp.SendKeys(chromedp.CSS("#f-text"), "cobs 2 drums snaps"+kb.Enter),
		chromedp.WaitReady(chromedp.CSS(".talk li:nth-child(4)")), // the text and three messages
	)
	require.Contains(t, text(), "Fill 2 drums")
	picture("practice-talk")
	stopped = true
	require.NoError(t, line.Process.Signal(syscall.SIGTERM))
	require.NoError(t, line.Wait())
}
