package dialog_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

// office is what the world knows of an officer's phone in a test, and answers it.
type office struct {
	pin              string
	given, digest    bool
	wrong            int
	ends             time.Time
	places           []string
	questions, calls []dialog.Waiting
	work             dialog.Work
	persons          int
	sent             []dialog.Ask // the notices that went out
	asked            []dialog.Ask
}

const (
	rightCode  = "550017"
	mostPhones = 500
	maxWrong   = 5
)

func (o *office) known(now time.Time) *dialog.Officer {
	if o == nil {
		return nil
	}
	return &dialog.Officer{Open: o.wrong < maxWrong && now.Before(o.ends), Given: o.given, Places: o.places, Digest: o.digest, Ends: o.ends}
}

// answer is the world's answer to what an officer's phone asks for.
func (o *office) answer(ask dialog.Ask, now time.Time) dialog.Found {
	o.asked = append(o.asked, ask)
	f := dialog.Found{Ask: ask, Work: o.work, Persons: o.persons, Segments: 2 * o.persons, Most: mostPhones, Code: rightCode}
	f.Work.Questions, f.Work.Calls = len(o.questions), len(o.calls)
	if o.persons > mostPhones {
		f.No = dialog.NoMany
	}
	switch ask.What {
	case dialog.AskPIN:
		switch f.No = 0; {
		case string(ask.PIN) == o.pin:
			o.wrong = 0
		default:
			o.wrong++
			f.No = dialog.NoWrong
			if o.wrong == maxWrong {
				f.No = dialog.NoLocked
			}
		}
	case dialog.AskNewPIN:
		if f.No = 0; string(ask.PIN) == "123456" {
			f.No = dialog.NoWeak
			break
		}
		o.pin, o.given = string(ask.PIN), false
	case dialog.AskQuestions:
		f.Rows = o.questions
	case dialog.AskCalls:
		f.Rows = o.calls
	case dialog.AskSend:
		if !ask.Notice.Hour.After(now) {
			f.No = dialog.NoLate
		}
		if f.No == 0 {
			o.sent = append(o.sent, ask)
		}
	case dialog.AskMornings:
		o.digest = true
	case dialog.AskNoMornings:
		o.digest = false
	}
	return f
}

// officer is the phone of an officer who speaks English.
func officer(t testing.TB) *phone {
	p := known(t)
	p.officer = &office{pin: "482913", ends: p.now.AddDate(0, 6, 0), digest: true, persons: 23}
	return p
}

// inside is that phone behind its PIN.
func inside(t testing.TB) *phone {
	p := officer(t)
	p.says("OFFICE 482913")
	require.Equal(t, dialog.Slot("office"), p.state.Frames[0].Open)
	return p
}

// TestNoHintOfTheOffice: of a number that is no officer's phone, of one that has
// expired and of one that is locked the word means what it means to everybody,
// and the line says the same.
func TestNoHintOfTheOffice(t *testing.T) {
	for _, text := range []string{"OFFICE", "office", "ofisi", "OFFICE 482913", "482913"} {
		stranger := known(t)
		want := stranger.says(text)
		for name, spoil := range map[string]func(*phone){
			"expired": func(p *phone) { p.officer.ends = p.now },
			"locked":  func(p *phone) { p.officer.wrong = maxWrong },
		} {
			p := officer(t)
			spoil(p)
			got := p.says(text)
			require.Equal(t, keys(want), keys(got), "%s %s", name, text)
			if !strings.Contains(text, "4") {
				require.Equal(t, all(want), all(got), "%s %s", name, text)
			}
			require.Empty(t, p.officer.asked)
		}
	}
	// One that expires or is locked while it is open is out at once.
	for _, spoil := range []func(*phone){
		func(p *phone) { p.officer.ends = p.now },
		func(p *phone) { p.officer.wrong = maxWrong },
		func(p *phone) { p.now = p.now.Add(10 * time.Minute) },
	} {
		p := inside(t)
		spoil(p)
		p.officer.asked = nil
		p.says("newest questions")
		require.Empty(t, p.officer.asked)
	}
}

