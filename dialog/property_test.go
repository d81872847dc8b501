package dialog_test

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// texts are what people write, and what nobody should.
var texts = []string{
	"cobs 2 drums snaps", "magunzi pipa 2 kavu", "rice husk", "sawdust 1 drum dry", "husk", "300 drums", "3 sacks", "9 kg", "half drum", "bends", "kavu",
	"LIT", "LIT B", "COVERED", "covered b", "OPENED", "opened?", "can i open", "nifungue", "nimefunika", "leak", "weighed 9 kg 1 kg", "weighed", "resealed",
	"white", "thin", "flames", "moshi mweupe", "cold", "warm", "glow", "rain", "mvua", "wind", "dark",
	"fainted", "my hand is burned", "nimeungua mkono", "dizzy", "kizunguzungu", "fire", "HURT", "SEEN", "help!",
	"STOP", "acha", "START", "FORGET ME", "yes", "no", "NOT ME", "HELP", "MENU", "BACK", "MORE", "WHY", "LANGUAGE", "english", "kiswahili", "CALL",
	"OFFICE", "office 482913", "482913", "482914", "550017", "rain 18:00", "5",
	"0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "", "?", "...", "no, 3 drums", "the drum held diesel", "pesticide", "10 kg char cassava flour", "cassava",
	"\x00\x01", "😀 😀", strings.Repeat("a", 2000), "½ 1.500 5-6 1/0 99999999999999999999", "\u202ex\u200d",
}

// event draws an event that can happen to a conversation in this state.
func event(t *rapid.T, s dialog.State) dialog.Event {
	switch rapid.IntRange(0, 12).Draw(t, "kind") {
	case 0:
		return dialog.Said{Text: rapid.String().Draw(t, "text"), Via: dialog.SMS}
	case 1:
		if len(s.Timers) > 0 {
			return dialog.Due{Timer: rapid.SampledFrom(s.Timers).Draw(t, "timer")}
		}
		return dialog.Due{Timer: dialog.Timer{ID: "smoke:A", Kind: "smoke", Drum: "A"}}
	case 2:
		return dialog.Lapsed{Ref: "r", Key: rapid.SampledFrom([]string{"burn.hold", "burn.cover", "recipe.load", "burn.lapsed"}).Draw(t, "key"), Why: dialog.Expired}
	case 3:
		return dialog.Alerted{Alert: dialog.Alert{ID: "e1", Kind: "burn", Place: "home", Number: "+254700000001"}}
	case 4:
		return dialog.Said{
			Text: rapid.SampledFrom(texts).Draw(t, "text"), Via: dialog.USSD,
			Begins: true, Dropped: rapid.Bool().Draw(t, "dropped"),
		}
	default:
		return dialog.Said{Text: rapid.SampledFrom(texts).Draw(t, "text"), Via: dialog.SMS}
	}
}

