package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

func recipe(t require.TestingT, in calc.RecipeInput) calc.RecipeResult {
	r, err := calc.Recipe(in)
	require.NoError(t, err)
	return r
}

// Practice values of charcoal and briquette makers, which have no source. The
// default answers agree with them, or the comment says why not.
func TestPracticeValues(t *testing.T) {
	r := recipe(t, calc.RecipeInput{Waste: calc.MaizeCob})

	t.Run("only dry feed is lit", func(t *testing.T) {
		require.True(t, r.Lighting.MayLight())
		require.Equal(t, calc.BurnClock{}, recipe(t, calc.RecipeInput{Waste: calc.MaizeCob, Moisture: calc.Wet.Moisture()}).Clock)
	})
	t.Run("white damp smoke for about ten minutes", func(t *testing.T) {
		require.Equal(t, calc.Minutes(10), r.Clock.WhiteSmoke.Likely)
	})
	// Ten minutes of white smoke and ten more make twenty; our likely time is
	// thirty because it counts from the match, with the minutes of lighting up.
	t.Run("ready to cover about ten minutes after the white smoke", func(t *testing.T) {
		require.LessOrEqual(t, r.Clock.Cover.Low, calc.Minutes(20))
		require.GreaterOrEqual(t, r.Clock.Cover.High, calc.Minutes(20)+r.Clock.Flames.High)
	})
	// The two hours are carbonisation under the lid. Opening waits far longer,
	// because the core is still hot when the wall is not.
	t.Run("hold at least two hours", func(t *testing.T) {
		for _, w := range calc.Wastes() {
			require.GreaterOrEqual(t, recipe(t, calc.RecipeInput{Waste: w}).Wait, calc.Hours(12), w)
		}
	})
	t.Run("unburnt pieces are left for the next burn", func(t *testing.T) {
		require.Greater(t, r.Unburnt.Low, calc.Kg(0))
		require.Less(t, r.Unburnt.Likely, r.Char.Likely)
	})
	// A root of 0.75 kg to a drum of char is a weak paste of 4 %; at that dose
	// one root takes 1.5 to 2 litres. At 8 to 10 parts of water the root alone
	// cooks in 1.3 to 1.7 litres with the half litre it brings; the rest is
	// sprinkled.
	t.Run("one grated root to one and a half to two litres", func(t *testing.T) {
		mix, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](4.4), Starch: calc.CassavaRoot, Dose: .04})
		require.NoError(t, err)
		require.InDelta(t, .75, float64(mix.Starch.Likely), .01)
		require.InDelta(t, 1.75, float64(mix.Water.Likely), .25)
		require.InDelta(t, 1.34, float64(mix.PasteWater.Likely)+.66*.75, .05)
	})
	t.Run("any starchy material binds", func(t *testing.T) {
		for _, s := range calc.Starches() {
			b, err := calc.BinderOf(s)
			require.NoError(t, err)
			mix, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](5), Starch: s})
			require.NoError(t, err)
			// Peel is a filler: at a full dose it brings too much water.
			if b.Hold == calc.Gels && s != calc.BananaPeel {
				require.Nil(t, mix.Infeasible, s)
			}
		}
	})
	// Two burns with the same signs move the covering time; one alone need not.
	t.Run("covering time is learnt by the second or third batch", func(t *testing.T) {
		early := calc.Opening{Brands: calc.ManyBrands}
		move := func(openings ...calc.Opening) calc.Minutes {
			advice, err := calc.Advise(calc.AdviseInput{Waste: calc.MaizeCob, Openings: openings})
			require.NoError(t, err)
			return advice.Move
		}
		require.Zero(t, move(early))
		require.Positive(t, move(early, early))
	})
	t.Run("three to four days of sun", func(t *testing.T) {
		require.InDelta(t, 3.5, float64(r.DryingDays.Likely), .5)
		require.GreaterOrEqual(t, r.DryingDays.Low, calc.Days(2))
	})
}