// TestPINIsKeptSecret: whatever an officer's phone texts that may be a PIN is
// marked for the journal, and neither said back nor kept, in any state of the
// conversation and of the phone.
func TestPINIsKeptSecret(t *testing.T) {
	states := map[string]func(t testing.TB) *phone{
		"a number with nothing open": officer,
		"behind the PIN":             inside,
		"asked for the PIN":          func(t testing.TB) *phone { p := officer(t); p.says("office"); return p },
		"asked for a new PIN":        func(t testing.TB) *phone { p := officer(t); p.officer.given = true; p.says("office 482913"); return p },
		"asked for an hour":          func(t testing.TB) *phone { p := inside(t); p.says("strong wind"); return p },
		"asked for the code":         func(t testing.TB) *phone { p := inside(t); p.says("wind 18:00"); return p },
		"asked how many drums":       func(t testing.TB) *phone { p := officer(t); p.says("cobs"); return p },
		"asked for a question":       func(t testing.TB) *phone { p := officer(t); p.says("ask"); return p },
		"asked for a group":          func(t testing.TB) *phone { p := officer(t); p.says("join"); return p },
		"a stranger":                 func(t testing.TB) *phone { p := officer(t); p.state = dialog.State{}; return p },
		"locked":                     func(t testing.TB) *phone { p := officer(t); p.officer.wrong = maxWrong; return p },
		"expired":                    func(t testing.TB) *phone { p := officer(t); p.officer.ends = p.now; return p },
		"on a group's phone":         func(t testing.TB) *phone { p := officer(t); p.state.Profile.Group = "Umoja"; return p },
		"not understood for long":    func(t testing.TB) *phone { p := officer(t); p.follows([]string{"qwerty", "qwerty"}); return p },
	}
	for name, state := range states {
		for _, text := range []string{
			"771204", "77 12 04", "7-7-1-2-0-4", "pin 771204", "my pin is 771204 please", "OFFICE 771204", "office771204", "771204ok", "771204 cobs",
			"Asha: 771204", "77l204", "7712O4", "٧٧١٢٠٤", "771204 771204", "help 771204", "771204?", "wrong one 77120", "7712044",
		} {
			p := state(t)
			turn := p.says(text)
			require.True(t, turn.Heard.Secret, "%s: %s", name, text)
			for _, digits := range []string{"771204", "77120", "7712", "77 12", "1204"} {
				require.NotContains(t, all(turn), digits, "%s: %s", name, text)
				require.NotContains(t, string(turn.State.Encode()), digits, "%s: %s", name, text)
				require.NotContains(t, fmt.Sprintf("%+v", turn), digits, "%s: %s", name, text)
			}
			for _, v := range turn.Heard.Slots {
				require.Less(t, v.Number, 7712.0, "%s: %s", name, text)
			}
			for _, f := range turn.State.Frames {
				for slot, v := range f.Slots {
					require.False(t, v.Number >= 7712 && v.Number < 7712045, "%s: %s: %s", name, text, slot)
				}
			}
		}
	}
	for _, text := range []string{"771", "4829 is my pin", "7"} {
		p := officer(t)
		p.says("office")
		require.True(t, p.says(text).Heard.Secret, "a PIN cut short: %s", text)
	}
	for _, text := range []string{"1500 kg", "cobs 2 drums", "lit at 9:05"} {
		require.False(t, officer(t).says(text).Heard.Secret, text)
	}
}

// TestOfficerInNeed: first aid, STOP, a duty phone's SEEN and what is reported of
// a drum come first on an officer's phone too, whatever is asked there.
func TestOfficerInNeed(t *testing.T) {
	for _, path := range []string{"office", "office 482913", "office 482913 > strong wind", "office 482913 > wind 18:00"} {
		p := officer(t)
		p.follows(strings.Split(path, " > "))
		turn := p.says("my child fainted")
		require.Equal(t, "a", turn.Heard.Tier, path)
		require.Contains(t, keys(turn), "aid.not-waking", path)

		p = officer(t)
		p.follows(strings.Split(path, " > "))
		require.Contains(t, keys(p.says("HURT")), "hurt.which", path)

		p = officer(t)
		p.follows(strings.Split(path, " > "))
		require.True(t, p.says("STOP").State.Stopped, path)

		p = officer(t)
		p.follows(strings.Split(path, " > "))
		p.step(dialog.Alerted{Alert: dialog.Alert{ID: "e1", Kind: "burn", Place: "home", At: p.now, Number: "+254700000001"}})
		require.Contains(t, keys(p.says("SEEN")), "duty.thanks", path)

		p = officer(t)
		p.follows(strings.Split(path, " > "))
		p.says("LIT")
		require.Len(t, p.state.Drums, 1, path)
	}
}

// TestC18OfficesQuestions: 0, 1 and 9 on every question of an officer's phone.
func TestC18OfficesQuestions(t *testing.T) {
	for path, list := range map[string]bool{
		"office": false, "office 482913": true, "office 482913 > 4": true, "office 482913 > strong wind": false, "office 482913 > wind 18:00": false,
	} {
		at := func() *phone {
			p := officer(t)
			p.follows(strings.Split(path, " > "))
			return p
		}
		zero, one, nine := keys(at().says("0")), at().says("1"), keys(at().says("9"))
		require.Equal(t, list, slices.Contains(zero, "line.menu"), path)
		require.Equal(t, list, slices.Contains(nine, "hurt.which"), path)
		require.True(t, one.Heard.Understood, path)
	}
}

