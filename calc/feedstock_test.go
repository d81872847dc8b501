package calc_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

func TestWastesAreTheKeys(t *testing.T) {
	require.Equal(t, []calc.Waste{
		"maize-cob", "maize-stalk", "maize-husk", "rice-husk", "rice-straw", "coconut-shell", "coconut-husk",
		"groundnut-shell", "coffee-husk", "bagasse", "cotton-stalk", "sorghum-stalk", "sunflower-stalk",
		"sunflower-husk", "cassava-stem", "wheat-straw", "palm-kernel-shell", "bamboo", "woody-stalk", "sawdust", "prunings",
	}, calc.Wastes())
}

// A drum is opened the next morning or the next day, never earlier.
func TestBindingWait(t *testing.T) {
	night := map[calc.Waste]bool{
		calc.MaizeCob: true, calc.MaizeStalk: true, calc.SorghumStalk: true, calc.SunflowerStalk: true, calc.CottonStalk: true,
		calc.CassavaStem: true, calc.WoodyStalk: true, calc.Bamboo: true, calc.Prunings: true,
	}
	for _, w := range calc.Wastes() {
		f, err := calc.Feed(w)
		require.NoError(t, err)
		want := calc.Hours(24)
		if night[w] {
			want = 12
		}
		require.Equal(t, want, f.BindingWait.Likely, w)
	}
}

func TestFeedUnknown(t *testing.T) {
	_, err := calc.Feed("glass")
	require.Equal(t, calc.Unknown{What: "crop waste", Key: "glass"}, err)
	require.EqualError(t, err, `there is no crop waste "glass"`)
}

// The yields of the table are judged around the constant fixed-carbon-yield
// model (Ronsse et al. 2013; Antal) at 430 C and 20 % burn-off; loose husks of
// maize burn away more than that, and their yield is set lower.
func TestYieldsLieByTheFixedCarbonModel(t *testing.T) {
	const volatile, burnOff = .1952, .20
	for _, w := range calc.Wastes() {
		f, err := calc.Feed(w)
		require.NoError(t, err)
		ash := float64(f.Ash.Likely)
		model := ash + (1-ash)*float64(f.FixedCarbonYield.Likely)/(1-volatile)*(1-burnOff)
		tolerance := .025
		if w == calc.MaizeHusk {
			tolerance = .045
		}
		require.LessOrEqual(t, math.Abs(model-float64(f.Yield.Likely)), tolerance, w)
	}
}
