package dialog_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// notSpoken are the languages that are heard and not spoken, each with the one its
// writers are answered in where English, French and Swahili are sent, and a way to
// ask for help, to say two and to say yes.
var notSpoken = map[locales.Lang]struct {
	in             locales.Lang
	help, two, yes string
}{
	"ny": {"en", "thandizo", "ziwiri", "inde"},
	"rw": {"fr", "ubufasha", "ebyiri", "yego"},
	"lg": {"en", "obuyambi", "bbiri", "weewaawo"},
	"yo": {"en", "ran mi lowo", "meji", "beeni"},
	"wo": {"fr", "ndimbal", "ñaar", "waaw"},
	"am": {"en", "እርዳታ", "ሁለት", "አዎ"},
	"bn": {"en", "সাহায্য", "দুই", "হ্যাঁ"},
	"ne": {"en", "मद्दत", "दुई", "हजुर"},
}

// TestCriesInLanguagesThatAreNotSpoken: a cry in a language the line cannot speak
// gets first aid in one that is sent, then the question which language it should
// speak. Those from "list" are the words of alarm that were collected for these
// languages, by people who do not speak them; those from "memory" were added here,
// no surer. A short word that is another one elsewhere alarms only beside another.
func TestCriesInLanguagesThatAreNotSpoken(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	cried, listed := map[locales.Lang]int{}, 0
	for _, row := range rows(t, "cries") {
		lang := locales.Lang(row["lang"])
		require.Contains(t, []string{"list", "memory"}, row["from"])
		p := newPhone(t)
		turn := p.says(row["text"])
		require.Equal(t, row["kind"], turn.Heard.Emergency, row)
		require.Equal(t, row["tier"], turn.Heard.Tier, row)
		if row["from"] == "list" {
			listed++
		}
		if row["tier"] == "" {
			continue
		}
		cried[lang]++
		want := notSpoken[lang].in
		require.Equal(t, catalog.Text(want, locales.ID("aid."+row["kind"]), nil), turn.Replies[0].Text, row)
		require.LessOrEqual(t, len(turn.Replies), 3)
		require.Equal(t, []string{"English", "Francais", "Kiswahili"}, turn.Replies[len(turn.Replies)-1].Choices, row)
		require.Equal(t, locales.Lang("sw"), p.says("3").Heard.Lang, row)
		require.True(t, p.state.Chosen)
	}
	require.Greater(t, listed, 50)
	for lang := range notSpoken {
		require.GreaterOrEqual(t, cried[lang], 5, lang)
	}
}

// TestACryIsAnsweredInTheLanguageOfTheSession: whoever is known is answered in
// what they speak with the line, and not asked again.
func TestACryIsAnsweredInTheLanguageOfTheSession(t *testing.T) {
	for _, chosen := range []locales.Lang{"en", "fr", "sw"} {
		p := speaks(t, chosen)
		turn := p.says("omwana ayokeddwa")
		require.Equal(t, "burn", turn.Heard.Emergency)
		catalog, err := theCatalog()
		require.NoError(t, err)
		require.Equal(t, catalog.Text(chosen, "aid.burn", nil), turn.Replies[0].Text)
		for _, r := range turn.Replies {
			require.Empty(t, r.Choices)
		}
	}
}

// TestWhatIsHeardInLanguagesThatAreNotSpoken: HELP, STOP, a number, a yes and the
// language's own name. No everyday word of theirs stops the messages.
func TestWhatIsHeardInLanguagesThatAreNotSpoken(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for lang, words := range notSpoken {
		require.Contains(t, catalog.Heard(), lang)
		require.NotContains(t, catalog.Langs(), lang)
		require.Equal(t, []string{"line.help"}, keys(known(t).says(words.help)), lang)

		p := known(t)
		p.says("cobs dry")
		require.Equal(t, dialog.Value{Number: 2}, p.says(words.two).Heard.Slots["drums"], lang)

		p = known(t)
		p.says("FORGET ME")
		require.Equal(t, []string{"consent.forgotten"}, keys(p.says(words.yes)), lang)

		require.True(t, known(t).says("stop").Heard.OptOut, lang)
		require.Empty(t, catalog.Words(lang)["word.stop-local"], lang)
		name := catalog.Words(lang)["lang."+string(lang)][0]
		require.Equal(t, []string{"language.not-spoken", "language.question"}, keys(known(t).says(name)), lang)
	}
}

// TestWordsOfWorkAbroad: texts of the trade in languages that are sent hold words
// that are others in those that are not.
func TestWordsOfWorkAbroad(t *testing.T) {
	for text, lang := range map[string]locales.Lang{
		"I lit it 2 days ago": "en", "the children came 2 hours ago": "en", "mwana wa jirani amekuja": "sw", "moto": "en",
		"mon omo lave": "fr", "xem": "fr", "miir": "fr", "rara": "fr", "my hat is on": "en", "no tin": "en", "bamboo 1 drum dry, cut short": "en",
		"net": "en", "awo": "sw",
	} {
		require.Empty(t, speaks(t, lang).says(text).Heard.Emergency, text)
	}
}

// TestNamesAreNoNumbers: what people are called is no number and no answer because
// some language that is not spoken has a word like it.
func TestNamesAreNoNumbers(t *testing.T) {
	for _, text := range []string{"Ben", "Emu", "net", "gesi", "Oya", "Enye", "Ayi"} {
		p := known(t)
		p.says("cobs dry")
		require.Empty(t, p.says(text).Heard.Slots, text)
		p = known(t)
		p.says("FORGET ME")
		require.NotContains(t, keys(p.says(text)), "consent.forgotten", text)
		require.NotContains(t, keys(p.says(text)), "consent.kept", text)
	}
}
