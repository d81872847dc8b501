package dialog_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

// asked is a text of each topic that is answered, and not met with a question.
var asked = map[string][]string{
	"recipe": {"cobs 2 drums snaps"}, "burn": {"a drum that is lit"}, "binder": {"9 kg charcoal 2 kg cassava root"}, "pressing": {"press 12 kg"},
	"drying": {"drying"}, "waste-drying": {"how to dry wet cobs"}, "plan": {"plan 100 kg cobs in 14 days"}, "price": {"price 60", "90"},
	"fix": {"my briquettes crumble", "1"}, "check": {"check", "1", "1", "1"}, "batches": {"my batches"}, "weather": {"weather"},
	"safety": {"safety", "1"}, "ask": {"ask", "why does it smoke"}, "enrol": {"join", "Umoja", "1"}, "language": {"language", "1"},
}

// BenchmarkStep measures the step that answers in each topic, the longest texts
// people are known to write, and texts of other kinds, beside a drum alight and
// a record. The drying topics reckon the coming weather hour by hour, and a plan
// its days over and over for what would make it quicker; the others answer from
// what is known.
func BenchmarkStep(b *testing.B) {
	texts := map[string][]string{
		"question": {"can i open"}, "emergency": {"my child drank water and fainted near the kiln"}, "unknown": {"qwerty zxcvb"}, "swahili": {"mahindi magunzi pipa 2 kavu"},
		"rambling": {"good morning sir please i have two and a half drums of maize cobs and they snap but my neighbour says the husks of the groundnut bend so what do i do tomorrow"},
	}
	for _, topic := range dialog.Keys()["topics"] {
		require.Contains(b, asked, topic)
		texts[topic] = asked[topic]
	}
	longest := longest(b)
	for l, text := range longest {
		texts["longest-"+l] = []string{text}
	}
	for name, texts := range texts {
		b.Run(name, func(b *testing.B) {
			p := newPhone(b)
			p.forecast("fair")
			p.says("LIT")
			for range 12 {
				p.state.Batches = append(p.state.Batches, dialog.Batch{At: p.now, Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 6, Minutes: 40, Ash: "grey"})
			}
			p.measure(b, texts)
		})
	}
	// A first text, whose language must be told by its words, before there is a
	// record to weigh in.
	for name, text := range map[string]string{"first-recipe": "cobs 2 drums snaps", "first-swahili": "mahindi magunzi pipa 2 kavu", "first-longest": longest["en"]} {
		b.Run(name, func(b *testing.B) { newPhone(b).measure(b, []string{text}) })
	}
}

// measure runs the step of the last text over and over.
func (p *phone) measure(b *testing.B, texts []string) {
	last := len(texts) - 1
	for _, text := range texts[:last] {
		p.says(text)
	}
	w := p.world()
	b.ReportAllocs()
	for b.Loop() {
		p.e.Step(p.state, dialog.Said{Text: texts[last], Via: dialog.SMS}, w)
	}
}

// longest returns the longest text of each language, of those in the table of
// texts and those that are said in a conversation.
func longest(t testing.TB) map[string]string {
	out := map[string]string{}
	take := func(lang, text string) {
		if len(text) > len(out[lang]) {
			out[lang] = text
		}
	}
	for _, row := range rows(t, "texts") {
		take(row["lang"], row["text"])
	}
	scripts, err := filepath.Glob("../testdata/conversations/*/*.txtar")
	require.NoError(t, err)
	for _, script := range scripts {
		said, err := os.ReadFile(script)
		require.NoError(t, err)
		for line := range strings.Lines(string(said)) {
			if text, ok := strings.CutPrefix(line, "> "); ok {
				take(filepath.Base(filepath.Dir(script)), strings.TrimSpace(text))
			}
		}
	}
	require.NotEmpty(t, out)
	return out
}
