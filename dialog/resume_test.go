package dialog_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

// dials presses the first key of a session, which may follow one that broke off.
func (p *phone) dials(text string, dropped bool) dialog.Turn {
	return p.step(dialog.Said{Text: text, Via: dialog.USSD, Begins: true, Dropped: dropped})
}

// C31 The next session after one that broke off asks before it shows anything.
func TestC31ResumeAsksFirst(t *testing.T) {
	asked := func() *phone {
		p := known(t)
		p.says("cobs 2 drums")
		require.Equal(t, dialog.Slot("dryness"), p.state.Frames[0].Open)
		return p
	}
	for _, dial := range []string{"", "*384#", "*384*1#", "1"} {
		p := asked()
		question := keys(p.says("?"))
		require.Equal(t, []string{"resume.question"}, keys(p.dials(dial, true)), dial)
		require.Equal(t, []string{"resume.question"}, keys(p.dials(dial, true)), "dropped again")
		require.Equal(t, question, keys(p.says("1")))
		require.Len(t, p.state.Frames, 1)
		require.Contains(t, keys(p.says("1")), "recipe.light", "the answer is that to the old question")
	}

	p := asked()
	p.dials("", true)
	require.Equal(t, []string{"line.menu"}, keys(p.says("2")))
	require.Len(t, p.state.Frames, 1, "nothing of before is left")

	p = asked()
	require.Equal(t, []string{"line.menu"}, keys(p.dials("1", false)), "after a long time no digit answers what was asked")

	p = known(t)
	require.Equal(t, []string{"line.menu"}, keys(p.dials("", true)), "nothing was asked")

	p = asked()
	require.Contains(t, keys(p.dials("no, 1 drum snaps", true)), "recipe.light", "words say what they want")
}

// C14 and C19 hold before anything is asked.
func TestC31EmergencyBeforeResume(t *testing.T) {
	p := known(t)
	p.says("cobs 2 drums")
	require.Equal(t, "a", p.dials("fainted", true).Heard.Tier)
	p = known(t)
	p.says("cobs 2 drums")
	require.True(t, p.dials("STOP", true).State.Stopped)
}

// C31 A report ends the question; a digit after it is no answer to it.
func TestC31ReportInPlaceOfResume(t *testing.T) {
	p := known(t)
	p.state.DrumPast = "food"
	p.says("cobs 1 drum snaps")
	p.says("binder")
	p.dials("", true)
	p.says("LIT")
	for _, f := range p.state.Frames {
		require.NotEqual(t, "resume", f.Topic)
	}
	p.now = p.now.Add(5 * time.Minute)
	require.Equal(t, []string{"burn.status-lit", "line.menu"}, keys(p.dials("", false)), "a session begins with how the burn stands, and a digit answers what is shown")
}

// C23 The first session ever says who speaks, and is no failure to understand.
func TestC23FirstSession(t *testing.T) {
	p := newPhone(t)
	turn := p.dials("", false)
	require.Contains(t, turn.Replies[0].Text, "I am Cobline, a machine.")
	require.Zero(t, turn.State.Fails)
	require.True(t, turn.Heard.Understood)
}
