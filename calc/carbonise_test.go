package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

func carbonise(t require.TestingT, w calc.Waste, m calc.WetBasis) calc.CarboniseResult {
	r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Waste: w, Moisture: calc.Exactly(m)}})
	require.NoError(t, err)
	return r
}

// Yields measured in drums and small kilns lie inside the range of the default.
// None of them told any figure of it; those that told the burn-off stand in
// TestBiasAndCoverageOnDrumRuns.
func TestPublishedDrumYieldsLieInsideTheRange(t *testing.T) {
	for _, v := range []struct {
		waste  calc.Waste
		yield  calc.Share
		source string
	}{
		{calc.CottonStalk, .235, "single barrel, middle of 17-30 %, Venkatesh et al. 2013, Indian J. Dryland Agric. 28(1):48"},
		{calc.CoconutShell, .27 / .88, "drum with three rows of holes, low end, as fed at 12 %, trade notes of a shell-char maker"},
		{calc.SunflowerStalk, .208, "semi-batch updraft, Adeniyi et al. 2025, doi 10.1515/ijcre-2024-0248"},
		{calc.Prunings, .22, "flame-curtain kiln, Cornelissen et al. 2016, PLoS ONE 0154617"},
		{calc.MaizeCob, .245, "updraft retort, low end, jree.ir article 176482"},
	} {
		y := carbonise(t, v.waste, .12).Yield
		require.GreaterOrEqual(t, v.yield, y.Low, v.source)
		require.LessOrEqual(t, v.yield, y.High, v.source)
	}
}

// Corn-cob char of 500 C: yield 34 %, ash 6.2 % (Rattanaphaiboon et al. 2022,
// AIP Conf. Proc. 2681:020034). All ash of the feed is found again: 2.1 %,
// against 2.2 % measured on cobs (Lizotte et al. 2015).
func TestAshIsConserved(t *testing.T) {
	r, err := calc.Carbonise(calc.CarboniseInput{
		LoadInput: calc.LoadInput{Waste: calc.MaizeCob, Moisture: calc.Exactly[calc.WetBasis](.123)},
		Yield:     calc.Exactly[calc.Share](.34),
	})
	require.NoError(t, err)
	require.InDelta(t, .062, float64(r.Ash.Likely), .004)
}

func TestAshClosesForEveryWaste(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SampledFrom(calc.Wastes()).Draw(t, "waste")
		r := carbonise(t, w, calc.WetBasis(rapid.Float64Range(.08, .25).Draw(t, "moisture")))
		f, err := calc.Feed(w)
		require.NoError(t, err)
		require.InEpsilon(t, float64(f.Ash.Likely), float64(r.Ash.Likely*r.Yield.Likely), 1e-9)
		require.InDelta(t, 1, float64(r.Ash.Likely+r.FixedCarbon.Likely+r.Volatile.Likely), 1e-9)
		require.InEpsilon(t, float64(r.Load.Dry.Likely)*float64(r.Yield.Likely), float64(r.Char.Likely), 1e-9)
	})
}

// Own reference computation of the moisture rule y = y14 (1 - 0.8 (u - 0.14)),
// which ends at 30 %.
func TestYieldKept(t *testing.T) {
	for moisture, kept := range map[calc.WetBasis]float64{.10: 1, .15: .97, .20: .91, .25: .85, .30: .77, .40: .60} {
		require.InDelta(t, kept, float64(carbonise(t, calc.MaizeCob, moisture).YieldKept.Likely), .006, moisture)
	}
}

func TestWetterFeedNeverGivesMoreChar(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SampledFrom(calc.Wastes()).Draw(t, "waste")
		in := calc.LoadInput{Waste: w, Drums: calc.Count(rapid.IntRange(1, 9).Draw(t, "drums"))}
		if rapid.Bool().Draw(t, "weighed") {
			in.Mass = calc.Exactly(calc.Kg(rapid.Float64Range(1, 900).Draw(t, "mass")))
		}
		m := calc.WetBasis(rapid.Float64Range(.01, .5).Draw(t, "moisture"))
		more := m + calc.WetBasis(rapid.Float64Range(0, .15).Draw(t, "more"))
		char := func(m calc.WetBasis) calc.Range[calc.Kg] {
			in.Moisture = calc.Exactly(m)
			r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: in})
			require.NoError(t, err)
			return r.Char
		}
		dry, wet := char(m), char(more)
		const slack = 1 + 1e-9
		require.LessOrEqual(t, float64(wet.Likely), float64(dry.Likely)*slack)
		// Beyond 30 % the least ash-rich draws are held up by their ash.
		if more <= .30 {
			require.LessOrEqual(t, float64(wet.Low), float64(dry.Low)*slack)
		}
		require.True(t, dry.Ordered() && wet.Ordered())
	})
}

func TestCarboniseRefusesAnImpossibleYield(t *testing.T) {
	_, err := calc.Carbonise(calc.CarboniseInput{
		LoadInput: calc.LoadInput{Waste: calc.MaizeCob}, Yield: calc.Exactly[calc.Share](.9),
	})
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

func ExampleCarbonise() {
	r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{
		Waste: calc.MaizeCob, Mass: calc.Exactly[calc.Kg](33), Moisture: calc.NearlyDry.Moisture(),
	}})
	fmt.Printf("%.1f kg of char, %.1f kg half-charred %v\n", r.Char, r.Unburnt.Likely, err)
	fmt.Printf("%s: keeps %.2f of the yield of dry cobs\n", r.Lighting, r.YieldKept.Likely)
	// Output:
	// {4.4 6.0 7.4} kg of char, 0.5 kg half-charred <nil>
	// light-with-loss: keeps 0.95 of the yield of dry cobs
}

func ExampleClock() {
	fmt.Println("cover after", calc.Clock(false).Cover, "minutes; restricted holes:", calc.Clock(true).Cover)
	// Output: cover after {20 30 55} minutes; restricted holes: {120 240 420}
}
