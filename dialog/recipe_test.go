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
	catalog, err := theCatalog()
	require.NoError(t, err)
	words := languages(t)[l].Recipe
	for _, w := range calc.Wastes() {
		feed, err := calc.Feed(w)
		require.NoError(t, err)
		for drums := 1; drums <= 6; drums++ {
			for _, dry := range []string{words.Dry, words.Nearly} {
				for _, hour := range []int{9, 17} {
					for _, past := range []string{"", "food"} {
						p := known(t)
						p.switchOn(l)
						p.state.Lang, p.state.DrumPast = l, past
						p.now = time.Date(2026, 3, 2, hour, 40, 0, 0, p.place.Zone)
						text := fmt.Sprintf("%s %s %d %s", catalog.Text(l, locales.ID("waste."+string(w)), nil), words.Drums, drums, dry)
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

// TestRecipesFitThreeSegments: one segment for each of the three messages, two in a
// script outside the cheap alphabet, but for the question about the drum's past behind the last one.
func TestRecipesFitThreeSegments(t *testing.T) {
	for l := range languages(t) {
		over, total := map[string]int{}, 0
		recipes(t, l, func(name string, turn dialog.Turn) {
			require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, keys(turn), name)
			for _, r := range turn.Replies {
				total++
				text, _, _ := strings.Cut(r.Text, "\n")
				fits := 1
				if locales.Wide(l) {
					fits = 2
				}
				if parts := sms.Split(sms.Plain(text, locales.Substitutions(l))); len(parts.Segments) > fits {
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

// TestC12MustCautions: the cautions of gathering, of the place and of lighting
// stand in the recipe itself, for every waste, in every language: the drum's
// past and no cutting, outside on bare ground, no wind or fire ban, water and
// sand, no petrol, children away.
func TestC12MustCautions(t *testing.T) {
	for l, words := range languages(t) {
		require.Len(t, words.Recipe.Must, 6, l)
		recipes(t, l, func(name string, turn dialog.Turn) {
			for _, wordings := range words.Recipe.Must {
				require.Condition(t, func() bool {
					for _, w := range wordings {
						if strings.Contains(all(turn), w) {
							return true
						}
					}
					return false
				}, "%s: none of %q in\n%s", name, wordings, all(turn))
			}
		})
	}
}

// TestRecipeAgreesWithCalc: what is said is what calc computes, rounded.
func TestRecipeAgreesWithCalc(t *testing.T) {
	r, err := calc.Recipe(calc.RecipeInput{Waste: calc.MaizeCob, Drums: 2, Moisture: calc.Dry.Moisture()})
	require.NoError(t, err)
	text := all(known(t).says("cobs 2 drums snaps"))
	require.Contains(t, text, fmt.Sprintf("Get %.0f to %.0f kg charcoal", float64(r.Char.Low), float64(r.Char.High)))
	require.Contains(t, text, fmt.Sprintf(" %.0f kg dry maize cobs", float64(r.Feed.Likely)))
	require.Contains(t, text, fmt.Sprintf("Have %.0f to %.0f cups cassava flour", float64(r.Cups.Low), float64(r.Cups.High)))
	require.Contains(t, text, "20 to 55 min")
	require.Equal(t, calc.Hours(12), r.Wait)
}
