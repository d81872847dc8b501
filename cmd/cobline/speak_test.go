package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// Every language is heard by `cobline hear` and spoken by `cobline try`: in each,
// waste, drums and dryness in its own words are a recipe, answered in it. What
// waits for a reviewer is understood, and said only when one is named.
func TestHearAndTryInEveryLanguage(t *testing.T) {
	catalog, err := builtIn()
	require.NoError(t, err)
	for _, l := range catalog.Langs() {
		word := func(concept string) string { return catalog.Words(l)[concept][0] }
		text := fmt.Sprintf("%s 2 %s %s", word("waste.bagasse"), word("unit.drum"), word("dryness.dry"))

		var out bytes.Buffer
		require.NoError(t, (&hearCommand{Lang: l, JSON: true, Text: []string{text}}).Run(&terminal{out: &out}), l)
		var got heard
		require.NoError(t, json.Unmarshal(out.Bytes(), &got))
		require.Equal(t, l, got.Lang)
		require.Equal(t, "recipe", got.Topic, "%s %q", l, text)
		require.Equal(t, map[string]any{"waste": "bagasse", "drums": 2.0, "dryness": "dry"}, got.Slots, "%s %q", l, text)

		out.Reset()
		try := tryCommand{Lang: l, Channel: "sms", Phone: "+254700000001", At: "2026-03-02 09:00"}
		err := try.Run(&terminal{in: strings.NewReader(text + "\n"), out: &out})
		if catalog.NeedsReviewer(l) {
			require.ErrorContains(t, err, fmt.Sprintf("does not send %q", l))
			require.Empty(t, out.String())
			continue
		}
		require.NoError(t, err, l)
		hello, _, _ := strings.Cut(catalog.Text(l, "line.hello", nil), "{")
		require.Contains(t, plain(l, out.String()), plain(l, hello), l)
		require.Contains(t, plain(l, out.String()), plain(l, catalog.Text(l, "waste.bagasse", nil)), l)
		for _, o := range Default().sent(catalog) {
			if !slices.ContainsFunc(catalog.Langs(), func(other locales.Lang) bool { return other != o && locales.Kin(other, o) }) {
				require.Contains(t, out.String(), catalog.RowName(o), "%s: the row of languages", l)
			}
		}
	}
}

// plain is a text without the marks that a message may leave out to be cheap.
func plain(l locales.Lang, text string) string {
	return locales.Fold(l, strings.ReplaceAll(text, "\n  ", " "))
}
