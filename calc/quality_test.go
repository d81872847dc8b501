package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

func quality(t require.TestingT, in calc.QualityInput) calc.QualityResult {
	r, err := calc.Quality(in)
	require.NoError(t, err)
	return r
}

// The thresholds of the field tests: common practice, to be calibrated.
func TestFieldTestsAreGraded(t *testing.T) {
	pressed := func(now calc.Kg) calc.QualityInput { return calc.QualityInput{PressedWeight: 1, DriedWeight: now} }
	for name, row := range map[string]struct {
		in   calc.QualityInput
		test calc.FieldTest
		want calc.Finding
	}{
		"all whole from 1 m":     {calc.QualityInput{Dropped: 5}, calc.DropTest, calc.Passed},
		"two chip from 1 m":      {calc.QualityInput{Dropped: 5, Chipped: 2}, calc.DropTest, calc.Doubtful},
		"three chip from 1 m":    {calc.QualityInput{Dropped: 5, Chipped: 3}, calc.DropTest, calc.Failed},
		"one splits from 1 m":    {calc.QualityInput{Dropped: 5, Broken: 1}, calc.DropTest, calc.Failed},
		"one splits from 2 m":    {calc.QualityInput{Dropped: 5, Broken: 1, DropHeight: 2}, calc.DropTest, calc.Passed},
		"two split from 2 m":     {calc.QualityInput{Dropped: 5, Broken: 2, DropHeight: 2}, calc.DropTest, calc.Doubtful},
		"three split from 2 m":   {calc.QualityInput{Dropped: 5, Broken: 3, DropHeight: 2}, calc.DropTest, calc.Failed},
		"three chip from 2 m":    {calc.QualityInput{Dropped: 5, Chipped: 3, DropHeight: 2}, calc.DropTest, calc.Passed},
		"all whole from 2 m":     {calc.QualityInput{Dropped: 5, Chipped: 1, DropHeight: 2}, calc.DropTest, calc.Passed},
		"0.69 of the wet weight": {pressed(.69), calc.WeightTest, calc.Passed},
		"0.75 of the wet weight": {pressed(.75), calc.WeightTest, calc.Doubtful},
		"0.80 of the wet weight": {pressed(.80), calc.WeightTest, calc.Failed},
		"whole in water":         {calc.QualityInput{InWater: 6}, calc.SinkTest, calc.Passed},
		"apart in 3 min":         {calc.QualityInput{InWater: 3}, calc.SinkTest, calc.Doubtful},
		"apart at once":          {calc.QualityInput{InWater: .5}, calc.SinkTest, calc.Failed},
		"boils in 14 min":        {calc.QualityInput{Boil: 14}, calc.BoilTest, calc.Passed},
		"boils in 20 min":        {calc.QualityInput{Boil: 20}, calc.BoilTest, calc.Doubtful},
		"boils in 30 min":        {calc.QualityInput{Boil: 30}, calc.BoilTest, calc.Failed},
		"18 % ash":               {calc.QualityInput{AshLeft: .18}, calc.AshTest, calc.Passed},
		"25 % ash":               {calc.QualityInput{AshLeft: .25}, calc.AshTest, calc.Doubtful},
		"35 % ash":               {calc.QualityInput{AshLeft: .35}, calc.AshTest, calc.Failed},
		"clink":                  {calc.QualityInput{Ring: calc.Passed}, calc.RingTest, calc.Passed},
		"damp spot":              {calc.QualityInput{Core: calc.Doubtful}, calc.CoreTest, calc.Doubtful},
		"powder":                 {calc.QualityInput{Rub: calc.Failed}, calc.RubTest, calc.Failed},
	} {
		r := quality(t, row.in)
		require.Equal(t, []calc.Tested{{Test: row.test, Finding: row.want}}, r.Tested, name)
		require.Equal(t, row.want != calc.Passed, len(r.Faults) == 1, name)
	}
}

// Own reference computation: w = 1 - (1 - mix)/ratio.
func TestMoistureByWeight(t *testing.T) {
	w := calc.MoistureByWeight(.70, .35)
	require.InDelta(t, 1-.65/.70, float64(w.Likely), 1e-9)
	require.InDelta(t, 1-.60/.70, float64(w.High), 1e-9)
	require.Zero(t, w.Low)
	require.True(t, w.Ordered())
	// A wetter mix must lose more weight: 40 % is as dry at 0.652 as 35 % at 0.707.
	for mix, ratio := range map[calc.WetBasis]calc.Kg{.35: .706, .40: .651} {
		r := quality(t, calc.QualityInput{PressedWeight: 1, DriedWeight: ratio, MixMoisture: mix})
		require.InDelta(t, .08, float64(r.Moisture.Likely), .002)
	}
}

