//go:build peers

package main

import (
	"bufio"
	"context"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/console"
)

// visitor is Chromium on a line that serves.
type visitor struct {
	t       *testing.T
	ctx     context.Context
	address string
}

// visit starts Chromium. It says yes to whatever a page asks.
func visit(t *testing.T, address string) *visitor {
	ctx, stop := chromedp.NewContext(context.Background(), chromedp.WithAllocatorOptions(
		chromedp.ExecPath("chromium"),
		chromedp.NoSandbox, // what it opens is our own
	))
	require.NoError(t, chromedp.Do(ctx), "Chromium does not start")
	go func() {
		for _, err := range chromedp.Events(ctx, page.JavascriptDialogOpening) {
			if err != nil {
				return
			}
			_, _ = chromedp.Call(ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true})
		}
	}()
	t.Cleanup(func() {
		require.NoError(t, chromedp.Cancel(ctx))
		stop()
	})
	return &visitor{t, ctx, address}
}

func (v *visitor) do(steps ...chromedp.Action[chromedp.Void]) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, time.Minute)
	defer cancel()
	require.NoError(v.t, chromedp.Do(ctx, steps...))
}

func (v *visitor) open(path string) {
	v.t.Helper()
	v.do(chromedp.Navigate("http://"+v.address+path), chromedp.WaitReady(chromedp.CSS("main")))
}

func (v *visitor) signIn(name, password string) {
	v.t.Helper()
	v.open("/office")
	v.do(
		chromedp.SendKeys(chromedp.CSS("#f-name"), name),
		chromedp.SendKeys(chromedp.CSS("#f-password"), password+kb.Enter),
		chromedp.WaitReady(chromedp.CSS("nav.own")),
	)
}

// text is what is to be read of a part of the page.
func (v *visitor) text(of string) string {
	v.t.Helper()
	s, err := chromedp.Run(v.ctx, chromedp.Evaluate[string](`document.querySelector('`+of+`').innerText`))
	require.NoError(v.t, err)
	return s
}

