package dialog_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// recipes plays every recipe a producer can ask for in one text: all wastes, up
// to six drums, dry or nearly dry, in the morning or too late, with the drum's
// past known or not.
func recipes(t testing.TB, l locales.Lang, visit func(name string, turn dialog.Turn)) {
	catalog, err := locales.Load()
	require.NoError(t, err)
	dryness := map[locales.Lang][2]string{"en": {"dry", "nearly dry"}, "sw": {"kavu", "karibu kukauka"}}[l]
	for _, w := range calc.Wastes() {
		feed, err := calc.Feed(w)
		require.NoError(t, err)
		for drums := 1; drums <= 6; drums++ {
			for _, dry := range dryness {
				for _, hour := range []int{9, 17} {
					for _, past := range []string{"", "food"} {
						p := known(t)
						p.state.Lang, p.state.DrumPast = l, past
						p.now = time.Date(2026, 3, 2, hour, 40, 0, 0, p.place.Zone)
						unit := map[locales.Lang]string{"en": "drums", "sw": "pipa"}[l]
						text := fmt.Sprintf("%s %s %d %s", catalog.Text(l, locales.ID("waste."+string(w)), nil), unit, drums, dry)
						turn := p.says(text)
						if feed.Suitability == calc.Chokes {
							turn = p.says("1")
						}
						visit(fmt.Sprintf("%s: %s at %d, drum %q", l, text, hour, past), turn)
					}
				}
			}
		}
	}
}

// TestRecipesFitThreeSegments: one segment for each of the three messages, but
// for the question about the drum's past behind the last one.
func TestRecipesFitThreeSegments(t *testing.T) {
	for _, l := range []locales.Lang{"en", "sw"} {
		over, total := map[string]int{}, 0
		recipes(t, l, func(name string, turn dialog.Turn) {
			require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, keys(turn), name)
			for _, r := range turn.Replies {
				total++
				text, _, _ := strings.Cut(r.Text, "\n")
				if parts := sms.Split(text); len(parts.Segments) != 1 {
					over[fmt.Sprintf("%d %s", parts.Units, text)]++
				}
			}
		})
		for text := range over {
			t.Error(l, text)
		}
		t.Log(l, total, "messages", len(over), "over")
	}
}
