package main

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
)

// TestEveryTopicDialled opens each topic by the keys of a session, in every
// language, and reads it to its last page: no screen is over the channel's
// limit, the keys never lead to a text that was not understood, and 0 leads back
// to the menu. The recipe also comes as texts that stay on the phone.
func TestEveryTopicDialled(t *testing.T) {
	number, err := gateway.ParseNumber("+254700000001", "KE")
	require.NoError(t, err)
	catalog, err := locales.Load()
	require.NoError(t, err)
	langs := catalog.Free()
	if os.Getenv("COBLINE_SCALE") == "small" {
		langs = []locales.Lang{"sw", "hi"} // a narrow script and a wide one
	}
	for _, lang := range langs {
		for _, topic := range dialog.Keys()["topics"] {
			c := Default()
			c.DefaultLang = lang
			c.Langs = []locales.Lang{"en", lang} // their digits are 1 and 2
			if lang == "en" {
				c.Langs[1] = "fr"
			}
			start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
			p, err := newLocalPhone(c, "", number, channelUSSD, start)
			require.NoError(t, err)
			screen := func(key string) (string, int) {
				messages, err := p.enter(t.Context(), key)
				require.NoError(t, err)
				text := messages[0].text
				_, units := sms.Measure(text)
				require.LessOrEqual(t, units, 160, "%s %s: %s", lang, topic, text)
				require.NotContains(t, text, catalog.Text(lang, "line.unknown", nil), "%s %s", lang, topic)
				return text, len(messages) - 1
			}
			// A digit whose option stands on a later page first shows that page.
			choose := func(key string) (string, int) {
				text, copies := screen(key)
				if strings.Contains(text, "7 "+catalog.Text(lang, "key.back", nil)) && copies == 0 {
					return screen(key)
				}
				return text, copies
			}
			screen("hi")
			text, _ := choose(map[bool]string{true: "1", false: "2"}[lang == "en"])
			// A script of twice the width has fewer options on a page.
			label := sms.Plain(catalog.Text(lang, locales.ID("topic."+topic), nil), locales.Substitutions(lang))
			for n := 0; n < 40 && !strings.Contains(text, label); n++ {
				text, _ = screen("8")
			}
			require.Contains(t, text, label)
			text, _ = screen(string(text[strings.Index(text, " "+label)-1]))
			for n := 0; n < 8 && strings.Contains(text, "8 "+catalog.Text(lang, "key.more", nil)); n++ {
				text, _ = screen("8")
			}
			if topic == "recipe" {
				screen("0")
				choose("1")
				choose("1")
				screen("2")
				_, copies := choose("1")
				require.Equal(t, 3, copies, "%s: the three messages of a recipe", lang)
			}
			require.NoError(t, p.close())
		}
	}
}
