package console

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

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
