package dialog_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// TestCorrectionsAndPointers: a person takes back what was said, points at an
// option by its place or its words, and writes numbers in their own way. Each row
// ends in a text, and holds what the last answer must say.
func TestCorrectionsAndPointers(t *testing.T) {
	for _, row := range []struct {
		lang  locales.Lang
		texts []string
		want  string
	}{
		{"en", []string{"recipe", "the second"}, "How many drums"},
		{"en", []string{"recipe", "number 2"}, "How many drums"},
		{"en", []string{"recipe", "2nd one"}, "How many drums"},
		{"sw", []string{"kipimo", "ya pili"}, "mapipa mangapi"},
		{"sw", []string{"kipimo", "namba 2"}, "mapipa mangapi"},
		{"en", []string{"cobs 2 drums dry", "no 3"}, "Fill 3 drums"},
		{"sw", []string{"magunzi pipa 2 makavu", "hapana 3"}, "Jaza mapipa 3"},
		{"en", []string{"cobs 2 drums dry", "not cobs husk"}, "1 maize husk"},
		{"sw", []string{"magunzi pipa 2 makavu", "si magunzi maganda"}, "1 maganda ya mahindi"},
		{"en", []string{"cobs 2 drums dry", "not cobs"}, "What waste do you have?"},
		{"en", []string{"cobs 2 drums dry", "maize stalks instead of cobs"}, "maize stalks"},
		{"en", []string{"maize 2 drums dry", "husk"}, "maize husk"},
		{"en", []string{"cobs 2 drums", "not dry"}, "Wet maize cobs: do not light yet"},
		{"en", []string{"300 sacks of cobs dry", "no"}, "How many drums"},
		{"en", []string{"45 sacks of cobs dry", "no, 5"}, "5 sacks"},
		{"en", []string{"9 kg charcoal, 2 kg cassava root", "all weaker"}, "For 9 kg charcoal: 2 kg cassava root"},
		{"sw", []string{"mkaa kilo 9, muhogo mbichi kilo 2", "wote dhaifu"}, "Kwa mkaa kilo 9"},
		{"en", []string{"my briquettes crumble", "paste not clear"}, "Stir the paste on the fire"},
		{"en", []string{"check", "all stay whole"}, "Weigh one"},
		{"en", []string{"check", "corners"}, "Put one in a bowl of water"},
		{"en", []string{"safety", "opening"}, "Do not open before the hour I sent"},
		{"en", []string{"charcoal 1.500 kg cassava flour"}, "2 it is 1500 kg of charcoal"},
		{"en", []string{"charcoal 1.500 kg cassava flour", "1"}, "For 1.5 kg charcoal"},
		{"en", []string{"charcoal 3k cassava flour"}, "For 3 kg charcoal"},
		{"en", []string{"price", "3k"}, "2 it is 3000 for a kg of charcoal"},
		{"en", []string{"price", "3k", "2", "0"}, "Charcoal costs 3000 KSh a kg"},
		{"sw", []string{"bei", "1.500", "0"}, "Mkaa ni 1500 KSh"},
		{"en", []string{"3,5 kg charcoal maize flour"}, "For 3.5 kg charcoal"},
		{"en", []string{"drums 2-3, cobs"}, "I read: 2.5 drums. Break some by hand."},
		{"sw", []string{"magunzu pipa 2-3"}, "Nimesoma: mapipa 2.5, magunzi ya mahindi."},
	} {
		p := speaks(t, row.lang)
		require.Contains(t, all(p.lasts(row.texts...)), row.want, "%s %q", row.lang, row.texts)
	}
}

// TestStuck: the second failure at a number lists some, the third offers a person
// and flags the conversation, and the officers see what was written and at which
// question. A real answer still counts.
func TestStuck(t *testing.T) {
	p := speaks(t, "en")
	turn := p.lasts("plan", "qq")
	require.Contains(t, all(turn), "I did not understand. How many kg")
	require.Equal(t, dialog.Heard{Lang: "en", Step: "plan.want_kg"}, turn.Heard)
	turn = p.says("qq")
	require.Equal(t, "it is 10 kg of briquettes", turn.Replies[0].Choices[0])
	turn = p.says("what now zz")
	require.Equal(t, []string{"ask.stuck"}, keys(turn))
	require.Equal(t, []dialog.Effect{dialog.Flag{Why: "not understood"}}, turn.Effects)
	require.Equal(t, "plan.want_kg", turn.Heard.Step)
	stuck := p.state
	turn = p.says("2")
	require.Equal(t, []dialog.Effect{dialog.Question{Text: "what now zz"}}, turn.Effects)
	require.Equal(t, []string{"ask.sent", "ask.want-kg"}, keys(turn))
	p.state = stuck
	require.Equal(t, []string{"ask.want-kg"}, keys(p.says("ask me again")))
	p.state = stuck
	require.Equal(t, []dialog.Effect{dialog.CallBack{}}, p.says("the first").Effects)
	p.state = stuck
	require.Equal(t, []string{"ask.waste"}, keys(p.says("50 kg")))
	p.channel.Sends = false
	p.state = stuck
	p.state.Frames = p.state.Frames[:1]
	require.NotContains(t, keys(p.says("zz")), "ask.stuck")
}
