//go:build peers

package console

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// An officer searches, reads, looks at a number and replies, by keyboard alone.
func TestTalkByKeyboard(t *testing.T) {
	o := newConsole(t)
	o.fillTalk()
	b := browse(t, o)
	b.size("laptop", false)
	b.signIn(Officer)
	focused := func() string {
		return evaluate[string](b, `(e => e.id || e.name || e.textContent.trim())(document.activeElement)`)
	}
	press := func(keys ...string) {
		for _, k := range keys {
			b.do(chromedp.KeyEvent(k))
		}
	}
	to := func(what string) {
		t.Helper()
		for range 60 {
			if focused() == what {
				return
			}
			press(kb.Tab)
		}
		t.Fatalf("the keyboard does not come to %q, but to %q", what, focused())
	}
	read := func(css string) string {
		t.Helper()
		b.do(chromedp.WaitVisible(chromedp.CSS(css)))
		return evaluate[string](b, `document.querySelector('`+css+`').innerText`)
	}
	to("Talk")
	press(kb.Enter)
	b.do(chromedp.WaitVisible(chromedp.CSS("#f-words")))
	to("f-words")
	press("rats", kb.Enter)
	require.Equal(t, "rats", read("mark"))
	require.Equal(t, 1, evaluate[int](b, `document.querySelectorAll('main tbody tr').length`))
	for evaluate[bool](b, `!document.activeElement.closest('main tbody')`) {
		press(kb.Tab)
	}
	press(kb.Enter)
	require.Contains(t, read(".said li:target"), "how do I keep the sacks from rats", "it leads to the text that was found")
	to("Show the whole number")
	press(kb.Enter)
	require.Contains(t, read(".told"), "+"+person(t, 20).Digits())
	require.Equal(t, "number shown", o.did("number shown").What)
	to("f-text")
	press("Hang them on a wire.")
	require.Eventually(t, func() bool { return evaluate[string](b, `document.querySelector('#m-text').innerText`) != "" }, 10*time.Second, 50*time.Millisecond)
	require.Equal(t, "From your officer: Hang them on a wire.", read("#m-text"), "with the words that the line puts before it")
	require.Contains(t, read("#n-text"), "1 message, 39 characters of GSM-7")
	b.sound("talk-reply")
	press(kb.Tab)
	require.Equal(t, "do", focused())
	press(kb.Enter)
	b.do(chromedp.WaitReady(chromedp.CSS("#m-text:empty"))) // of the next page
	require.Contains(t, read(".told"), "on its way")
	sent := o.outbox()
	require.Len(t, sent, 1)
	require.Equal(t, "From your officer: Hang them on a wire.", sent[0].Text)
	require.Equal(t, "reply sent", o.did("reply sent").What)
}

// A conversation of every kind, at both widths, in light and dark.
func TestTalkIsForEverybody(t *testing.T) {
	o := newConsole(t)
	o.fill()
	b := browse(t, o)
	b.signIn(Officer)
	for name, path := range map[string]string{
		"talk-one": o.talkOf(20), "talk-one-burn": o.talkOf(3), "talk-one-notice": o.talkOf(1), "talk-one-gone": "/office/talk/none",
		"talk-words": "/office/talk?words=sacks", "talk-none": "/office/talk?words=nothing", "talk-wrong": "/office/talk?from=x", "talk-figures": "/office/talk/figures",
	} {
		for width := range widths {
			for _, dark := range []bool{false, true} {
				b.size(width, dark)
				b.open(path)
				name := name + "-" + width + map[bool]string{true: "-dark"}[dark]
				b.sound(name)
				b.picture(name)
			}
		}
	}
}
