package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

func bind(t require.TestingT, in calc.BindInput) calc.BindResult {
	r, err := calc.Bind(in)
	require.NoError(t, err)
	return r
}

func kilograms(m calc.Kg) calc.Range[calc.Kg] { return calc.Exactly(m) }

func TestEveryBinderSaysWhatItHolds(t *testing.T) {
	for _, s := range calc.Starches() {
		b, err := calc.BinderOf(s)
		require.NoError(t, err)
		require.Equal(t, s, b.Starch)
		if b.Hold == calc.Unproven {
			continue
		}
		require.True(t, 0 < b.Content.Low && b.Content.High < 1, "%s content", s)
		require.True(t, 0 < b.Ash.Low && b.Ash.High < 1, "%s ash", s)
		require.True(t, 0 < b.Dose.Low && b.Dose.High <= .25, "%s dose", s)
		require.Less(t, b.Paste.Low, b.Paste.High, "%s paste", s)
		// Binding matter and water fit into one kilogram.
		require.LessOrEqual(t, float64(b.Content.Likely)+float64(b.Water.Likely), 1.0001, s)
		require.Equal(t, b.Hold == calc.Gels, b.CookTo() > 60, "only starches are cooked: %s", s)
	}
	_, err := calc.BinderOf("glue")
	require.ErrorAs(t, err, new(calc.Unknown))
}

// Li et al. 2018, Molecules 23:2312: green banana peel holds 0.226 starch on dry
// basis. Some 11 kg of fresh peel replace one of cassava root (own reference
// computation).
func TestBananaPeelIsAFiller(t *testing.T) {
	peel, err := calc.BinderOf(calc.BananaPeel)
	require.NoError(t, err)
	root, err := calc.BinderOf(calc.CassavaRoot)
	require.NoError(t, err)
	require.InDelta(t, .226, float64(peel.Content.Likely)/float64(1-peel.Water.Likely), .01)
	require.InDelta(t, 11, float64(root.Content.Likely/peel.Content.Likely), .5)

	r := bind(t, calc.BindInput{Char: kilograms(10), Starch: calc.BananaPeel})
	require.Equal(t, &calc.BinderTooWet, r.Infeasible)
	require.Contains(t, r.Cautions, calc.WeakBinder)
}

// A grated root of 0.75 kg takes 1.3 to 1.7 litres at 8 to 10 parts of water and
// brings half a litre itself. Makers use one root to about 1.5 to 2.5 litres of
// boiling water: what exceeds the paste is sprinkle water.
func TestOneGratedRoot(t *testing.T) {
	root, err := calc.BinderOf(calc.CassavaRoot)
	require.NoError(t, err)
	freed := .75 * float64(root.Content.Likely*root.Freed.Likely)
	require.InDelta(t, 1.3, 8*freed, .06)
	require.InDelta(t, 1.7, 10*freed, .06)
	require.InDelta(t, .5, .75*float64(root.Water.Likely), .01)

	// Char for one root at the usual dose: the water to add reaches the practice.
	char := calc.Kg(freed / .08 / .95)
	r := bind(t, calc.BindInput{Char: kilograms(char), Starch: calc.CassavaRoot})
	require.InDelta(t, .75, float64(r.Starch.Likely), .001)
	require.InDelta(t, .66, float64(r.Water.Likely), .01)
	r = bind(t, calc.BindInput{Char: kilograms(char * 2), Starch: calc.CassavaRoot, Dose: .04, MixMoisture: .40})
	require.InDelta(t, .75, float64(r.Starch.Likely), .001)
	require.InDelta(t, 2, float64(r.Water.Likely), .5)
	require.Positive(t, r.SprinkleWater.Likely)
}

// Fresh roots bring water and fibre of their own: all of it is in the mix.
func TestMixOfAnyBinderHasTheAskedMoisture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(calc.Starches()).Draw(t, "binder")
		in := calc.BindInput{
			Char:         kilograms(calc.Kg(rapid.Float64Range(.5, 200).Draw(t, "char"))),
			CharMoisture: calc.WetBasis(rapid.Float64Range(.01, .4).Draw(t, "char moisture")),
			Starch:       s,
			MixMoisture:  calc.WetBasis(rapid.Float64Range(.28, .45).Draw(t, "mix")),
		}
		r := bind(t, in)
		if r.Infeasible != nil {
			require.NotEmpty(t, r.Infeasible.Why)
			require.NotEmpty(t, r.Infeasible.Remedy)
			require.Zero(t, r.Water)
			return
		}
		b, err := calc.BinderOf(s)
		require.NoError(t, err)
		water := float64(in.CharMoisture)*float64(in.Char.Likely) + float64(r.Water.Likely) +
			float64(b.Water.Likely)*float64(r.Starch.Likely)
		require.InDelta(t, float64(in.MixMoisture), water/(water+float64(r.Solids.Likely)), 1e-9)
		require.InDelta(t, float64(r.Mix.Likely), water+float64(r.Solids.Likely), 1e-9*float64(r.Mix.Likely))
		require.InDelta(t, float64(r.Water.Likely), float64(r.PasteWater.Likely+r.SprinkleWater.Likely), 1e-9)
		require.GreaterOrEqual(t, r.PasteWater.Likely, calc.Litre(-1e-9))
		require.GreaterOrEqual(t, r.SprinkleWater.Likely, calc.Litre(-1e-9))
	})
}