// Own reference values of one drum at 13 % moisture: kg of waste and of char.
func TestWholeDrumValues(t *testing.T) {
	for w, want := range map[calc.Waste]struct{ feed, char float64 }{
		calc.MaizeCob:       {33, 6.6},
		calc.MaizeStalk:     {11, 2.2},
		calc.CoconutShell:   {44, 10},
		calc.GroundnutShell: {17, 4},
		calc.RiceHusk:       {22, 7},
		calc.CottonStalk:    {16, 3.5},
		calc.WoodyStalk:     {22, 5.2},
		calc.Bagasse:        {12, 2.3},
		calc.Prunings:       {32, 6.7},
	} {
		r := recipe(t, calc.RecipeInput{Waste: w, Moisture: calc.Exactly[calc.WetBasis](.13)})
		require.InEpsilon(t, want.feed, float64(r.Feed.Likely), .03, w)
		require.InEpsilon(t, want.char, float64(r.Char.Likely), .04, w)
	}
}

// C7: waste that is not dry enough gets days to dry and no clock.
func TestC7WetIsWet(t *testing.T) {
	for _, v := range []struct {
		feel  calc.Feel
		light calc.Lighting
	}{{calc.Wet, calc.DryFirst}, {calc.TooWet, calc.DoNotLight}, {calc.Sappy, calc.DoNotLight}} {
		for _, w := range calc.Wastes() {
			r := recipe(t, calc.RecipeInput{Waste: w, Moisture: v.feel.Moisture()})
			require.Equal(t, v.light, r.Lighting, w)
			require.Zero(t, r.Clock, w)
			require.Greater(t, r.DaysToDryFirst.Likely, calc.Days(0), w)
			require.Less(t, r.YieldKept.Likely, calc.Share(1), w)
		}
	}
}

// Char and what is made of it are one draw: their ranges have one shape.
func TestCharAndWhatIsMadeOfItAreOneDraw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := recipe(t, anyRecipe(t))
		if r.Infeasible != nil {
			require.Zero(t, r.Water)
			return
		}
		shape := func(low, likely, high float64) [2]float64 { return [2]float64{low / likely, high / likely} }
		char := shape(float64(r.Char.Low), float64(r.Char.Likely), float64(r.Char.High))
		starch := shape(float64(r.Starch.Low), float64(r.Starch.Likely), float64(r.Starch.High))
		water := shape(float64(r.Water.Low), float64(r.Water.Likely), float64(r.Water.High))
		for i := range char {
			require.InDelta(t, char[i], starch[i], 1e-9)
			require.InDelta(t, char[i], water[i], 1e-9)
		}
	})
}

func anyRecipe(t *rapid.T) calc.RecipeInput {
	return calc.RecipeInput{
		Waste:        rapid.SampledFrom(calc.Wastes()).Draw(t, "waste"),
		Drums:        calc.Count(rapid.IntRange(0, 20).Draw(t, "drums")),
		Drum:         calc.Litre(rapid.SampledFrom([]int{0, 100, 160, 200}).Draw(t, "drum")),
		Moisture:     rapid.SampledFrom([]calc.Feel{0, calc.Dry, calc.NearlyDry, calc.Wet, calc.TooWet, calc.Sappy}).Draw(t, "feel").Moisture(),
		Starch:       rapid.SampledFrom(flours()).Draw(t, "starch"),
		Dose:         calc.Share(rapid.Float64Range(.04, .15).Draw(t, "dose")),
		Piece:        rapid.SampledFrom([]calc.Piece{{}, calc.Hollow(.06, .015, .05), calc.Ball(.05), calc.Brick(.1, .05, .05)}).Draw(t, "piece"),
		EffectiveSun: calc.Hours(rapid.Float64Range(2, 10).Draw(t, "sun")),
	}
}

func TestRecipeRangesAreOrdered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := recipe(t, anyRecipe(t))
		for name, ordered := range map[string]bool{
			"feed": r.Feed.Ordered(), "per drum": r.FeedPerDrum.Ordered(), "sacks": r.Sacks.Ordered(), "dry": r.DryFeed.Ordered(),
			"char": r.Char.Ordered(), "unburnt": r.Unburnt.Ordered(), "yield": r.Yield.Ordered(), "kept": r.YieldKept.Ordered(),
			"ash": r.Ash.Ordered(), "fixed carbon": r.FixedCarbon.Ordered(), "heat": r.HeatingValue.Ordered(),
			"starch": r.Starch.Ordered(), "cups": r.Cups.Ordered(), "water": r.Water.Ordered(),
			"briquettes": r.Briquettes.Ordered(), "days": r.DryingDays.Ordered(), "days first": r.DaysToDryFirst.Ordered(),
		} {
			require.True(t, ordered, name)
		}
		require.Less(t, r.Char.High, r.DryFeed.High)
		require.NotEmpty(t, r.Assumed)
	})
}

