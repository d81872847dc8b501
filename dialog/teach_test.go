package dialog_test

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/dialog"
	"cobline/locales"
)

// objection returns why something may not be taught; nil if it may.
func objection(t testing.TB, err error) *dialog.Objection {
	var o dialog.Objection
	if err == nil {
		return nil
	}
	require.True(t, errors.As(err, &o), "%v", err)
	require.NotEmpty(t, o.Reasons)
	for _, why := range o.Reasons {
		require.True(t, strings.HasSuffix(why, "."), "a sentence: %s", why)
		require.NotContains(t, why, "%!")
	}
	return &o
}

// TestC25WhatAWordMayNotMean: what is refused, and with which reason.
func TestC25WhatAWordMayNotMean(t *testing.T) {
	taught := &dialog.Facts{Taught: dialog.NewOverlay([]dialog.Lesson{
		{Lang: "en", Word: "mukoko", Concept: "waste.maize-cob"}, {Lang: "en", Place: "mlimani", Word: "kiru", Concept: "waste.bamboo"},
	}, nil)}
	for _, c := range []struct {
		lang          locales.Lang
		word, concept string
		place         string
		why           string // empty: it may be taught
		second        bool
	}{
		{"en", "gunzira", "waste.maize-cob", "", "", false},
		{"en", "kokoro of maize", "waste.maize-cob", "", "", false},
		{"sw", "makokoro", "waste.maize-cob", "", "", false},
		{"en", "mchanyato", "topic.binder", "", "", false},
		{"en", "mukoko", "waste.maize-cob", "", "", false},

		{"xx", "gunzira", "waste.maize-cob", "", "does not hear", false},
		{"en", "gunzira", "waste.gold", "", "no meaning", false},
		{"en", "gunzira", "person.child", "", "no meaning", false},
		{"en", "gunzira", "trade.fire", "", "no meaning", false},
		{"en", "gunzira", "word.not", "", "no meaning", false},
		{"en", "x", "waste.bamboo", "", "fewer than 2 letters", false},
		{"en", "", "waste.bamboo", "", "fewer than 2 letters", false},
		{"en", "😀", "waste.bamboo", "", "fewer than 2 letters", false},
		{"en", "3", "waste.bamboo", "", "digit", false},
		{"en", "bamboo 2", "waste.bamboo", "", "digit", false},
		{"en", "a b c d e f g h i j k l", "waste.bamboo", "", "10 are the most", false},
		{"en", "bamboo", "waste.bamboo", "", "already: there is nothing to teach", false},
		{"en", "Bamboo", "waste.maize-cob", "", "already means bamboo", false},
		{"en", "magunzi", "waste.bamboo", "", "already means maize cobs", false},
		{"en", "hand", "unit.sack", "", "finds danger", false},
		{"en", "fainted", "topic.recipe", "", "danger", false},
		{"en", "fire in the house", "topic.burn", "", "danger", false},
		{"en", "unconsciuos", "waste.bamboo", "", "danger", false},
		{"sw", "nimeungua", "waste.bamboo", "", "danger", false},
		{"en", "stop", "topic.price", "", "already means STOP", false},
		{"en", "stop now friend", "topic.price", "", "STOP", false},
		{"en", "opened well", "symptom.cracks", "", "I opened it", false},
		{"en", "openedd", "symptom.cracks", "", "I opened it", false},
		{"en", "opene", "symptom.cracks", "", "one letter away", false},
		{"en", "snaps nicely", "topic.price", "", "dry", false},
		{"en", "not gunzira", "waste.bamboo", "", "denies", false},
		{"sw", "nimefunikwa", "waste.bamboo", "", "one letter", false},
		{"en", "mukoko", "waste.bamboo", "", "undo that first", false},
		{"en", "kiru", "waste.maize-cob", "", "undo that first", false},
		{"en", "kiru", "waste.maize-cob", "mlimani", "undo that first", false},
		{"en", "kiru", "waste.maize-cob", "bondeni", "", false},

		{"en", "kapweteka", "dryness.dry", "", "How dry the waste is", true},
		{"en", "nimezimua", "report.covered", "", "may be opened", true},
		{"sw", "niachie tu", "word.stop-local", "", "leaving", true},
		{"en", "kuzirika", "emergency.not-waking.a", "", "danger", true},
		{"en", "kapweteka", "smoke.thin", "", "smoke", true},
		{"en", "kapweteka", "drum-past.poison", "", "held before", true},
		{"en", "kapweteka", "word.yes", "", "confirms", true},
		{"en", "dewlit", "report.lit", "", "may be opened", true},
	} {
		f := taught
		o := objection(t, engine(t).CheckLesson(f, dialog.Lesson{Lang: c.lang, Place: c.place, Word: c.word, Concept: c.concept}))
		if c.why == "" {
			require.Nil(t, o, "%s %q as %s: %v", c.lang, c.word, c.concept, o)
			continue
		}
		require.NotNil(t, o, "%s %q as %s", c.lang, c.word, c.concept)
		require.Contains(t, o.Error(), c.why, "%s %q as %s", c.lang, c.word, c.concept)
		require.Equal(t, c.second, o.Second, "%s %q as %s: %v", c.lang, c.word, c.concept, o)
	}
}