// The three tests a producer is asked for, all passed, make a batch fit to sell.
func TestDropSinkAndBoilAreEnough(t *testing.T) {
	good := calc.QualityInput{Dropped: 5, InWater: 6, Boil: 13}
	r := quality(t, good)
	require.Equal(t, calc.FitToSell, r.Verdict)
	require.Empty(t, r.Faults)
	require.Empty(t, r.Next)

	for _, bad := range []calc.QualityInput{
		{Dropped: 5, Broken: 2, InWater: 6, Boil: 13},
		{Dropped: 5, InWater: 6, Boil: 13, Core: calc.Failed},
		{Dropped: 5, InWater: 6, Boil: 13, PressedWeight: 1, DriedWeight: .85},
		{Dropped: 5, InWater: 6, Boil: 13, AshLeft: .5},
		{Dropped: 5, InWater: 6, Boil: 13, Mould: true},
	} {
		r := quality(t, bad)
		require.Equal(t, calc.NotFit, r.Verdict, "%+v", bad)
		require.NotEmpty(t, r.Faults, "%+v", bad)
	}
}

func TestOpenVerdictNamesTheNextTest(t *testing.T) {
	r := quality(t, calc.QualityInput{})
	require.Equal(t, calc.Unsure, r.Verdict)
	require.Equal(t, calc.WeightTest, r.Next, "dryness is the least sure and weight tells most of it")
	r = quality(t, calc.QualityInput{PressedWeight: 1, DriedWeight: .68, Dropped: 5})
	require.Equal(t, calc.Unsure, r.Verdict)
	require.Equal(t, calc.AshTest, r.Next)
}

func TestFewDroppedPiecesTellLess(t *testing.T) {
	five, two := quality(t, calc.QualityInput{Dropped: 5}), quality(t, calc.QualityInput{Dropped: 2})
	none := quality(t, calc.QualityInput{})
	require.Greater(t, five.Strong.Likely, two.Strong.Likely)
	require.Greater(t, two.Strong.Likely, none.Strong.Likely)
	require.Equal(t, none.Dry, five.Dry, "a drop says nothing about dryness")
}

func TestMouldIsThrownAway(t *testing.T) {
	r := quality(t, calc.QualityInput{Dropped: 5, InWater: 6, Boil: 10, Core: calc.Passed, Mould: true})
	require.Equal(t, calc.NotFit, r.Verdict)
	require.Equal(t, calc.Mouldy, r.Faults[0])
}

func randomTests(t *rapid.T) calc.QualityInput {
	finding := rapid.Map(rapid.IntRange(0, 3), func(i int) calc.Finding { return calc.Finding(i) })
	return calc.QualityInput{
		Dropped:       calc.Count(rapid.IntRange(0, 10).Draw(t, "dropped")),
		PressedWeight: .12,
		DriedWeight:   calc.Kg(rapid.Float64Range(.07, .12).Draw(t, "weight")),
		InWater:       calc.Minutes(rapid.Float64Range(0, 10).Draw(t, "in water")),
		Boil:          calc.Minutes(rapid.Float64Range(0, 40).Draw(t, "boil")),
		AshLeft:       calc.Share(rapid.Float64Range(0, .6).Draw(t, "ash")),
		Ring:          finding.Draw(t, "ring"),
		Core:          finding.Draw(t, "core"),
		Rub:           finding.Draw(t, "rub"),
	}
}

// A worse finding never makes a batch look better, and every chance is a chance.
func TestWorseFindingsNeverHelp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := randomTests(t)
		r := quality(t, in)
		for _, chance := range []calc.Range[calc.Share]{r.Dry, r.Strong, r.Burns, r.Fit} {
			require.True(t, chance.Ordered())
			require.True(t, 0 < chance.Low && chance.High < 1)
		}
		worse := in
		worse.DriedWeight = min(in.DriedWeight+.01, in.PressedWeight)
		worse.Boil = in.Boil + 5
		worse.AshLeft = min(in.AshLeft+.1, 1)
		if in.InWater > 2 {
			worse.InWater = in.InWater - 2
		}
		for _, felt := range []*calc.Finding{&worse.Ring, &worse.Core, &worse.Rub} {
			if *felt == calc.Passed || *felt == calc.Doubtful {
				*felt++
			}
		}
		if in.Boil == 0 || in.AshLeft == 0 {
			return // a new test may help
		}
		w := quality(t, worse)
		require.LessOrEqual(t, w.Fit.Likely, r.Fit.Likely+1e-12)
		if r.Verdict == calc.NotFit {
			require.Equal(t, calc.NotFit, w.Verdict)
		}
	})
}

func TestQualityRefusesImpossibleTests(t *testing.T) {
	for _, in := range []calc.QualityInput{
		{Dropped: 5, Broken: 6},
		{Broken: 1},
		{Dropped: 5, Chipped: 3, Broken: 3},
		{PressedWeight: 1, DriedWeight: 1.1},
		{DriedWeight: 1},
		{AshLeft: 2},
		{Boil: -1},
		{Ring: 9},
		{Dropped: 5, DropHeight: 20},
		{PressedWeight: 1, DriedWeight: .7, MixMoisture: .9},
	} {
		_, err := calc.Quality(in)
		require.ErrorAs(t, err, new(calc.OutOfRange), "%+v", in)
	}
}

func fuel(t require.TestingT, in calc.FuelInput) calc.FuelResult {
	r, err := calc.Fuel(in)
	require.NoError(t, err)
	return r
}

