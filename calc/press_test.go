package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Own reference computations of geometry; 55 by 50 mm holds 118.8 cm3.
func TestPieceVolumeAndArea(t *testing.T) {
	for name, v := range map[string]struct {
		piece        calc.Piece
		volume, area float64 // cm3, cm2
	}{
		"default": {calc.Piece{}, 118.791, 133.910},
		"solid":   {calc.Solid(.060, .050), 141.37, 150.80},
		"hollow":  {calc.Hollow(.060, .015, .050), 132.54, 170.82},
		"holes":   {calc.Holes(.060, .010, .050, 4), 125.66, 207.35},
		"ball":    {calc.Ball(.050), 65.45, 78.54},
		"brick":   {calc.Brick(.10, .06, .05), 300, 280},
	} {
		require.NoError(t, v.piece.Check(), name)
		require.InDelta(t, v.volume, 1e6*float64(v.piece.Volume()), .01, name)
		require.InDelta(t, v.area, 1e4*float64(v.piece.Area()), .01, name)
	}
}

func TestPieceCheckRefuses(t *testing.T) {
	for name, p := range map[string]calc.Piece{
		"no shape":  {Diameter: .05, Height: .05},
		"huge":      calc.Solid(2, .05),
		"flat":      calc.Solid(.05, .001),
		"all hole":  calc.Hollow(.06, .055, .05),
		"no holes":  {Shape: calc.HolesShape, Diameter: .06, Height: .05},
		"thin wall": calc.Holes(.06, .02, .05, 7),
	} {
		require.Error(t, p.Check(), name)
	}
}

// Own reference computation: 10.8 kg of solids, 37 % wet, 60/15 by 50 mm.
func TestPressWithoutLoss(t *testing.T) {
	r, err := calc.Press(calc.PressInput{
		Solids: calc.Exactly[calc.Kg](10.8), Piece: calc.Hollow(.060, .015, .050), MixMoisture: .37,
		Density: calc.Exactly[calc.KgPerCubicMetre](1000), Loss: calc.Exactly[calc.Share](1e-9),
	})
	require.NoError(t, err)
	require.InDelta(t, 129, float64(r.Briquettes.Likely), 0)
	require.InDelta(t, .1325, float64(r.WetPiece), .0001)
	require.InDelta(t, .09076, float64(r.DryPiece), .0001)
	require.InDelta(t, .685, float64(r.ReadyRatio), .001)
}

// Own reference computation: the whole package of 10 kg of dry char.
func TestPackageOfTenKilograms(t *testing.T) {
	mix, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10 / .95)})
	require.NoError(t, err)
	r, err := calc.Press(calc.PressInput{Solids: mix.Solids, Piece: calc.Hollow(.060, .015, .050)})
	require.NoError(t, err)
	require.InDelta(t, 115, float64(r.Briquettes.Likely), 0)
	require.InDelta(t, .0936, float64(r.DryPiece), .0001)
}

// Own reference computation of the diffusion series' first term, 37 to 8 %.
func TestDryingHours(t *testing.T) {
	for piece, hours := range map[calc.Piece][3]float64{
		calc.Solid(.060, .050):        {64.1, 21.4, 10.7},
		calc.Hollow(.060, .015, .050): {30.3, 10.1, 5.0},
		calc.Solid(.040, .040):        {32.3, 10.8, 5.4},
		calc.Ball(.050):               {43.6, 14.5, 7.3},
	} {
		for i, d := range []calc.SquareMetrePerSecond{1e-9, 3e-9, 6e-9} {
			got, err := calc.DryingHours(piece, .37, .08, .06, d)
			require.NoError(t, err)
			require.InDelta(t, hours[i], float64(got), .06, "%v %v", piece, d)
		}
	}
}

func TestDampAirNeverDries(t *testing.T) {
	_, err := calc.DryingHours(calc.Piece{}, .35, .08, .09, 3e-9)
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

func TestThinnerPiecesDryFaster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := calc.Metre(rapid.Float64Range(.02, .09).Draw(t, "diameter"))
		h := calc.Metre(rapid.Float64Range(.02, .09).Draw(t, "height"))
		hours := func(p calc.Piece) float64 {
			got, err := calc.DryingHours(p, .35, .08, .06, 2e-9)
			require.NoError(t, err)
			return float64(got)
		}
		solid := hours(calc.Solid(d, h))
		require.Less(t, hours(calc.Solid(d*.8, h)), solid)
		require.Less(t, hours(calc.Solid(d, h*.8)), solid)
		require.Less(t, hours(calc.Hollow(d, d/4, h)), solid)
	})
}