// TestMeaningsHaveNames: every meaning that can be taught is one that the words
// files know, and has an English name of its own within its group.
func TestMeaningsHaveNames(t *testing.T) {
	meanings := engine(t).Meanings()
	require.Greater(t, len(meanings), 120)
	seen := map[string]bool{}
	for _, m := range meanings {
		require.True(t, locales.Known(m.Concept), m.Concept)
		require.NotEmpty(t, m.Name)
		require.False(t, seen[m.Group+m.Name], "%s: %s", m.Group, m.Name)
		seen[m.Group+m.Name] = true
		guarded := false
		for _, family := range []string{"emergency", "report", "question", "dryness", "word.stop", "word.forget-me", "word.not-me"} {
			guarded = guarded || strings.HasPrefix(m.Concept, family)
		}
		require.True(t, !guarded || m.Second, m.Concept)
	}
}

// TestC25WhatAWrittenAnswerMayNotSay: opening, hours, water, lighting and drums
// need an administrator; illness and injury are left to the fixed lines.
func TestC25WhatAWrittenAnswerMayNotSay(t *testing.T) {
	for _, c := range []struct {
		lang      locales.Lang
		text, why string
		second    bool
	}{
		{"en", "Asha at the market stall sells hand presses.", "", false},
		{"en", "The cooperative lends money to groups of five.", "", false},
		{"sw", "Asha sokoni anauza mashine za mkono.", "", false},

		{"en", "You may open it the same afternoon.", "opened only after", true},
		{"en", "Look inside first.", "opened only after", true},
		{"en", "Leave it for 6 hours.", "clock time", true},
		{"en", "Come at 6:30.", "clock time", true},
		{"en", "Pour some on it until it stops.", "No water", true},
		{"en", "A little watter helps.", "No water", true},
		{"en", "Use paraffin, it catches faster.", "petrol", true},
		{"en", "Buy an oil barrel and cut the top.", "cut one", true},
		{"sw", "Unaweza kufungua jioni.", "opened only after", true},
		{"sw", "Mimina maji.", "No water", true},
		{"sw", "Ukiwasha tumia petroli.", "petrol", true},
		{"sw", "Nunua mapipa ya mafuta.", "cut one", true},
		{"sw", "Subiri masaa sita.", "clock time", true},

		{"en", "Drink milk if you feel sick.", "first-aid", false},
		{"en", "Rub oil on the burned hand.", "first-aid", false},
		{"sw", "Ukiumwa kichwa kunywa dawa.", "first-aid", false},
		{"sw", "Gesi si hatari.", "first-aid", false},
		{"en", "", "empty", false},
		{"en", "Reply with 1 to hear more.", "digit", false},
	} {
		w := dialog.Written{ID: "w", Lang: c.lang, Questions: []string{"where do i buy a press", "nanunua wapi mashine"}[:1], Text: c.text}
		if c.lang == "sw" {
			w.Questions = []string{"nanunua wapi mashine"}
		}
		o := objection(t, engine(t).CheckAnswer(nil, w))
		if c.why == "" {
			require.Nil(t, o, "%s: %v", c.text, o)
			continue
		}
		require.NotNil(t, o, c.text)
		require.Contains(t, o.Error(), c.why, c.text)
		require.Equal(t, c.second, o.Second, "%s: %v", c.text, o)
	}
	for question, why := range map[string]string{
		"": "fewer than 2 letters", "9 kg": "digit", "my child fainted": "danger", "can i open": "burn", "stop": "leaving",
		"weather": "own answer", "opened": "burn", "where do i buy a press please": "",
	} {
		w := dialog.Written{ID: "w", Lang: "en", Questions: []string{question}, Text: "Asha sells them."}
		o := objection(t, engine(t).CheckAnswer(nil, w))
		require.Equal(t, why == "", o == nil, "%q: %v", question, o)
		if o != nil {
			require.Contains(t, o.Error(), why)
		}
	}
	known := &dialog.Facts{Taught: dialog.NewOverlay(nil, []dialog.Written{{ID: "a", Lang: "en", Questions: []string{"where is asha"}, Text: "Here."}})}
	twice := dialog.Written{ID: "b", Lang: "en", Questions: []string{"Where is Asha?"}, Text: "There."}
	require.ErrorContains(t, engine(t).CheckAnswer(known, twice), "has a written answer already")
	twice.ID = "a"
	require.NoError(t, engine(t).CheckAnswer(known, twice))
	twice.Stage = "nowhere"
	require.ErrorContains(t, engine(t).CheckAnswer(known, twice), "no stage")
}