// picture leaves a picture of what the window shows.
func (v *visitor) picture(name string) {
	v.t.Helper()
	dir := os.Getenv("COBLINE_PICTURES")
	if dir == "" {
		return
	}
	require.NoError(v.t, os.MkdirAll(dir, 0o755))
	png, err := chromedp.Run(v.ctx, chromedp.CaptureScreenshot())
	require.NoError(v.t, err)
	require.NoError(v.t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
}

// TestDemoInABrowser opens the invented district in Chromium, page by page. With
// COBLINE_PICTURES naming a directory, pictures of the pages are left there. Those
// of the README are made by
//
//	COBLINE_PICTURES=../../testdata/pictures go test -tags peers ./cmd/cobline -run DemoInABrowser
//
// of which the others are taken away again: TestReadmePictures names them.
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

	eventually(t, "the line serves", func() bool { return listens(address) })
	v := visit(t, address)
	wide := chromedp.EmulateViewport(1100, 760)
	v.do(wide)
	v.signIn(demoOfficer, demoPassword)
	for _, page := range []struct {
		name, path string
		says       []string
	}{
		{"outlook", "outlook", []string{"Kisima cha Juu", "Rain"}},
		{"notices", "notices", []string{"Rain is likely", "paused"}},
		{"notice-form", "notices/new", []string{"Whom it is for"}},
		{"talk", "talk?words=nubbins", []string{"nubbins"}},
		{"figures", "talk/figures", []string{"recipe"}},
		{"questions", "questions", []string{"nubbins", "emergencies"}},
		{"unknown", "questions?language=sw", []string{"makopa"}},
		{"teach", "questions/teach?language=en&word=nubbins", []string{"It means"}},
		{"taught", "questions/taught", []string{"corn knobs", "mkopo"}},
		{"producers", "producers", []string{"Umoja wa Kisima"}},
		{"producer-form", "producers/new", []string{"agreed"}},
		{"batches", "batches", []string{"maize cobs"}},
		{"practice", "practice", []string{"Begin"}},
	} {
		v.open("/office/" + page.path)
		size, err := chromedp.Run(v.ctx, chromedp.Evaluate[int](`performance.getEntries().reduce((n, e) => n + (e.encodedBodySize ?? 0), 0)`))
		require.NoError(t, err)
		require.Greater(t, size, 5_000, page.path)
		require.Less(t, size, 60_000, "%s and what it loads, on the wire", page.path)
		v.picture(page.name)
		v.do(chromedp.EmulateViewport(360, 760))
		v.picture(page.name + "-phone")
		v.do(wide)
		shown := v.text("main")
		for _, s := range page.says {
			if !strings.Contains(strings.ToLower(shown), strings.ToLower(s)) {
				t.Errorf("%s does not say %q:\n%s", page.path, s, shown)
			}
		}
	}
	tomorrow := time.Now().Add(24 * time.Hour).Format("2006-01-02T15:04")
	v.open("/office/notices/new?ready=rain&ring=likely&place=kisima&place=mto&hour=" + tomorrow)
	v.do(
		chromedp.Click(chromedp.CSS("form[action='/office/notices/preview'] button")),
		chromedp.WaitReady(chromedp.CSS("form[action='/office/notices/send']")),
	)
	v.picture("notice-preview")
	v.do(chromedp.EmulateViewport(360, 760))
	v.picture("notice-preview-phone")
	v.do(wide)
	require.Contains(t, v.text("main"), "Rain is likely: Kisima cha Juu")
	v.open("/office/notices/new")
	v.do(
		chromedp.SendKeys(chromedp.CSS("#f-text-en"), "Training on drying racks, Friday at the mill of Kisima. Coming? Text ASK."),
		chromedp.SendKeys(chromedp.CSS("#f-text-sw"), "Mafunzo ya vichanja vya kukaushia, Ijumaa kwenye kinu cha Kisima. Utakuja? Andika ULIZA."),
	)
	eventually(t, "the texts stand beside it", func() bool { return strings.Contains(v.text("#n-text-sw"), "1 message") })
	v.do(chromedp.EmulateViewport(1100, 900), chromedp.ScrollIntoView(chromedp.CSS("#n-text-en")))
	v.picture("notice-writing")
	v.do(wide)
	v.open("/office/practice")
	v.do(
		chromedp.Click(chromedp.CSS("form[action='/office/practice/begin'] button")),
		chromedp.WaitReady(chromedp.CSS("#f-text")),
	)
	v.do(
		chromedp.SendKeys(chromedp.CSS("#f-text"), "cobs 2 drums snaps"+kb.Enter),
		chromedp.WaitReady(chromedp.CSS(".talk li:nth-child(4)")), // the text and three messages
	)
	require.Contains(t, v.text("main"), "Fill 2 drums")
	v.picture("practice-talk")
	stopped = true
	require.NoError(t, line.Process.Signal(syscall.SIGTERM))
	require.NoError(t, line.Wait())
}