// TestC27OfficersPhoneEnds: it says in time that it ends, and then it is over;
// STOP ends the list of the morning, and START brings it back.
func TestC27OfficersPhoneEnds(t *testing.T) {
	p := officer(t)
	p.officer.ends = p.now.AddDate(0, 0, 15)
	p.step(dialog.Posted{Lang: "en", Fresh: true})
	days, told, last := 0, 0, ""
	p.until(p.now.AddDate(0, 0, 20), func(turn dialog.Turn) {
		days++
		last = all(turn)
		if strings.Contains(last, "renewed") {
			told++
		}
	})
	require.Equal(t, 16, days, "fifteen mornings, and the one at which there is nothing more to say")
	require.GreaterOrEqual(t, told, 13)
	require.Empty(t, last)
	require.Empty(t, p.state.Timers)

	p = officer(t)
	p.step(dialog.Posted{Lang: "en"})
	require.Len(t, p.state.Timers, 1)
	require.Equal(t, "07:00", p.state.Timers[0].At.In(p.place.Zone).Format("15:04"))
	p.says("STOP")
	require.Empty(t, p.state.Timers)
	p.says("START")
	require.Len(t, p.state.Timers, 1)
}

// TestMorningListLate: a list that comes due long after its hour is left out, and
// the next one comes.
func TestMorningListLate(t *testing.T) {
	p := officer(t)
	p.step(dialog.Posted{Lang: "en"})
	timer := p.state.Timers[0]
	p.now = timer.At.In(p.place.Zone).Add(4 * time.Hour)
	require.Empty(t, p.step(dialog.Due{Timer: timer}).Replies)
	require.Equal(t, timer.At.Add(24*time.Hour), p.state.Timers[0].At)
	require.Empty(t, p.officer.asked)
}

// TestOfficerResigns: whoever says that the phone is not theirs, or wants to be
// forgotten, is no officer any more.
func TestOfficerResigns(t *testing.T) {
	p := inside(t)
	p.says("NOT ME")
	require.Nil(t, p.officer)
	p = inside(t)
	p.says("FORGET ME")
	require.NotNil(t, p.officer)
	p.says("yes")
	require.Nil(t, p.officer)
}

// TestOfficersPlaces: an officer of some places sees to those alone.
func TestOfficersPlaces(t *testing.T) {
	p := inside(t)
	p.others = []string{"Mlimani"}
	p.officer.places = []string{"mlimani"}
	p.says("wind 18:00 kisimani")
	require.Equal(t, "mlimani", p.officer.asked[len(p.officer.asked)-1].Place)
}

// TestCodeOfOneWarning: the code sends what was shown, once.
func TestCodeOfOneWarning(t *testing.T) {
	p := inside(t)
	turn := p.says("rain 18:00")
	require.Equal(t, []string{"office.draft", "office.code"}, keys(turn))
	require.False(t, turn.Replies[0].Apart)
	require.True(t, turn.Replies[1].Apart, "the code goes to the phone alone")
	require.NotContains(t, turn.Replies[0].Text, rightCode)
	p.says(rightCode)
	require.Len(t, p.officer.sent, 1)
	require.Equal(t, "rain", p.officer.sent[0].Notice.Ready)
	p.says(rightCode)
	require.Len(t, p.officer.sent, 1)
}

// TestOfficeBySession: the same on screens: the code and the lists go out as
// texts, and whoever dials anew is shown nothing older.
func TestOfficeBySession(t *testing.T) {
	p := officer(t)
	p.officer.questions = []dialog.Waiting{{At: p.now, Place: "home", Text: "na unga?"}}
	p.dials("", false)
	require.Contains(t, keys(p.presses("office")), "office.ask-pin")
	require.Contains(t, keys(p.presses("482913")), "office.ask-office")
	turn := p.presses("2")
	require.Equal(t, []string{"office.n-questions", "office.by-text", "office.ask-office"}, keys(turn))
	require.True(t, turn.Replies[0].Apart)
	turn = p.presses("rain 18:00")
	require.True(t, turn.Replies[0].End, "the code comes as a text")
	p.dials("", true)
	p.says(rightCode)
	require.Len(t, p.officer.sent, 1, "by text, while a screen shows something else")

	p = officer(t)
	p.dials("", false)
	p.presses("office")
	p.presses("482913")
	p.dials("", false)
	p.officer.asked = nil
	p.presses("1")
	require.Empty(t, p.officer.asked, "the list of a session that is over answers nothing")
}

// presses keys something in a dialled session.
func (p *phone) presses(text string) dialog.Turn {
	return p.step(dialog.Said{Text: text, Via: dialog.USSD})
}
