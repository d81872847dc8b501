package calc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func requireSorption(t *testing.T, table string, of Sorption, digits float64) {
	t.Helper()
	for _, r := range readTable(t, table) {
		got := of(Celsius(r.number("t_c")), Share(r.number("rh")/100))
		require.InDelta(t, r.number("percent"), float64(got)*100, digits, "%s C, %s %%", r.text("t_c"), r.text("rh"))
	}
}

func TestCharcoalEquilibriumTable(t *testing.T) {
	requireSorption(t, "char-equilibrium.csv", CharcoalEquilibrium, .0051)
}

// The curve must lie among what has been measured: rice-husk and tobacco-stem
// biochar 6.40 and 7.66 % at 30 C and 70 % (Lin et al.), charcoal in air 5 to
// 8 %, finished starch briquettes 4.4 to 7.6 % (Heliyon, Energy Reports 2019).
func TestCharcoalEquilibriumEvidence(t *testing.T) {
	require.InDelta(t, 6.40, float64(CharcoalEquilibrium(30, .70))*100, .1)
	for rh := Share(.45); rh <= .75; rh += .05 {
		held := float64(CharcoalEquilibrium(25, rh)) * 100
		require.Greater(t, held, 4.3)
		require.Less(t, held, 8.0)
	}
}

func TestWoodEquilibriumTable(t *testing.T) {
	requireSorption(t, "wood-equilibrium.csv", WoodEquilibrium, .051)
}

// Worked examples of the same equation found in public: 140 F and 55 % give
// 8.4 % (liquisearch.com); at 70 F 25, 60, 84, 87 and 97 % give 5.3, 11.1, 17.6,
// 19.0 and 25.0 % (stoves.bioenergylists.org). Humidity stops at 95 % here.
func TestWoodEquilibriumPublishedExamples(t *testing.T) {
	require.InDelta(t, 8.4, float64(WoodEquilibrium(60, .55))*100, .05)
	for rh, want := range map[Share]float64{.25: 5.3, .60: 11.1, .84: 17.6, .87: 19.0} {
		require.InDelta(t, want, float64(WoodEquilibrium(21.1, rh))*100, .2)
	}
}

// Static tests of maize stover, 20 to 40 C: 19.6 % at 89 % humidity (Karunanithy
// et al. 2013). At 12 % they found 8 %, of which wood holds a third.
func TestWoodStandsForStover(t *testing.T) {
	require.InDelta(t, 19.6, float64(WoodEquilibrium(30, .89))*100, .6)
	require.Less(t, float64(WoodEquilibrium(30, .12))*100, 8.0)
}

func TestSorptionOrder(t *testing.T) {
	for name, of := range map[string]Sorption{"char": CharcoalEquilibrium, "wood": WoodEquilibrium} {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			warm := Celsius(rapid.Float64Range(10, 90).Draw(t, "t"))
			rh := Share(rapid.Float64Range(0, 1).Draw(t, "rh"))
			held := of(warm, rh)
			require.Positive(t, held)
			require.Less(t, held, DryBasis(.35))
			require.LessOrEqual(t, held, of(warm, rh+.05))
			require.GreaterOrEqual(t, held, of(warm+5, rh))
		}))
	}
}