// Dry char in the stated amount makes char too wet fit, and no less does.
func TestDryCharMakesRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := calc.BindInput{
			Char:         kilograms(calc.Kg(rapid.Float64Range(1, 50).Draw(t, "char"))),
			CharMoisture: calc.WetBasis(rapid.Float64Range(.22, .5).Draw(t, "char moisture")),
			Starch:       rapid.SampledFrom([]calc.Starch{calc.CassavaFlour, calc.CassavaRoot, calc.SweetPotato}).Draw(t, "binder"),
		}
		wet := bind(t, in)
		if wet.Infeasible == nil {
			return
		}
		require.Equal(t, &calc.CharTooWet, wet.Infeasible)
		blend := func(dry calc.Kg) *calc.Fault {
			mass := in.Char.Likely + dry
			moisture := (in.Char.Likely*calc.Kg(in.CharMoisture) + dry*.05) / mass
			return bind(t, calc.BindInput{Char: kilograms(mass), CharMoisture: calc.WetBasis(moisture), Starch: in.Starch}).Infeasible
		}
		require.Nil(t, blend(wet.AddDryChar.Likely*1.0001))
		require.NotNil(t, blend(wet.AddDryChar.Likely*.99))
	})
}

func TestDosesOutsideTheLimits(t *testing.T) {
	for _, row := range []struct {
		starch calc.Starch
		dose   calc.Share
		why    *calc.Fault
		heavy  bool
	}{
		{calc.CassavaFlour, .03, &calc.TooLittleBinder, false},
		{calc.CassavaFlour, .04, nil, false},
		{calc.CassavaFlour, .12, nil, false},
		{calc.CassavaFlour, .13, nil, true},
		{calc.CassavaFlour, .16, &calc.TooMuchBinder, true},
		{calc.Clay, .20, &calc.TooMuchBinder, false},
		{calc.Paper, .15, nil, false},
		{calc.Aloe, .10, &calc.UnprovenBinder, false},
		{calc.Aloe, 0, &calc.UnprovenBinder, false},
	} {
		r := bind(t, calc.BindInput{Char: kilograms(10), Starch: row.starch, Dose: row.dose})
		require.Equal(t, row.why, r.Infeasible, "%s %v", row.starch, row.dose)
		require.Equal(t, row.heavy, r.Heavy, "%s %v", row.starch, row.dose)
		require.NotContains(t, r.Assumed, (*calc.Sourced)(nil), "%s %v", row.starch, row.dose)
	}
}

// A recipe with a dose that is refused says so and promises no briquettes.
func TestRecipePassesTheRefusalOn(t *testing.T) {
	r, err := calc.Recipe(calc.RecipeInput{Waste: calc.MaizeCob, Dose: .2})
	require.NoError(t, err)
	require.Equal(t, &calc.TooMuchBinder, r.Infeasible)
	require.Zero(t, r.Briquettes)
	require.Zero(t, r.Starch)
}

// A stock that does not suffice binds all the char weakly or a part of it well;
// either way it is used up.
func TestShortOfBinder(t *testing.T) {
	r := bind(t, calc.BindInput{Char: kilograms(10), Have: .5})
	require.NotNil(t, r.Short)
	require.InDelta(t, .5*.75/9.5, float64(r.Short.DoseForAll), 1e-9)
	require.True(t, r.Short.TooWeak)
	require.InDelta(t, 10, float64(r.Short.WellBound+r.Short.LeftOver), 1e-9)
	part := bind(t, calc.BindInput{Char: kilograms(r.Short.WellBound)})
	require.InDelta(t, .5, float64(part.Starch.Likely), 1e-9)

	r = bind(t, calc.BindInput{Char: kilograms(10), Have: .8})
	require.False(t, r.Short.TooWeak)
	all := bind(t, calc.BindInput{Char: kilograms(10), Dose: r.Short.DoseForAll})
	require.InDelta(t, .8, float64(all.Starch.Likely), 1e-9)

	require.Nil(t, bind(t, calc.BindInput{Char: kilograms(10), Have: 2}).Short)
	require.Nil(t, bind(t, calc.BindInput{Char: kilograms(10)}).Short)
}

func ExampleBinderOf() {
	b, err := calc.BinderOf(calc.CassavaRoot)
	fmt.Printf("%.0f %% starch, %.0f %% of it freed, %.0f %% water, cook to %.0f C %v %v\n",
		100*b.Content.Likely, 100*b.Freed.Likely, 100*b.Water.Likely, b.CookTo(), b.Cautions, err)
	// Output: 28 % starch, 80 % of it freed, 66 % water, cook to 74 C [staple-food holds-cyanide] <nil>
}

func ExampleBinder_CookTo() {
	b, _ := calc.BinderOf(calc.MaizeStarch)
	fmt.Printf("stirred until clear, to %.0f C\n", b.CookTo())
	// Output: stirred until clear, to 84 C
}

// Half a kilogram of cassava flour for ten kilograms of char.
func ExampleBind_short() {
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), Have: .5})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("all: %.1f %% starch, too weak %v; or bind %.1f kg well and keep %.1f kg\n",
		100*r.Short.DoseForAll, r.Short.TooWeak, r.Short.WellBound, r.Short.LeftOver)
	// Output: all: 3.9 % starch, too weak true; or bind 4.9 kg well and keep 5.1 kg
}

// Char that was washed out of the ash is wet.
func ExampleBind_wetChar() {
	r, err := calc.Bind(calc.BindInput{Char: calc.Exactly[calc.Kg](10), CharMoisture: .30})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %s; %.1f kg of dry char make it fit\n", r.Infeasible.Why, r.Infeasible.Remedy, r.AddDryChar.Likely)
	// Output: char-too-wet: spread-in-sun-or-add-dry-char; 5.9 kg of dry char make it fit
}