// corpus is every text of the tables of understanding.
func corpus(t testing.TB) (all []map[string]string) {
	for _, kind := range []string{"emergency", "ordinary", "texts"} {
		all = append(all, rows(t, kind)...)
	}
	return all
}

// lessonsOf teaches every word, and every two neighbours, of the texts people
// write in a language as one concept, as far as an officer may.
func lessonsOf(t testing.TB, l locales.Lang, concept string) []dialog.Lesson {
	tried := map[string]bool{}
	var out []dialog.Lesson
	for _, row := range corpus(t) {
		if row["lang"] != string(l) {
			continue
		}
		words := strings.Fields(strings.ToLower(row["text"]))
		for i := range words {
			for _, word := range []string{words[i], strings.Join(words[i:min(i+2, len(words))], " ")} {
				lesson := dialog.Lesson{Lang: l, Word: word, Concept: concept}
				if !tried[word] && engine(t).CheckLesson(nil, lesson) == nil {
					out = append(out, lesson)
				}
				tried[word] = true
			}
		}
	}
	return out
}

// TestC25NothingTaughtTurnsAnAlarm: whatever officers may teach by themselves,
// each emergency, opt-out, report on a burn and question about one is read as
// before, and nothing is read in the direction of danger. The words taught are
// those of the very texts.
func TestC25NothingTaughtTurnsAnAlarm(t *testing.T) {
	for l := range languages(t) {
		for _, concept := range []string{"waste.bamboo", "unit.sack", "topic.price", "word.filler"} {
			lessons := lessonsOf(t, l, concept)
			require.NotEmpty(t, lessons)
			w := dialog.World{Facts: &dialog.Facts{Taught: dialog.NewOverlay(lessons, nil)}, Channel: dialog.Ability{Sends: true}}
			changed := 0
			for _, row := range corpus(t) {
				if row["lang"] != string(l) && row["lang"] != "en" {
					continue // a lesson is of one language
				}
				s := dialog.State{Met: true, Lang: l, Chosen: true}
				ev := dialog.Said{Text: row["text"], Via: dialog.SMS}
				before := engine(t).Step(s, ev, dialog.World{Channel: dialog.Ability{Sends: true}}).Heard
				after := engine(t).Step(s, ev, w).Heard
				says := fmt.Sprintf("%s as %s: %q", l, concept, row["text"])
				require.Equal(t, before.Tier, after.Tier, says)
				require.Equal(t, before.Emergency, after.Emergency, says)
				require.Equal(t, before.OptOut, after.OptOut, says)
				require.Equal(t, before.Report, after.Report, says)
				if before.Tier == "a" || before.OptOut || before.Report != "" {
					require.Equal(t, before, after, says)
				}
				if dangerouslyRead(row, before) == "" && row["note"] != "*" && row["slots"] != "*" {
					require.Empty(t, dangerouslyRead(row, after), says)
				}
				if fmt.Sprint(before) != fmt.Sprint(after) {
					changed++
				}
			}
			if concept == "waste.bamboo" {
				require.Positive(t, changed, "the lessons are heard at all")
			}
		}
	}
}

