package dialog_test

import (
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// with returns an engine whose languages have these files in place of their own.
func with(t testing.TB, files map[string]string) *dialog.Engine {
	folder := fstest.MapFS{}
	for name, data := range files {
		folder[name] = &fstest.MapFile{Data: []byte(data)}
	}
	catalog, err := locales.LoadFS(locales.Over(folder))
	require.NoError(t, err)
	e, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	return e
}

// TestNobodyIsSentALanguageThatWaits: what waits for a reviewer is not sent where
// the world does not switch it on, neither to who writes it, nor to who was
// entered with it, nor to who chose it while it was on.
func TestNobodyIsSentALanguageThatWaits(t *testing.T) {
	p := newPhone(t)
	p.e, p.langs = with(t, map[string]string{"words.sw.toml": "\"rule.reviewer\" = [\"a draft.\"]\n\"word.stop\" = [\"stop\"]\n\"waste.maize-cob\" = [\"magunzi\"]\n\"lang.sw\" = [\"kiswahili\"]\n"}), nil
	require.Equal(t, locales.Lang("en"), p.says("magunzi magunzi").Heard.Lang)
	require.Equal(t, []string{"language.not-spoken", "language.question"}, keys(p.says("kiswahili")))
	require.Equal(t, locales.Lang("en"), p.step(dialog.Enrolled{Profile: dialog.Profile{Lang: "sw"}}).Heard.Lang)
	p.state.Lang, p.state.Chosen = "sw", true
	require.Equal(t, locales.Lang("en"), p.says("help").Heard.Lang)
	p.langs = []locales.Lang{"en", "sw"}
	require.Equal(t, locales.Lang("sw"), p.says("kiswahili").Heard.Lang)
}

// TestWordsOfALanguageThatIsOff: what a person works with is heard in the
// languages switched on; a cry, STOP, HELP and the names of languages in all.
func TestWordsOfALanguageThatIsOff(t *testing.T) {
	for _, row := range []struct {
		text string
		on   []locales.Lang
		want string // the first reply
		tier string
	}{
		{"magunzi pipa 2 makavu", []locales.Lang{"en", "sw"}, "line.hello", ""},
		{"magunzi pipa 2 makavu", []locales.Lang{"en"}, "line.menu", ""},
		{"amezimia ndani", []locales.Lang{"en"}, "aid.not-waking", "a"},
		{"nimeungua mkono", []locales.Lang{"en"}, "aid.burn", "a"},
		{"msaada", []locales.Lang{"en"}, "line.help", ""},
		{"stop", []locales.Lang{"fr"}, "consent.stopped", ""},
		{"kifaransa", []locales.Lang{"en", "fr"}, "line.menu", ""},
		{"y", []locales.Lang{"fr"}, "line.menu", ""},
	} {
		p := newPhone(t)
		p.langs = row.on
		turn := p.says(row.text)
		if row.want == "line.hello" {
			require.Equal(t, "recipe", turn.Heard.Topic)
			require.Equal(t, locales.Lang("sw"), turn.Heard.Lang)
			continue
		}
		require.Equal(t, row.want, keys(turn)[0], "%q on %v", row.text, row.on)
		require.Equal(t, row.tier, turn.Heard.Tier, row.text)
		require.NotEqual(t, locales.Lang("sw"), turn.Heard.Lang)
	}
}

// invented returns the languages built in with more beside them that hold the
// French messages under another name, and these words.
func invented(t testing.TB, words map[string]string) *dialog.Engine {
	french, err := os.ReadFile("../locales/active.fr.toml")
	require.NoError(t, err)
	files := map[string]string{}
	for l, name := range map[string]string{"es": "Espanol", "pt": "Portugues", "hi": "हिन्दी", "hi-Latn": "Hindi", "ha": "Hausa", "ht": "Kreyol"} {
		files["active."+l+".toml"] = strings.Replace(string(french), `"Francais"`, `"`+name+`"`, 1)
		files["words."+l+".toml"] = "\"word.stop\" = [\"stop\"]\n" + words[l]
	}
	return with(t, files)
}

// TestC23ManyLanguagesByDigit: up to eight languages are a row of digits, which
// mean them and nothing else there; on a screen, where 7 and 8 turn pages, they
// come five at a time. Hindi is one of them, in letters that every phone has.
func TestC23ManyLanguagesByDigit(t *testing.T) {
	all := []locales.Lang{"en", "es", "fr", "ha", "hi", "hi-Latn", "ht", "pt", "sw"}
	names := []string{"English", "Espanol", "Francais", "Hausa", "Hindi", "Kreyol", "Portugues", "Kiswahili"}
	e := invented(t, nil)
	first := func(via dialog.Channel) *phone {
		p := newPhone(t)
		p.e, p.langs = e, all
		turn := p.step(dialog.Said{Text: "hello", Via: via})
		require.Equal(t, []string{"line.menu"}, keys(turn))
		return p
	}
	p := first(dialog.SMS)
	for i, want := range []locales.Lang{"en", "es", "fr", "ha", "hi-Latn", "ht", "pt", "sw"} {
		q := *p
		turn := q.says(strconv.Itoa(i + 1))
		require.Equal(t, want, turn.Heard.Lang)
		require.True(t, q.state.Chosen)
	}
	for digit, want := range map[string]string{"9": "hurt.which", "0": "line.menu"} {
		q := *p
		require.Equal(t, []string{want}, keys(q.says(digit)))
	}
	q := *p
	turn := q.lasts("8", "MORE", "language", "MORE", "MORE")
	require.Equal(t, []string{"language.question"}, keys(turn))
	require.Zero(t, q.state.Frames[len(q.state.Frames)-1].Page)
	require.Equal(t, []string{"line.menu"}, keys(q.says("BACK")), "there was no page to turn")
	q = *p
	turn = q.says("language")
	require.Equal(t, names, turn.Replies[0].Choices)
	require.Equal(t, locales.Lang("sw"), q.says("8").Heard.Lang)

	p = first(dialog.USSD)
	require.Equal(t, 5, len(p.state.Frames[0].Options))
	press := func(p *phone, key string) dialog.Turn { return p.step(dialog.Said{Text: key, Via: dialog.USSD}) }
	turn = press(p, "8")
	require.Equal(t, names[5:], turn.Replies[0].Choices)
	require.Empty(t, turn.Replies[0].More)
	require.Equal(t, names[:5], press(p, "7").Replies[0].Choices)
	require.Equal(t, append(slices.Clone(names[5:]), "a person phones me"), press(p, "8").Replies[0].Choices, "three keys in a row")
	require.Equal(t, locales.Lang("pt"), press(p, "2").Heard.Lang)
}

// TestAQuestionKeepsItsDigits: where the first answer asks something, the digits
// are its own and the languages stand behind it by name.
func TestAQuestionKeepsItsDigits(t *testing.T) {
	p := newPhone(t)
	p.e, p.langs = invented(t, nil), []locales.Lang{"en", "es", "fr", "hi", "hi-Latn", "sw"}
	turn := p.says("cobs")
	require.Contains(t, all(turn), "English / Espanol / Francais / Hindi / Kiswahili: text the name.")
	turn = p.says("2")
	require.Equal(t, locales.Lang("en"), turn.Heard.Lang)
	require.Equal(t, dialog.Value{Number: 2}, turn.Heard.Slots["drums"])
}

// TestHindiInTwoScripts: whoever writes in Devanagari is answered in it, whoever
// names the language in Roman letters in those.
func TestHindiInTwoScripts(t *testing.T) {
	e := invented(t, map[string]string{
		"hi":      "\"waste.maize-cob\" = [\"गुल्ली\"]\n\"unit.drum\" = [\"ड्रम\"]\n\"lang.hi\" = [\"हिन्दी\"]\n\"word.filler\" = [\"में\"]\n\"lang.en\" = [\"अंग्रेज़ी\"]\n",
		"hi-Latn": "\"waste.maize-cob\" = [\"gulli\"]\n\"lang.hi-Latn\" = [\"hindi\"]\n",
	})
	p := newPhone(t)
	p.e, p.langs = e, []locales.Lang{"en", "hi", "hi-Latn", "sw"}
	for _, row := range []struct {
		text string
		want locales.Lang
	}{
		{"गुल्ली 2 ड्रम", "hi"},
		{"hindi", "hi-Latn"},
		{"gulli 2", "hi-Latn"},
		{"अज्ञात", "hi"}, // a word it does not know
		{"2", "hi"},
		{"gulli", "hi"},
		{"Hindi", "hi-Latn"},
		{"हिन्दी में", "hi"},
		{"अंग्रेजी", "en"},
		{"अज्ञात", "en"}, // what was chosen stays
	} {
		require.Equal(t, row.want, p.says(row.text).Heard.Lang, row.text)
	}
	for _, text := range []string{"गुल्ली", "अज्ञात", "हिन्दी"} {
		p = newPhone(t)
		p.e, p.langs = e, []locales.Lang{"en", "hi", "hi-Latn"}
		require.Equal(t, locales.Lang("hi"), p.says(text).Heard.Lang, text)
	}
	p = newPhone(t)
	p.e, p.langs = e, []locales.Lang{"en", "hi-Latn"}
	turn := p.says("गुल्ली 2 ड्रम")
	require.Equal(t, locales.Lang("hi-Latn"), turn.Heard.Lang)
	require.Equal(t, "maize-cob", turn.Heard.Slots["waste"].Key)
}

// TestAFirstTextThatNamesALanguage: it is the choice, in any spelling and in the
// words of any language.
func TestAFirstTextThatNamesALanguage(t *testing.T) {
	for text, want := range map[string]locales.Lang{
		"Kiswahili": "sw", "SWAHILI": "sw", "swahili please": "sw", "Francais": "fr", "français": "fr", "french": "fr", "kifaransa": "fr",
		"anglais svp": "en", "kiingereza tafadhali": "en", "English.": "en",
	} {
		p := newPhone(t)
		require.Equal(t, want, p.says(text).Heard.Lang, text)
		require.True(t, p.state.Chosen, text)
	}
	p := newPhone(t)
	require.Equal(t, []string{"language.question"}, keys(p.says("english swahili")))
	require.False(t, p.state.Chosen)
}

// TestSwitchingLanguagesKeepsTheSlots: whatever two languages a person changes
// between, in the middle of a question, what was said stays said.
func TestSwitchingLanguagesKeepsTheSlots(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for _, from := range catalog.Langs() {
		for _, to := range catalog.Langs() {
			if from == to {
				continue
			}
			p := newPhone(t)
			p.langs = catalog.Langs()
			p.state.Lang, p.state.Chosen, p.state.Met = from, true, true
			words := func(concept string) string { return catalog.Words(from)[concept][0] }
			turn := p.says(words("waste.bagasse") + " 2 " + words("unit.drum"))
			want := map[string]dialog.Value{"waste": {Key: "bagasse"}, "drums": {Number: 2}}
			require.Equal(t, want, turn.Heard.Slots, from)
			asked := turn.Heard.Step
			require.NotEmpty(t, asked)
			turn = p.says(catalog.Name(to))
			require.Equal(t, to, turn.Heard.Lang, "%s to %s", from, to)
			require.Equal(t, asked, turn.Heard.Step, "%s to %s", from, to)
			frame := p.state.Frames[len(p.state.Frames)-1]
			require.Equal(t, want["waste"], frame.Slots["waste"], "%s to %s", from, to)
			require.Equal(t, want["drums"], frame.Slots["drums"], "%s to %s", from, to)
			turn = p.says(catalog.Words(to)["dryness.dry"][0])
			require.Contains(t, keys(turn), "recipe.load", "%s to %s", from, to)
		}
	}
}

// TestSwitchingLanguagesBesideAHotDrum: who asks for another language while a drum
// is hot reads how it stands, and not again how to load and light it.
func TestSwitchingLanguagesBesideAHotDrum(t *testing.T) {
	p := speaks(t, "en")
	for _, text := range []string{"cobs 1 drum snaps", "new", "LIT"} {
		p.says(text)
	}
	require.Equal(t, []string{"burn.status-lit"}, keys(p.says("francais")))
	p.says("COUVERT")
	require.Equal(t, []string{"burn.not-before"}, keys(p.says("english")))
}

// TestACoinOfAnotherName: a price in a Haitian dollar, which is five gourdes and no
// coin at all, is asked about: which of the two was meant?
func TestACoinOfAnotherName(t *testing.T) {
	english, err := os.ReadFile("../locales/words.en.toml")
	require.NoError(t, err)
	p := speaks(t, "en")
	p.e = with(t, map[string]string{"words.en.toml": string(english) + "\"coin.5\" = [\"dola\"]\n"})
	turn := p.lasts("price", "20 dola")
	require.Equal(t, []string{"doubt.which"}, keys(turn))
	require.Equal(t, []string{"it is 20 for a kg of charcoal", "it is 100 for a kg of charcoal"}, turn.Replies[0].Choices)
	require.Contains(t, all(p.lasts("2", "0")), "Charcoal costs 100 KSh a kg")
	require.Equal(t, []string{"ask.starch-price"}, keys(speaks(t, "en").lasts("price", "20 dola")))
}

// TestEveryNameOfALanguage: whatever a language is called in any of them, and in
// whatever language a person speaks with the line, its name chooses it.
func TestEveryNameOfALanguage(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for _, named := range catalog.Heard() {
		for concept, spellings := range catalog.Words(named) {
			l, ok := strings.CutPrefix(concept, "lang.")
			want := locales.Lang(l)
			if !ok || !slices.Contains(catalog.Langs(), want) {
				continue
			}
			for _, spelling := range spellings {
				if len(spelling) < 3 {
					continue // two letters count in their own language alone
				}
				for _, session := range catalog.Langs() {
					p := newPhone(t)
					p.langs = catalog.Langs()
					p.state.Lang, p.state.Chosen, p.state.Met = session, true, true
					got := p.says(spelling).Heard.Lang
					require.True(t, got == want || locales.Kin(got, want) && locales.Script(got) == locales.Written(spelling),
						"%q, a name of %s in %s, is %s to who speaks %s", spelling, want, named, got, session)
				}
			}
		}
	}
}