// The hours formula over random air: damper air is never faster, and where char
// holds the target or more it never dries.
func TestDamperAirIsNeverFaster(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		air := calc.Celsius(rapid.Float64Range(5, 45).Draw(t, "air"))
		rh := calc.Share(rapid.Float64Range(.05, .9).Draw(t, "humidity"))
		target := calc.WetBasis(rapid.Float64Range(.05, .12).Draw(t, "target"))
		hours := func(rh calc.Share) (calc.Hours, error) {
			return calc.DryingHours(calc.Piece{}, .35, target, calc.CharcoalEquilibrium(air, rh), 1.9e-9)
		}
		dry, err := hours(rh)
		if calc.CharcoalEquilibrium(air, rh) >= target.Dry() {
			require.ErrorAs(t, err, new(calc.OutOfRange))
			return
		}
		if damp, failed := hours(rh + .05); err == nil && failed == nil {
			require.GreaterOrEqual(t, damp, dry)
		}
	})
}

// A wet season of mixed and cloudy days takes about twice as long as a dry one
// (New Vision, 8 October 2020), and never less than two days.
func TestWetSeasonTakesAboutTwiceAsLong(t *testing.T) {
	days := func(sun calc.Hours) calc.Range[calc.Days] {
		r, err := calc.Recipe(calc.RecipeInput{Waste: calc.MaizeCob, EffectiveSun: sun})
		require.NoError(t, err)
		return r.DryingDays
	}
	sunny, mixed, cloudy := days(8), days(5), days(2)
	require.Less(t, float64(mixed.Likely), 2*float64(sunny.Likely))
	require.Greater(t, float64(cloudy.Likely), 2*float64(sunny.Likely))
	require.Equal(t, calc.Days(2), days(12).Low)
}

// Mass in is mass out: the pieces and the losses hold all solids.
func TestPiecesHoldAllSolids(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		solids := rapid.Float64Range(1, 500).Draw(t, "solids")
		loss := rapid.Float64Range(.001, .4).Draw(t, "loss")
		mix := calc.WetBasis(rapid.Float64Range(.25, .45).Draw(t, "mix"))
		r, err := calc.Press(calc.PressInput{
			Solids: calc.Exactly(calc.Kg(solids)), Loss: calc.Exactly(calc.Share(loss)), MixMoisture: mix,
			Density: calc.Exactly[calc.KgPerCubicMetre](950),
		})
		require.NoError(t, err)
		piece := float64(mix.DryOf(r.WetPiece))
		left := solids - solids*loss - float64(r.Briquettes.Likely)*piece
		require.GreaterOrEqual(t, left, -1e-6)
		require.Less(t, left, piece)
	})
}

func ExamplePress() {
	r, err := calc.Press(calc.PressInput{Solids: calc.Exactly[calc.Kg](7.5)})
	fmt.Printf("%.0f briquettes of %.0f g, ready at %.2f of that %v\n", r.Briquettes, 1000*r.WetPiece, r.ReadyRatio, err)
	// Output: {75 89 111} briquettes of 119 g, ready at 0.71 of that <nil>
}

func ExampleDryingHours() {
	solid, _ := calc.DryingHours(calc.Solid(.060, .050), .37, .08, .06, 3e-9)
	hollow, _ := calc.DryingHours(calc.Hollow(.060, .015, .050), .37, .08, .06, 3e-9)
	fmt.Printf("%.0f hours solid, %.0f hours with a hole\n", solid, hollow)
	// Output: 21 hours solid, 10 hours with a hole
}

func ExamplePiece_Volume() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Hollow(.060, .015, .050).Volume())
	// Output: 133 cm3
}

func ExamplePiece_Area() {
	fmt.Printf("%.0f cm2\n", 1e4*calc.Solid(.055, .050).Area())
	// Output: 134 cm2
}

func ExamplePiece_Check() {
	fmt.Println(calc.Solid(.055, .050).Check())
	fmt.Println(calc.Solid(.055, 1.5).Check())
	// Output:
	// <nil>
	// height of the briquette is 1.5; it must lie between 0.01 and 0.4
}

func ExampleSolid() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Solid(.055, .050).Volume())
	// Output: 119 cm3
}

func ExampleHollow() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Hollow(.060, .015, .050).Volume())
	// Output: 133 cm3
}

func ExampleHoles() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Holes(.120, .012, .080, 19).Volume())
	// Output: 733 cm3
}

func ExampleBall() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Ball(.050).Volume())
	// Output: 65 cm3
}

func ExampleBrick() {
	fmt.Printf("%.0f cm3\n", 1e6*calc.Brick(.10, .06, .05).Volume())
	// Output: 300 cm3
}
