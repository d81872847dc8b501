//go:build peers

package console

import (
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	downloads "github.com/chromedp/cdproto/browser"
	cdp "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"cobline/gateway"
)

// agree says yes to whatever the pages ask.
func (b *browser) agree() {
	go func() {
		for _, err := range chromedp.Events(b.ctx, cdp.JavascriptDialogOpening) {
			if err != nil {
				return
			}
			_, _ = chromedp.Call(b.ctx, cdp.HandleJavaScriptDialog, cdp.HandleJavaScriptDialogParams{Accept: true})
		}
	}()
}

// press hits keys, one after the other.
func (b *browser) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// tabTo goes from one thing to the next until something of this name, or with this
// id, has the focus; its outline is seen then.
func (b *browser) tabTo(name string) {
	b.t.Helper()
	for range 150 {
		b.press(kb.Tab)
		if evaluate[bool](b, fmt.Sprintf(`(e => e.id === %[1]q || e.textContent.trim() === %[1]q)(document.activeElement)`, name)) {
			require.Equal(b.t, "solid", evaluate[string](b, `getComputedStyle(document.activeElement).outlineStyle`), "the focus on %s is not seen", name)
			return
		}
	}
	require.Fail(b.t, "the keyboard does not lead there", "%s at %s", name, b.path())
}

// come waits until the page holds something.
func (b *browser) come(css string) {
	b.t.Helper()
	b.do(chromedp.WaitReady(chromedp.CSS(css)))
}

// read returns what is to be read of a part of the page.
func (b *browser) read(css string) string {
	b.t.Helper()
	return evaluate[string](b, fmt.Sprintf(`document.querySelector(%q).innerText.replace(/\s+/g, ' ')`, css))
}

// until waits until a part of the page, which nobody loads again, says something.
func (b *browser) until(css, text string) {
	b.t.Helper()
	said := ""
	for end := time.Now().Add(time.Minute); !strings.Contains(said, text); time.Sleep(50 * time.Millisecond) {
		require.True(b.t, time.Now().Before(end), "%s says %q, not %q", css, said, text)
		said = b.read(css)
	}
}

// keysIn signs in by the keyboard alone.
func (b *browser) keysIn(r Role) {
	b.t.Helper()
	b.open("/office/sign-in")
	b.tabTo("f-name")
	b.press(r.String(), kb.Tab, password, kb.Enter)
	b.come("nav.own")
}

// leave signs out.
func (b *browser) leave() {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS("nav.own summary")), chromedp.Click(chromedp.CSS("form[action='/office/sign-out'] button")), chromedp.WaitReady(chromedp.CSS("#f-name")))
}

// TestReminderByKeyboard: an officer without a mouse reads the outlook, opens the
// reminder that it drafts, sends it to those it is for, and is told how far it
// has come without loading the page again.
func TestReminderByKeyboard(t *testing.T) {
	o := newConsole(t)
	for i, texts := range [][]string{{"cobs 2 drums snaps food", "LIT"}, {"cobs 2 drums snaps food"}, {"hi"}, {"cobs 2 drums snaps food", "LIT", "STOP"}} {
		for _, text := range texts {
			o.says(person(t, i), text)
		}
	}
	o.joined("lakeside", 4)
	o.says(person(t, 4), "cobs 2 drums snaps food")
	o.says(person(t, 4), "LIT")
	o.outbox()
	o.weather("home")
	b := browse(t, o)
	b.agree()
	b.size("laptop", false)
	b.keysIn(Officer)
	require.Equal(t, "/office/outlook", b.path())
	b.sound("outlook-with-a-reminder")
	b.tabTo("Read it and send")
	b.press(kb.Enter)
	b.come("form[action='/office/notices/preview']")
	b.sound("reminder-form")
	b.tabTo("Preview")
	b.press(kb.Enter)
	b.come("form[action='/office/notices/send']")
	require.Contains(t, b.read(".facts"), "Phones 2 (1 likely, 1 reported)")
	b.sound("reminder-preview")
	b.tabTo("Send to 2 phones")
	o.wait(time.Second)
	b.press(kb.Enter)
	b.come("#progress")
	b.sound("reminder-listing")
	o.run()
	b.until("#progress p", "going out: 0 of 2")
	var to []gateway.Number
	for i, ref := range o.references() {
		o.tell(ref)
		to = append(to, ref.To)
		b.until("#progress p", fmt.Sprintf(": %d of 2", i+1))
		b.sound("reminder-going")
	}
	require.Equal(t, []gateway.Number{person(t, 0), person(t, 1)}, to)
	require.Equal(t, "done: 2 of 2", b.read("#progress p"))
	b.tabTo("All notices")
	b.press(kb.Enter)
	b.come("tbody")
	require.Contains(t, b.read("tbody tr"), "Rain is likely")
}

