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