// TestC25StopInEveryLanguage: no lesson takes STOP from anybody, whatever is being
// asked and however the drum stands.
func TestC25StopInEveryLanguage(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	var lessons []dialog.Lesson
	for l := range languages(t) {
		for _, c := range []string{"word.filler", "waste.bamboo"} {
			lessons = append(lessons, lessonsOf(t, l, c)...)
		}
	}
	overlay := dialog.NewOverlay(lessons, nil)
	for _, texts := range [][]string{nil, {"cobs 2 drums"}, {"cobs 1 drum snaps", "lit"}, {"ask"}} {
		plain, taught := newPhone(t), newPhone(t)
		taught.taught = overlay
		for _, text := range texts {
			require.Equal(t, plain.says(text).Replies, taught.says(text).Replies, texts)
		}
		for _, heard := range catalog.Heard() {
			for _, spelling := range catalog.Words(heard)["word.stop"] {
				plain, taught := *plain, *taught
				require.Equal(t, plain.says(spelling).Replies, taught.says(spelling).Replies, "%s after %v", spelling, texts)
				require.True(t, taught.state.Stopped, spelling)
			}
		}
	}
}

// TestC25TaughtWordsInAnyState: with words taught, a report, an emergency and an
// opt-out bring the same turn as without, in any state of a burn.
func TestC25TaughtWordsInAnyState(t *testing.T) {
	overlay := dialog.NewOverlay(append(lessonsOf(t, "en", "waste.bamboo"), lessonsOf(t, "sw", "topic.price")...), nil)
	var fixed []string
	for _, row := range corpus(t) {
		if row["tier"] == "a" || row["report"] != "" || row["opt_out"] == "yes" {
			fixed = append(fixed, row["text"])
		}
	}
	require.Greater(t, len(fixed), 150)
	paths := [][]string{{"hello"}, {"cobs 2 drums snaps", "1", "lit a"}, {"cobs 1 drum snaps", "1", "lit", "covered"}, {"price"}, {"join"}}
	rapid.Check(t, func(r *rapid.T) {
		plain, taught := newPhone(t), newPhone(t)
		l := rapid.SampledFrom([]locales.Lang{"en", "sw"}).Draw(r, "language")
		for _, p := range []*phone{plain, taught} {
			p.state.Lang, p.state.Chosen, p.state.Met = l, true, true
		}
		for _, text := range rapid.SampledFrom(paths).Draw(r, "path") {
			plain.says(text)
		}
		taught.state, taught.taught = plain.state, overlay
		plain.now = plain.now.Add(time.Duration(rapid.IntRange(0, 2000).Draw(r, "minutes")) * time.Minute)
		taught.now = plain.now
		text := rapid.SampledFrom(fixed).Draw(r, "text")
		was := plain.says(text)
		if was.Heard.Tier == "a" || was.Heard.OptOut || was.Heard.Report != "" {
			require.Equal(t, was, taught.says(text), text)
		}
	})
}

// TestC25WithASecondLook: what an administrator has let through acts as the
// catalogue's own words do.
func TestC25WithASecondLook(t *testing.T) {
	p := newPhone(t)
	p.taught = dialog.NewOverlay([]dialog.Lesson{
		{Lang: "en", Word: "kuzirika", Concept: "emergency.not-waking.a"},
		{Lang: "en", Word: "nimezimua", Concept: "report.covered"},
		{Lang: "en", Word: "niachie", Concept: "word.stop-local"},
		{Lang: "en", Word: "katika kabisa", Concept: "dryness.dry"},
	}, nil)
	require.Equal(t, "dry", p.says("cobs 1 drum katika kabisa").Heard.Slots["dryness"].Key)
	require.Equal(t, "not-waking", p.says("my wife kuzirika").Heard.Emergency)
	p.says("lit")
	p.now = p.now.Add(40 * time.Minute)
	require.Equal(t, "covered", p.says("nimezimua").Heard.Report)
	q := newPhone(t)
	q.taught = p.taught
	q.says("hello")
	require.True(t, q.says("niachie").Heard.OptOut)
	require.True(t, q.state.Stopped)
}

// TestTaughtForAPlaceAlone: a word of one place is none in another, nor in another
// language's stead.
func TestTaughtForAPlaceAlone(t *testing.T) {
	lesson := dialog.Lesson{Lang: "sw", Place: "mlimani", Word: "kiru", Concept: "waste.bamboo"}
	for place, want := range map[string]string{"home": "", "mlimani": "bamboo", "bondeni": ""} {
		for _, l := range []locales.Lang{"sw", "en"} {
			p := newPhone(t)
			p.others = []string{"Mlimani", "Bondeni"}
			p.taught = dialog.NewOverlay([]dialog.Lesson{lesson}, nil)
			p.state.Lang, p.state.Chosen, p.state.Met, p.state.Place = l, true, true, place
			require.Equal(t, want, p.says("kiru 2").Heard.Slots["waste"].Key, "%s %s", place, l)
		}
	}
}