// TestACountLeadsOn: what takes long to count shows how far it is, and comes by
// itself.
func TestACountLeadsOn(t *testing.T) {
	o := newConsole(t)
	o.joined("lakeside", 1, 2)
	store := &halting{o.store, make(chan struct{}), make(chan error, 100)}
	o.Notices, o.patience = gateway.NewNotices(store, o.Service), patience
	o.weather("home")
	b := browse(t, o)
	b.signIn(Officer)
	b.until("#counting", "is being counted")
	b.open("/office/notices/new")
	b.do(chromedp.SendKeys(chromedp.CSS("#f-text-en"), "Training on Friday."), chromedp.Click(chromedp.CSS("form[action='/office/notices/preview'] button")))
	b.come("#progress")
	b.sound("notice-being-counted")
	close(store.goes)
	b.come("form[action='/office/notices/send']")
	require.Contains(t, b.read(".facts"), "Phones 2 (2 accepted)")
}

// references returns the references to notices that wait, whose texts are made
// when they are told.
func (o *office) references() (refs []gateway.Outbound) {
	o.t.Helper()
	leased, err := o.store.Lease(context.Background(), "sms", o.clock(), time.Hour, 1000)
	require.NoError(o.t, err)
	for _, m := range leased {
		if m.Notice != "" {
			refs = append(refs, m)
		}
	}
	return refs
}

// tell sends a message of a notice, as an outbox does.
func (o *office) tell(ref gateway.Outbound) {
	o.t.Helper()
	m, _, send, err := o.Notices.Tell(context.Background(), ref, o.clock())
	require.NoError(o.t, err)
	require.True(o.t, send)
	require.NoError(o.t, o.store.Settle(context.Background(), m.Ref, gateway.Settlement{Outcome: gateway.Sent, At: o.clock()}))
}

// TestLockedOutInABrowser: who mistypes a password too often is told how long to
// wait, also with the right one, until an administrator unlocks the account.
func TestLockedOutInABrowser(t *testing.T) {
	o := newConsole(t)
	b := browse(t, o)
	b.size("phone", false)
	try := func(word string) {
		t.Helper()
		b.open("/office/sign-in")
		b.do(chromedp.SendKeys(chromedp.CSS("#f-name"), "officer"), chromedp.SendKeys(chromedp.CSS("#f-password"), word+kb.Enter), chromedp.WaitReady(chromedp.CSS("#faults, nav.own")))
	}
	for range triesByName {
		try("not the password")
		require.Contains(t, b.read("#faults"), "is not right")
	}
	try(password)
	require.Contains(t, b.read("#faults"), "Too many sign-ins have failed. Try again in")
	b.sound("locked")
	b.picture("locked")

	b.size("laptop", false)
	b.keysIn(Administrator)
	b.tabTo("administrator")
	b.press(kb.Enter)
	b.tabTo("Accounts")
	b.press(kb.Enter)
	b.come("a[href='/office/accounts/officer']")
	b.tabTo("officer")
	b.press(kb.Enter)
	b.come("form[action$='/unlock']")
	require.Contains(t, b.read("main"), "locked until")
	b.sound("locked-account")
	b.tabTo("Unlock")
	b.press(kb.Enter)
	b.come(".told")
	require.Contains(t, b.read(".told"), "may sign in again at once")
	b.leave()
	b.signIn(Officer)
	require.Equal(t, "/office/outlook", b.path())
}