// TestAnyTextInAnyState: every text gets one to three replies of at most two
// segments (an emergency and a notice of the first turn may take one more), the
// state decodes, Step leaves its input alone, and twice the same is the same.
func TestAnyTextInAnyState(t *testing.T) {
	e, p := engine(t), newPhone(t)
	langs := slices.Sorted(maps.Keys(languages(t)))
	p.langs = langs
	rapid.Check(t, func(t *rapid.T) {
		now := time.Date(2026, 3, 2, rapid.IntRange(0, 23).Draw(t, "hour"), 0, 0, 0, p.place.Zone)
		w := p.world()
		w.Channel.Sends = rapid.Bool().Draw(t, "sends")
		place := p.place
		place.Duty = rapid.IntRange(0, 2).Draw(t, "duty")
		w.Facts.Places["home"] = place
		var phone *office
		if rapid.Bool().Draw(t, "officer") {
			phone = &office{pin: "482913", digest: true, persons: 3, ends: now.AddDate(0, 0, 20), questions: []dialog.Waiting{{Place: "home", Text: "na unga?"}}}
		}
		var s dialog.State
		if rapid.Bool().Draw(t, "known") {
			s = dialog.State{Met: true, Chosen: true, Lang: rapid.SampledFrom(langs).Draw(t, "lang")}
		}
		for range rapid.IntRange(1, 12).Draw(t, "events") {
			now = now.Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "minutes")) * time.Minute)
			w.Now, w.Officer = now, phone.known(now)
			ev := event(t, s)
			before := s.Encode()
			turn := e.Step(s, ev, w)
			again := e.Step(s, ev, w)
			require.Equal(t, turn, again)
			require.Equal(t, before, s.Encode())
			for ask, ok := turn.Asks(); ok; ask, ok = turn.Asks() {
				w.Officer = phone.known(now)
				turn = turn.Then(e.Step(turn.State, phone.answer(ask, now), w))
			}
			if slices.Contains(turn.Effects, dialog.Effect(dialog.Resign{})) {
				phone = nil
			}
			decoded, err := dialog.DecodeState(turn.State.Encode())
			require.NoError(t, err)
			require.Equal(t, turn.State.Encode(), decoded.Encode())
			if _, ok := ev.(dialog.Said); ok && !(s.Stopped && turn.Heard.OptOut) {
				require.NotEmpty(t, turn.Replies)
			}
			require.LessOrEqual(t, len(turn.Replies), 3)
			for _, r := range turn.Replies {
				parts := sms.Split(sms.Plain(r.Plain(), locales.Substitutions(turn.Heard.Lang)))
				require.LessOrEqual(t, len(parts.Segments), 3*wideness(turn.Heard.Lang, 3), r.Plain())
				require.NotContains(t, r.Plain(), "<no value>")
				require.NotContains(t, r.Plain(), "{{")
				require.NotZero(t, r.Urgency)
			}
			s = decoded
		}
	})
}

// FuzzStep feeds any text, and any text behind it, into typical states: the
// state that comes of them can be stored and read again.
func FuzzStep(f *testing.F) {
	states := typical(f)
	for i, text := range texts {
		f.Add(text, texts[(i+7)%len(texts)], i%len(states))
	}
	e, w := engine(f), newPhone(f).world()
	f.Fuzz(func(t *testing.T, first, second string, state int) {
		s := states[(state%len(states)+len(states))%len(states)]
		for _, text := range []string{first, second} {
			turn := e.Step(s, dialog.Said{Text: text, Via: dialog.SMS}, w)
			if turn.Heard.OptOut && s.Stopped {
				require.LessOrEqual(t, len(turn.Replies), 1) // confirmed already
			} else {
				require.NotEmpty(t, turn.Replies)
			}
			require.LessOrEqual(t, len(turn.Replies), 3)
			decoded, err := dialog.DecodeState(turn.State.Encode())
			require.NoError(t, err)
			require.Equal(t, turn.State.Encode(), decoded.Encode())
			s = decoded
		}
	})
}

// typical are states in which texts of every kind are kept: a stranger, a person
// with nothing open, a sealed drum, and open questions for a number, an option,
// a text of one's own and a name, on the phone of one and of a group.
func typical(t testing.TB) []dialog.State {
	states := []dialog.State{{}, sealed(t).state}
	for _, path := range [][]string{nil, {"cobs"}, {"cobs 1 drum"}, {"ask"}, {"join"}, {"qwerty", "qwerty", "qwerty"}, {"FORGET ME"}, {"LIT", "LIT B", "COVERED"}, {"STOP"}} {
		p := known(t)
		for _, text := range path {
			p.says(text)
		}
		states = append(states, p.state)
	}
	p := absent(t, "sw")
	p.state.Profile.Group = "Umoja"
	return append(states, p.state)
}

// FuzzHear feeds any text to the reader in every language it hears: what it
// makes of it is finite, and the same twice.
func FuzzHear(f *testing.F) {
	for _, row := range rows(f, "texts") {
		f.Add(row["text"], row["lang"])
	}
	for _, text := range texts {
		f.Add(text, "sw")
	}
	e := engine(f)
	f.Fuzz(func(t *testing.T, text, lang string) {
		h := e.Hear(locales.Lang(lang), text)
		require.Equal(t, h, e.Hear(locales.Lang(lang), text))
		for slot, v := range h.Slots {
			require.False(t, math.IsNaN(v.Number) || math.IsInf(v.Number, 0), slot)
			require.GreaterOrEqual(t, v.Number, 0.0, slot)
		}
		require.Contains(t, []string{"", "a", "b"}, h.Tier)
	})
}