// TestReminderFromTheOutlookToThePhones: the program serves, an officer types what
// the radio says, reads the outlook, and sends the reminder that it drafts. It is
// at the gateway once for each phone whose briquettes dry or whose drum is alight
// there, and for no other; the page goes on by itself until it is done.
func TestReminderFromTheOutlookToThePhones(t *testing.T) {
	g := newFakeGateway(t, func(string) int { return 0 })
	dir := t.TempDir()
	p := &process{t: t, bin: build(t), dir: filepath.Join(dir, "data"), config: filepath.Join(dir, "cobline.toml")}
	config := strings.Replace(gatewayConfig(g.URL), "per_second = 2000", "per_second = 1", 1)
	config = `key = "kisima"
name = "Kisima cha Juu"
` + strings.Replace(config, "[outbox]", `[[place]]
key = "mto"
name = "Mto Mwembamba"
lat = 0.7
lon = 0
[outbox]`, 1)
	require.NoError(t, os.WriteFile(p.config, []byte(config), 0o600))
	var err error
	p.addr, err = freeAddress()
	require.NoError(t, err)
	const here = 9 // phones with something under way at the first place
	p.past(here)
	p.start()
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Log(p.log.String())
		}
	})

	v := visit(t, p.addr)
	v.do(chromedp.EmulateViewport(1100, 760))
	v.signIn(demoOfficer, demoPassword)
	v.open("/office/outlook/at/kisima/weather")
	v.do(
		chromedp.SendKeys(chromedp.CSS("#f-low-0"), "15"), chromedp.SendKeys(chromedp.CSS("#f-high-0"), "27"),
		chromedp.SendKeys(chromedp.CSS("#f-low-1"), "15"), chromedp.SendKeys(chromedp.CSS("#f-high-1"), "24"),
		chromedp.SendKeys(chromedp.CSS("#f-rain-1"), "8"), chromedp.SendKeys(chromedp.CSS("#f-hour-1"), "14"),
		chromedp.Click(chromedp.CSS("form[action$='/typed'] button")), chromedp.WaitReady(chromedp.CSS(".told")),
		chromedp.Click(chromedp.CSS("nav.line a[href='/office/outlook']")), chromedp.WaitReady(chromedp.CSS("#reminders")),
	)
	require.Contains(t, v.text("main"), "Rain is likely: Kisima cha Juu")
	require.Contains(t, v.text("main"), "9 reported a drum or drying")
	v.do(
		chromedp.Click(chromedp.CSS("#reminders + ul a.button")), chromedp.WaitReady(chromedp.CSS("#f-ring")),
		chromedp.SetValue(chromedp.CSS("#f-ring"), "reported"),
		chromedp.Click(chromedp.CSS("form[action$='/preview'] button")), chromedp.WaitReady(chromedp.CSS("form[action$='/send']")),
	)
	require.Contains(t, v.text(".facts"), "9 (9 reported)")
	require.Empty(t, g.noticed(), "nothing leaves before somebody says so")
	v.do(chromedp.Click(chromedp.CSS("form[action$='/send'] button")), chromedp.WaitReady(chromedp.CSS("#progress")))
	seen := map[string]bool{}
	eventually(t, "it is done", func() bool {
		seen[v.text("#progress p")] = true
		return strings.HasPrefix(v.text("#progress p"), "done")
	})
	require.Greater(t, len(seen), 2, "the page moves: %v", seen)
	require.Contains(t, v.text("#progress p"), "9 of 9")

	want := map[string]int{}
	for i := range here {
		want[phoneNumber(i)] = 1
	}
	require.Equal(t, want, g.noticed())
}

// past lets people write to the line before it serves: some have briquettes on
// the rack, some a drum alight, others only asked, live elsewhere, or left.
func (p *process) past(here int) {
	t, config := p.t, p.loaded()
	require.NoError(t, os.MkdirAll(p.dir, 0o700))
	store, err := boltstore.Open(filepath.Join(p.dir, storeFile), boltstore.Options{Zone: config.zone()})
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	accounts, err := console.NewAccounts(store)
	require.NoError(t, err)
	require.NoError(t, accounts.Add(t.Context(), demoOfficer, console.Officer, demoPassword, false, time.Now()))
	l, err := newLine(t.Context(), config, store, gateway.NewWatch(time.Time{}), nil, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	texts := 0
	says := func(phone int, ago time.Duration, all ...string) {
		number, err := gateway.ParseNumber(phoneNumber(phone), config.Country)
		require.NoError(t, err)
		for _, text := range all {
			texts++
			_, err := l.service.Receive(t.Context(), gateway.Inbound{
				ID: gateway.NewMessageID("plain", number.Digits(), strconv.Itoa(texts)), Channel: "plain", Sender: number.Digits(), From: number,
				Via: dialog.SMS, Text: text, At: time.Now().Add(-ago),
			})
			require.NoError(t, err)
		}
	}
	// In the order of their times: the line's clock does not go back.
	for i := range here {
		if i%3 > 0 {
			says(i, 53*time.Hour, "cobs 1 drum snaps food", "LIT")
		}
	}
	for _, next := range []struct {
		ago   time.Duration
		texts []string
	}{{52 * time.Hour, []string{"COVERED"}}, {25 * time.Hour, []string{"OPENED", "WEIGHED 6 kg"}}} {
		for i := range here {
			if i%3 > 0 {
				says(i, next.ago, next.texts...)
			}
		}
	}
	says(here, time.Hour, "cobs 1 drum snaps food")
	says(here+1, time.Hour, "join", "mto", "no", "yes", "cobs 1 drum snaps food", "LIT")
	says(here+2, time.Hour, "hi")
	says(here+3, time.Hour, "cobs 1 drum snaps food", "LIT", "STOP")
	for i := 0; i < here; i += 3 {
		says(i, 10*time.Minute, "cobs 1 drum snaps food", "LIT")
	}
}