// TestAViewerOnlyReads: a viewer opens every part of the menu, is offered nothing
// that sends, teaches or enters, and is refused it by address and by form.
func TestAViewerOnlyReads(t *testing.T) {
	o := newConsole(t)
	o.fill()
	b := browse(t, o)
	b.size("laptop", false)
	b.signIn(Viewer)
	token := evaluate[string](b, fmt.Sprintf(`document.querySelector("[name=%s]").value`, tokenField))
	for _, part := range (view{}).Menu() {
		b.do(chromedp.Click(chromedp.CSS(fmt.Sprintf("nav.line a[href='%s']", part.Path))))
		b.come(fmt.Sprintf("nav.line a[href='%s'][aria-current]", part.Path))
		require.Zero(t, evaluate[int](b, `document.querySelectorAll("main form[method=post]:not([action$='/find'])").length`), part.Path)
	}
	for _, r := range o.routes() {
		if r.role <= Viewer {
			continue
		}
		path := concrete(r.path)
		if r.method == get {
			if strings.Contains(path, "/none") {
				continue
			}
			b.open(path)
			require.Contains(t, b.read("main"), "This is for an "+r.role.String(), path)
			continue
		}
		status := evaluate[int](b, fmt.Sprintf(`fetch(%q, {method: "POST", body: new URLSearchParams({%q: %q})}).then(a => a.status)`, path, tokenField, token))
		require.Equal(t, http.StatusForbidden, status, path)
	}
	b.sound("a-viewer-may-not")
	b.picture("a-viewer-may-not")
}

