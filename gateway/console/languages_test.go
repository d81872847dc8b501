package console

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"cobline/gateway/register"
	"cobline/locales"
)

// The page tells of each language whether it is sent, what nobody has reviewed,
// and who answers for it.
func TestLanguages(t *testing.T) {
	o := newConsole(t)
	catalog, err := locales.LoadFS(locales.Over(fstest.MapFS{
		"words.sw.toml": {Data: []byte("\"rule.reviewer\" = [\"its safety lines are drafts.\"]\n\"word.stop\" = [\"stop\"]\n")},
		"words.ny.toml": {Data: []byte("\"word.stop\" = [\"stop\"]\n")},
	}))
	require.NoError(t, err)
	o.Catalog = catalog
	row := func() string {
		return o.as(Viewer).get("/office/languages").Find("tr:contains(Kiswahili)").Text()
	}
	require.Regexp(t, `^Kiswahili \(sw\)no7\d of 7\d\d+ of \d+Not sent before somebody is named: its safety lines are drafts\.$`, row())
	o.Reviewers = map[locales.Lang]string{"sw": "A. Reader, 2026-11-29"}
	facts := *o.Facts()
	facts.Langs = []locales.Lang{"en", "sw"}
	o.Service.SetFacts(&facts)
	require.Regexp(t, `^Kiswahili \(sw\)yes7\d of 7\d\d+ of \d+A\. Reader, 2026-11-29$`, row())
	page := o.as(Viewer).get("/office/languages").text()
	require.Contains(t, page, "the master")
	require.Contains(t, page, "HELP and STOP are understood in Amharic, Bengali, Chichewa, ")
	require.Regexp(t, `^Languages \d{3} safety lines and \d{3,} other messages wait for a reviewer\.`, page)
}

// An officer enters people with any language that is sent, and in either script of
// one that has two: from the form, and in a list by its tag, its own name, or what
// English calls it.
func TestEnrolInEveryLanguage(t *testing.T) {
	o := newConsole(t)
	form := o.as(Officer).get("/office/producers/new")
	words := (&request{Console: o.Console}).listWords()
	for _, l := range o.Catalog.Free() {
		require.Equal(t, 1, form.Find("select[name=language] option[value='"+string(l)+"']").Length(), l)
		spellings := []string{string(l), o.Catalog.Name(l)}
		if names := o.Catalog.Words("en")["lang."+string(l)]; len(names) > 0 {
			spellings = append(spellings, names[0])
		}
		for _, spelling := range spellings {
			list, err := register.Read([]byte("phone,language,consent\n0712345678,"+spelling+",paper\n"), words)
			require.NoError(t, err)
			require.Empty(t, list.Faults, spelling)
			require.Equal(t, l, list.Rows[0].Profile.Lang, spelling)
		}
	}
	for spelling, want := range map[string]locales.Lang{"Français": "fr", "french": "fr", "SWAHILI": "sw", "kiingereza": "en"} {
		list, err := register.Read([]byte("phone,language,consent\n0712345678,"+spelling+",paper\n"), words)
		require.NoError(t, err)
		require.Equal(t, want, list.Rows[0].Profile.Lang, spelling)
	}
}