// Own reference computation: 32 MJ/kg without ash, 8 % of starch at 17.5.
func TestMixAshAndHeatingValue(t *testing.T) {
	for ash, want := range map[calc.Share]struct{ higher, ash float64 }{
		.08: {28.6, .074}, .18: {25.6, .167}, .45: {17.6, .417},
	} {
		r := fuel(t, calc.FuelInput{Ash: calc.Exactly(ash), Starch: calc.CassavaStarch})
		require.InDelta(t, want.higher, float64(r.Higher.Likely), .06)
		require.InDelta(t, want.ash, float64(r.Ash.Likely), .0006)
	}
}

func TestCharcoalStandardIsTheAim(t *testing.T) {
	aims := func(w calc.Waste) calc.Aims {
		burnt, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Waste: w}})
		require.NoError(t, err)
		return fuel(t, calc.FuelInput{
			Ash: burnt.Ash, FixedCarbon: burnt.FixedCarbon, HeatingValue: burnt.HeatingValue,
			Moisture: calc.Range[calc.WetBasis]{Low: .05, Likely: .07, High: .08},
		}).Aims
	}
	// Rice husk char cannot pass: 47.4 % ash was measured (Yiga et al. 2023, Energy Rep. 9:5977).
	require.Equal(t, calc.BeyondLimit, aims(calc.RiceHusk).Ash)
	require.Equal(t, calc.BeyondLimit, aims(calc.RiceHusk).All)
	require.NotEqual(t, calc.WithinLimit, aims(calc.MaizeStalk).Ash)
	require.Equal(t, calc.WithinLimit, aims(calc.MaizeCob).Ash)
	require.Equal(t, calc.WithinLimit, aims(calc.CoconutShell).Ash)
	require.Equal(t, calc.WithinLimit, aims(calc.CoconutShell).Moisture)
}

// Wetter, ashier and more starch never burn hotter, and net lies below higher.
func TestWhatTakesHeat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := calc.FuelInput{
			Ash:      calc.Exactly(calc.Share(rapid.Float64Range(.02, .5).Draw(t, "ash"))),
			Dose:     calc.Share(rapid.Float64Range(.04, .15).Draw(t, "dose")),
			Moisture: calc.Exactly(calc.WetBasis(rapid.Float64Range(.03, .2).Draw(t, "moisture"))),
		}
		r := fuel(t, in)
		require.Less(t, r.Net.Likely, r.Higher.Likely)
		require.True(t, r.Net.Ordered())
		wetter, ashier := in, in
		wetter.Moisture = in.Moisture.Scale(1.2)
		ashier.Ash = in.Ash.Scale(1.2)
		require.Less(t, fuel(t, wetter).Net.Likely, r.Net.Likely)
		require.Less(t, fuel(t, ashier).Net.Likely, r.Net.Likely)
		if in.Ash.Likely < .4 {
			stickier := in
			stickier.Dose += .05
			require.Less(t, fuel(t, stickier).Net.Likely, r.Net.Likely)
		}
	})
}

func TestFuelRefuses(t *testing.T) {
	_, err := calc.Fuel(calc.FuelInput{})
	require.ErrorAs(t, err, new(calc.OutOfRange))
	_, err = calc.Fuel(calc.FuelInput{Ash: calc.Exactly[calc.Share](.1), Starch: "glue"})
	require.ErrorAs(t, err, new(calc.Unknown))
	_, err = calc.Fuel(calc.FuelInput{Ash: calc.Exactly[calc.Share](.1), Moisture: calc.Exactly[calc.WetBasis](.6)})
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

// Five pieces dropped, one of them in water, and a litre boiled.
func ExampleQuality() {
	r, err := calc.Quality(calc.QualityInput{Dropped: 5, InWater: 6, Boil: 20})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%v: %.0f %% (%.0f to %.0f) that a buyer is content\n", r.Verdict, 100*r.Fit.Likely, 100*r.Fit.Low, 100*r.Fit.High)
	for _, f := range r.Faults {
		fmt.Printf("%s: %s\n", f.Why, f.Remedy)
	}
	fmt.Printf("next: the %s test\n", r.Next)
	// Output:
	// unsure: 22 % (12 to 35) that a buyer is content
	// burns-badly: dry-longer-or-blend-cleaner-char
	// next: the weight test
}

func ExampleMoistureByWeight() {
	w := calc.MoistureByWeight(.72, .35)
	fmt.Printf("%.0f %% (%.0f to %.0f)\n", 100*w.Likely, 100*w.Low, 100*w.High)
	// Output: 10 % (3 to 17)
}

func ExampleFuel() {
	r, err := calc.Fuel(calc.FuelInput{Ash: calc.Range[calc.Share]{Low: .08, Likely: .10, High: .13}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("ash %.0f %%, net %.0f MJ/kg (%.0f to %.0f), against the charcoal standard: ash %v, moisture %v\n",
		100*r.Ash.Likely, r.Net.Likely, r.Net.Low, r.Net.High, r.Aims.Ash, r.Aims.Moisture)
	// Output: ash 9 %, net 25 MJ/kg (23 to 26), against the charcoal standard: ash within, moisture near
}
