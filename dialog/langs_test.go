package dialog_test

import (
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