// TestExportByKeyboard: an officer without a mouse finds a group and takes it out as a file whose
// cells a spreadsheet takes for text; the numbers in it are masked.
func TestExportByKeyboard(t *testing.T) {
	o := newConsole(t)
	o.fillProducers()
	b := browse(t, o)
	b.size("laptop", false)
	dir := t.TempDir()
	_, err := chromedp.CallBrowser(b.ctx, downloads.SetDownloadBehavior, downloads.SetDownloadBehaviorParams{Behavior: downloads.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
	require.NoError(t, err)
	take := func() (rows [][]string) {
		t.Helper()
		b.tabTo("Download as CSV")
		b.press(kb.Enter)
		require.Eventually(t, func() bool {
			files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
			require.NoError(t, err)
			if len(files) != 1 {
				return false
			}
			data, err := os.ReadFile(files[0])
			require.NoError(t, err)
			rows, err = csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff"))).ReadAll()
			require.NoError(t, err)
			if len(rows) < 2 {
				return false
			}
			require.NoError(t, os.Remove(files[0]))
			return true
		}, time.Minute, 50*time.Millisecond)
		return rows
	}
	b.keysIn(Officer)
	b.tabTo("Producers")
	b.press(kb.Enter)
	b.come("#f-group")
	b.tabTo("Search by words, place, group, language, under way, opted out")
	b.press(kb.Enter) // it unfolds
	b.tabTo("f-group")
	b.press("=L")
	b.tabTo("Show")
	b.press(kb.Enter)
	b.come("tbody tr:nth-child(6):last-child")
	rows := take()
	require.Len(t, rows, 1+6)
	for _, row := range rows[1:] {
		require.Contains(t, row[0], "…")
		require.Equal(t, "'=Lower", row[2])
	}
	b.open("/office/batches")
	require.Len(t, take(), 1+8)
	require.Equal(t, "officer", o.did("producers exported").By)
	require.Equal(t, "officer", o.did("batches exported").By)
}

// TestReplyInABrowser: an officer searches what people wrote, opens the
// conversation, looks at the reply as a phone shows it, and sends it.
func TestReplyInABrowser(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	b := browse(t, o)
	b.agree()
	b.size("phone", false)
	b.signIn(Officer)
	b.open("/office/talk")
	b.do(chromedp.SendKeys(chromedp.CSS("#f-words"), "sacks rats"+kb.Enter), chromedp.WaitReady(chromedp.CSS("tbody tr:only-child")))
	b.do(chromedp.Click(chromedp.CSS("tbody a")), chromedp.WaitReady(chromedp.CSS("form[action$='/reply']")))
	b.sound("conversation")
	b.picture("conversation")
	b.do(chromedp.SendKeys(chromedp.CSS("#f-text"), "Hang the sacks on a wire under the roof."))
	b.until("#m-text", "From your officer: Hang the sacks on a wire under the roof.")
	require.Empty(t, o.outbox(), "looking sends nothing")
	b.sound("reply-looked-at")
	b.do(chromedp.Click(chromedp.CSS("form[action$='/reply'] button[value=send]")), chromedp.WaitReady(chromedp.CSS(".told")))
	out := o.outbox()
	require.Len(t, out, 1)
	require.Equal(t, person(t, 20), out[0].To)
	require.Equal(t, "From your officer: Hang the sacks on a wire under the roof.", out[0].Text)
}

// TestTeachByKeyboard: what people wrote and the line did not understand is taught
// without a mouse; the texts that it changes are shown first, and the next text is
// understood.
func TestTeachByKeyboard(t *testing.T) {
	o := newConsole(t)
	o.fillQuestions()
	o.outbox()
	b := browse(t, o)
	b.size("laptop", false)
	b.keysIn(Officer)
	b.tabTo("Questions")
	b.press(kb.Enter)
	b.come("#unknown")
	b.sound("questions")
	b.press(kb.Tab)
	// From under the list of what was not understood the next is its way to teach.
	b.do(chromedp.Focus(chromedp.CSS("#unknown ~ .matters summary")))
	b.tabTo("Teach a word")
	b.press(kb.Enter)
	b.come("#f-meaning")
	require.Equal(t, "nubbins", evaluate[string](b, `document.querySelector("#f-word").value`))
	b.tabTo("f-meaning")
	b.press("waste: maize c")
	require.Equal(t, "waste.maize-cob", evaluate[string](b, `document.querySelector("#f-meaning").value`))
	b.tabTo("Show what it changes")
	b.press(kb.Enter)
	b.come("caption")
	require.Contains(t, b.read("main"), "3 would be understood otherwise")
	require.Contains(t, b.read("tbody"), "maize cobs")
	b.sound("teach-shown")
	b.picture("teach-shown")
	o.says(person(t, 50), "nubbins 2 drums dry")
	require.NotEqual(t, "maize-cob", o.waste(50), "nothing is taught yet")
	b.tabTo("Teach it")
	o.wait(time.Minute)
	b.press(kb.Enter)
	b.come(".told")
	require.Contains(t, b.read(".told"), "from the next message on")
	b.sound("taught")
	o.says(person(t, 51), "nubbins 2 drums dry")
	require.Equal(t, "maize-cob", o.waste(51))
}

// waste is what the line knows that a person has.
func (o *office) waste(last int) string {
	c, err := o.store.Load(context.Background(), person(o.t, last))
	require.NoError(o.t, err)
	return c.State.Waste
}

// TestAnswerByKeyboard: a question is answered without a mouse from the list of those
// that wait, the reply leaves to who asked, and the question waits no longer.
func TestAnswerByKeyboard(t *testing.T) {
	o := newConsole(t)
	o.fillQuestions()
	o.outbox()
	b := browse(t, o)
	b.agree()
	b.size("phone", false)
	b.signIn(Officer)
	b.open("/office/questions")
	require.Contains(t, b.read("main"), "who buys <i>briquettes</i> near the school")
	b.sound("questions-phone")
	b.picture("questions-phone")
	b.tabTo("Reply")
	b.press(kb.Enter)
	b.come("#f-text")
	b.tabTo("f-text")
	b.press("The cook of the school does. Ask at the gate on Monday.")
	b.tabTo("Send")
	b.press(kb.Enter)
	b.come(".told")
	out := o.outbox()
	require.Len(t, out, 1)
	require.Equal(t, person(t, 42), out[0].To)
	require.Equal(t, "From your officer: The cook of the school does. Ask at the gate on Monday.", out[0].Text)
	o.catchUp()
	b.open("/office/questions")
	require.Contains(t, b.read("main"), "No question waits.")
	b.tabTo("Acknowledge: I see to it")
	b.press(kb.Enter)
	b.come(".told")
	require.Zero(t, evaluate[int](b, `document.querySelectorAll(".alarm").length`), "somebody sees to the emergency")
}
