package main

import (
	"bytes"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// waiting returns the languages built in, of which Swahili waits for a reviewer.
func waiting(t *testing.T) *locales.Catalog {
	catalog, err := locales.LoadFS(locales.Over(fstest.MapFS{"words.sw.toml": {Data: []byte(`
"rule.reviewer" = ["its safety lines are drafts."]
"word.stop" = ["stop"]
`)}}))
	require.NoError(t, err)
	return catalog
}

// A language that waits for a reviewer is off until the configuration names one,
// and an error says what to do.
func TestALanguageThatWaitsForAReviewer(t *testing.T) {
	catalog := waiting(t)
	check := func(langs []locales.Lang, reviewers map[locales.Lang]string) (Config, string) {
		l := loader{Config: Default()}
		l.Langs, l.Reviewers = langs, reviewers
		l.validateLangs(catalog)
		return l.Config, l.problems.Error()
	}
	named := map[locales.Lang]string{"sw": "A. Reader, 2026-11-29"}

	c, wrong := check(nil, nil)
	require.Empty(t, wrong)
	require.NotContains(t, c.sent(catalog), locales.Lang("sw"))
	require.Contains(t, c.sent(catalog), locales.Lang("fr"))
	require.NotContains(t, c.facts(catalog).Langs, locales.Lang("sw"))

	_, wrong = check([]locales.Lang{"en", "sw"}, nil)
	require.Equal(t, "langs: sw (Kiswahili) waits for a reviewer: its safety lines are drafts. Let somebody who grew up with it read and sign the page that `cobline check --lang sw --preview sw.html` writes, then name them under [reviewers]: sw = \"NAME, YEAR-MONTH-DAY\"", wrong)

	for _, langs := range [][]locales.Lang{nil, {"en", "sw"}} {
		c, wrong = check(langs, named)
		require.Empty(t, wrong)
		require.Contains(t, c.sent(catalog), locales.Lang("sw"))
	}

	var table bytes.Buffer
	require.NoError(t, Default().standing(&table, catalog))
	require.Regexp(t, `(?m)^# sw +Kiswahili +no +7\d +7\d +\d+ +\d+ +waits for one$`, table.String())
	table.Reset()
	require.NoError(t, c.standing(&table, catalog))
	require.Regexp(t, `(?m)^# sw +Kiswahili +yes +7\d +7\d +\d+ +\d+ +A. Reader, 2026-11-29$`, table.String())
}
