package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/sms"
	"cobline/locales"
)

// TestEveryTopicDialled opens each topic by the keys of a session, in both
// languages, and reads it to its last page: no screen is over the channel's
// limit, the keys never lead to a text that was not understood, and 0 leads back
// to the menu. The recipe also comes as texts that stay on the phone.
func TestEveryTopicDialled(t *testing.T) {
	number, err := gateway.ParseNumber("+254700000001", "KE")
	require.NoError(t, err)
	catalog, err := locales.Load()
	require.NoError(t, err)
	for at, lang := range []locales.Lang{"en", "sw"} {
		for i, topic := range dialog.Keys()["topics"] {
			c := Default()
			c.DefaultLang = lang
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
			screen("hi")
			text, _ := screen([]string{"1", "2"}[at])
			for range i / 5 {
				text, _ = screen("8")
			}
			require.Contains(t, text, catalog.Text(lang, locales.ID("topic."+topic), nil))
			text, _ = screen(string(rune('1' + i%5)))
			for n := 0; n < 8 && strings.Contains(text, "8 "+catalog.Text(lang, "key.more", nil)); n++ {
				text, _ = screen("8")
			}
			if topic == "recipe" {
				screen("0")
				screen("1")
				screen("1")
				screen("2")
				_, copies := screen("1")
				require.Equal(t, 3, copies, "the three messages of a recipe")
			}
			require.NoError(t, p.close())
		}
	}
}
