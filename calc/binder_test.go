package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

func TestStarchesAreTheKeys(t *testing.T) {
	require.Equal(t, []calc.Starch{
		"cassava-starch", "cassava-flour", "cassava-root", "maize-starch", "maize-flour", "arrowroot", "sweet-potato",
		"green-banana", "banana-peel", "wheat-flour", "rice-flour", "molasses", "clay", "gum-arabic", "paper", "cow-dung", "aloe",
	}, calc.Starches())
}

// Own reference computation: moisture of a mix of char at 5 % with a paste of
// fixed water per starch.
func TestPasteTable(t *testing.T) {
	for dose, row := range map[calc.Share][3]float64{
		.04: {22.0, 26.4, 30.3},
		.06: {28.0, 33.4, 38.1},
		.08: {33.0, 39.1, 44.1},
		.10: {37.2, 43.7, 48.9},
		.15: {45.3, 52.1, 57.4},
	} {
		for i, water := range []calc.Ratio{6, 8, 10} {
			require.InDelta(t, row[i], 100*float64(calc.MixMoisture(.05, dose, water)), .06, "%v %v", dose, water)
		}
	}
}

// Own reference computation: 10 kg of dry char, 8 % starch, mix of 35 %.
func TestWaterOfDamperChar(t *testing.T) {
	for moisture, want := range map[calc.WetBasis]struct{ water, ratio float64 }{
		.03: {5.506, 6.9}, .10: {4.704, 5.9}, .20: {3.315, 4.1},
	} {
		r, err := calc.Bind(calc.BindInput{
			Char: calc.Exactly(calc.Kg(10 / (1 - float64(moisture)))), CharMoisture: moisture,
		})
		require.NoError(t, err)
		require.Nil(t, r.Infeasible)
		require.InDelta(t, want.water, float64(r.Water.Likely), .001)
		require.InDelta(t, want.ratio, float64(r.PasteRatio), .05)
		require.InDelta(t, 1.067, float64(r.Starch.Likely), .001)
	}
}

func TestCharTooWetToBind(t *testing.T) {
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), CharMoisture: .30})
	require.NoError(t, err)
	require.Equal(t, &calc.CharTooWet, r.Infeasible)
	require.InDelta(t, .2083, float64(r.WettestChar), .001)
	require.Zero(t, r.Water)

	r, err = calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), CharMoisture: r.WettestChar})
	require.NoError(t, err)
	require.Nil(t, r.Infeasible)
	require.InDelta(t, 4, float64(r.PasteRatio), 1e-9)
}

// A heavy dose on dry char is not the fault of the char.
func TestTooMuchStarchForTheMix(t *testing.T) {
	in := calc.BindInput{Char: calc.Exactly[calc.Kg](10), Dose: .15, MixMoisture: .32}
	r, err := calc.Bind(in)
	require.NoError(t, err)
	require.Equal(t, &calc.TooMuchStarch, r.Infeasible)
	in.MixMoisture = .40
	r, err = calc.Bind(in)
	require.NoError(t, err)
	require.Nil(t, r.Infeasible)
}

// Little starch does not cook in all the water: the rest is sprinkled.
func TestSprinkleWater(t *testing.T) {
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), Dose: .04})
	require.NoError(t, err)
	require.Greater(t, r.PasteRatio, calc.Ratio(10))
	require.InDelta(t, 8*float64(r.DryStarch.Likely), float64(r.PasteWater.Likely), 1e-9)
	require.InDelta(t, float64(r.Water.Likely), float64(r.PasteWater.Likely+r.SprinkleWater.Likely), 1e-9)
}

func TestBindRefusesDosesThatOnlyCost(t *testing.T) {
	_, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), Dose: .30})
	require.Equal(t, calc.OutOfRange{What: "starch per char", Got: .30, Low: .04, High: .15}, err)
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), Dose: .13})
	require.NoError(t, err)
	require.True(t, r.Heavy)
	_, err = calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), Starch: "glue"})
	require.ErrorAs(t, err, new(calc.Unknown))
}

func flours() []calc.Starch {
	return []calc.Starch{
		calc.CassavaStarch, calc.CassavaFlour, calc.MaizeStarch, calc.MaizeFlour, calc.WheatFlour, calc.RiceFlour,
	}
}

func TestMoreStarchNeverNeedsLessWater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := calc.BindInput{
			Char:         calc.Exactly(calc.Kg(rapid.Float64Range(.5, 200).Draw(t, "char"))),
			CharMoisture: calc.WetBasis(rapid.Float64Range(.01, .12).Draw(t, "char moisture")),
			Starch:       rapid.SampledFrom(flours()).Draw(t, "starch"),
			Dose:         calc.Share(rapid.Float64Range(.04, .139).Draw(t, "dose")),
		}
		less, err := calc.Bind(in)
		require.NoError(t, err)
		in.Dose += calc.Share(rapid.Float64Range(0, .01).Draw(t, "more"))
		more, err := calc.Bind(in)
		require.NoError(t, err)
		if less.Infeasible == nil && more.Infeasible == nil {
			require.GreaterOrEqual(t, more.Water.Likely, less.Water.Likely)
			require.GreaterOrEqual(t, more.Starch.Likely, less.Starch.Likely)
		}
	})
}

// Mass in is mass out: char, starch and water make a mix of the asked moisture.
func TestMixHasTheAskedMoisture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := calc.BindInput{
			Char:         calc.Exactly(calc.Kg(rapid.Float64Range(.5, 200).Draw(t, "char"))),
			CharMoisture: calc.WetBasis(rapid.Float64Range(.01, .15).Draw(t, "char moisture")),
			Starch:       rapid.SampledFrom(flours()).Draw(t, "starch"),
			MixMoisture:  calc.WetBasis(rapid.Float64Range(.28, .45).Draw(t, "mix")),
		}
		r, err := calc.Bind(in)
		require.NoError(t, err)
		if r.Infeasible != nil {
			return
		}
		held := float64(in.Char.Likely) * float64(in.CharMoisture)
		water := held + float64(r.Water.Likely)
		require.InDelta(t, float64(in.MixMoisture), water/(water+float64(r.Solids.Likely)), 1e-9)
		require.InDelta(t, float64(in.MixMoisture), float64(calc.MixMoisture(in.CharMoisture, .08, r.PasteRatio)), 1e-9)
	})
}

func ExampleBind() {
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](7), Starch: calc.MaizeFlour})
	fmt.Printf("%.2f kg of maize flour (%.0f cups), %.1f litres of water %v\n", r.Starch.Likely, r.Cups.Likely, r.Water.Likely, err)
	// Output: 0.76 kg of maize flour (5 cups), 3.5 litres of water <nil>
}

func ExampleMixMoisture() {
	fmt.Printf("8 %% starch in ten times its water: %.0f %% moisture\n", 100*calc.MixMoisture(.05, .08, 10))
	// Output: 8 % starch in ten times its water: 44 % moisture
}

func ExampleCups() {
	fmt.Printf("%.0f cups\n", calc.Cups(calc.Exactly[calc.Kg](1.4)).Likely)
	// Output: 10 cups
}