// Two drums are twice one drum: the density is not known better for more.
func TestDrumsAreOneDraw(t *testing.T) {
	one := recipe(t, calc.RecipeInput{Waste: calc.MaizeCob})
	three := recipe(t, calc.RecipeInput{Waste: calc.MaizeCob, Drums: 3})
	require.InEpsilon(t, 3*float64(one.Char.Low), float64(three.Char.Low), 1e-9)
	require.InEpsilon(t, 3*float64(one.Char.High), float64(three.Char.High), 1e-9)
	require.Equal(t, one.FeedPerDrum, three.FeedPerDrum)
}

func TestRecipeRefusesNonsense(t *testing.T) {
	for name, in := range map[string]calc.RecipeInput{
		"drums": {Waste: calc.MaizeCob, Drums: 300},
		"sun":   {Waste: calc.MaizeCob, EffectiveSun: 30},
		"dose":  {Waste: calc.MaizeCob, Dose: 2},
		"piece": {Waste: calc.MaizeCob, Piece: calc.Solid(3, 3)},
		"yield": {Waste: calc.MaizeCob, Yield: calc.Exactly[calc.Share](.01)},
	} {
		_, err := calc.Recipe(in)
		require.ErrorAs(t, err, new(calc.OutOfRange), name)
	}
}

// A recipe in brief leaves out what is drawn, and nothing else.
func TestRecipeInBrief(t *testing.T) {
	for _, waste := range calc.Wastes() {
		for _, moisture := range []calc.Range[calc.WetBasis]{{}, {.2, .25, .3}} {
			in := calc.RecipeInput{Waste: waste, Drums: 2, Moisture: moisture}
			whole, err := calc.Recipe(in)
			require.NoError(t, err)
			require.NotZero(t, whole.FixedCarbon)
			require.NotZero(t, whole.HeatingValue)
			whole.FixedCarbon, whole.HeatingValue = calc.Range[calc.Share]{}, calc.Range[calc.MJPerKg]{}
			brief, err := calc.RecipeInBrief(in)
			require.NoError(t, err)
			require.Equal(t, whole, brief)
		}
	}
}

func BenchmarkRecipe(b *testing.B) {
	one := calc.RecipeInput{Waste: calc.MaizeCob, Drums: 2}
	mixture := calc.RecipeInput{Drums: 2, Fills: []calc.Fill{{Waste: calc.MaizeCob, Share: .6}, {Waste: calc.MaizeHusk, Share: .4}}}
	for _, row := range []struct {
		name   string
		recipe func(calc.RecipeInput) (calc.RecipeResult, error)
		in     calc.RecipeInput
	}{{"one waste", calc.Recipe, one}, {"in brief", calc.RecipeInBrief, one}, {"a mixture", calc.Recipe, mixture}} {
		b.Run(row.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := row.recipe(row.in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func ExampleRecipeInBrief() {
	r, err := calc.RecipeInBrief(calc.RecipeInput{Waste: calc.MaizeCob, Drums: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("load about %.0f kg, expect %.0f to %.0f kg of char\n", r.Feed.Likely, r.Char.Low, r.Char.High)
	// Output:
	// load about 65 kg, expect 9 to 18 kg of char
}

func ExampleRecipe() {
	r, err := calc.Recipe(calc.RecipeInput{Waste: calc.MaizeCob, Drums: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("load %.0f sacks, about %.0f kg\n", r.Sacks.Likely, r.Feed.Likely)
	fmt.Printf("%.0f to %.0f kg of char\n", r.Char.Low, r.Char.High)
	fmt.Printf("%.1f kg of cassava flour, %.0f litres of water\n", r.Starch.Likely, r.Water.Likely)
	fmt.Printf("%.0f to %.0f briquettes, %.0f days on the rack\n", r.Briquettes.Low, r.Briquettes.High, r.DryingDays.Likely)
	fmt.Printf("cover after %.0f to %.0f minutes, open after %.0f hours\n", r.Clock.Cover.Low, r.Clock.Cover.High, r.Wait)
	// Output:
	// load 4 sacks, about 65 kg
	// 9 to 18 kg of char
	// 1.4 kg of cassava flour, 7 litres of water
	// 114 to 232 briquettes, 4 days on the rack
	// cover after 20 to 55 minutes, open after 12 hours
}