// TestC25WrittenAnswerAddsTheStagesLine: the caution follows the officer's text,
// and beside a hot drum what may not be opened stands with it.
func TestC25WrittenAnswerAddsTheStagesLine(t *testing.T) {
	for _, stage := range dialog.Stages() {
		p := newPhone(t)
		p.says("hello")
		p.taught = dialog.NewOverlay(nil, []dialog.Written{{ID: "a", Lang: "en", Questions: []string{"where does asha live"}, Stage: stage, Text: "By the river."}})
		turn := p.says("where does asha live?")
		require.Equal(t, []string{"ask.written", "caution." + stage}, keys(turn))
		require.Equal(t, "By the river.", turn.Replies[0].Text)
		require.Equal(t, "a", turn.Heard.Slots["written"].Key)
	}
	p := newPhone(t)
	for _, text := range []string{"cobs 1 drum snaps", "1", "lit", "covered"} {
		p.says(text)
	}
	p.taught = dialog.NewOverlay(nil, []dialog.Written{{ID: "a", Lang: "en", Questions: []string{"where does asha live"}, Stage: "opening", Text: "By the river."}})
	require.Equal(t, []string{"ask.written", "burn.not-before", "caution.opening"}, keys(p.says("where does asha live")))
}

// taughtWords are invented words, as many as officers teach in a year.
func taughtWords(n int) []dialog.Lesson {
	wastes := dialog.Keys()["wastes"]
	out := make([]dialog.Lesson, n)
	for i := range out {
		lang := []locales.Lang{"en", "sw"}[i%2]
		word := fmt.Sprintf("ng%s%sori", string(rune('a'+i%26)), strings.Repeat(string(rune('a'+i/26%26)), 1+i%3))
		out[i] = dialog.Lesson{Lang: lang, Word: word, Concept: "waste." + wastes[i%len(wastes)]}
	}
	return out
}

// BenchmarkStepTaught is a step with 500 taught words, beside one with none.
func BenchmarkStepTaught(b *testing.B) {
	overlay := dialog.NewOverlay(taughtWords(500), []dialog.Written{{ID: "a", Lang: "en", Questions: []string{"where does asha live"}, Text: "By the river."}})
	texts := map[string]string{
		"question": "can i open", "first-recipe": "cobs 2 drums snaps", "unknown": "qwerty zxcvb", "swahili": "mahindi magunzi pipa 2 kavu",
		"longest": longest(b)["en"], "taught": "ngaaori 2 drums snaps",
	}
	for _, name := range slices.Sorted(maps.Keys(texts)) {
		for taught, o := range map[string]*dialog.Overlay{"none": nil, "500": overlay} {
			b.Run(name+"/"+taught, func(b *testing.B) {
				p := newPhone(b)
				p.taught = o
				p.measure(b, []string{texts[name]})
			})
		}
	}
}

// BenchmarkOverlay is how long 500 words take to be made ready.
func BenchmarkOverlay(b *testing.B) {
	lessons := taughtWords(500)
	for b.Loop() {
		dialog.NewOverlay(lessons, nil)
	}
}

// C25: an officer's reply to one person is stopped with the rule that it may
// contradict; of an illness it never goes.
func TestC25ReplyToOnePerson(t *testing.T) {
	for _, tt := range []struct {
		lang, text, says string
		never            bool
	}{
		{"en", "The buyers meet at the market.", "", false},
		{"en", "You may open it.", "opening", false},
		{"en", "Come at 15:00.", "hours or days", false},
		{"en", "Pour water on it.", "water", false},
		{"en", "Light it after the rain.", "lighting", false},
		{"en", "The welder mends the lid.", "drums", false},
		{"en", "Take a tablet for the headache.", "illness", true},
		{"sw", "Fungua pipa sasa.", "opening", false},
		{"fr", "Versez de l'eau.", "water", false},
	} {
		err := engine(t).CheckReply(locales.Lang(tt.lang), tt.text)
		if tt.says == "" {
			require.NoError(t, err, tt.text)
			continue
		}
		o := objection(t, err)
		require.Contains(t, o.Error(), "It speaks of "+tt.says, tt.text)
		require.Equal(t, !tt.never, o.Second, tt.text)
	}
	require.ErrorContains(t, engine(t).CheckReply("xx", "anything"), "no list of the words of danger")
}
