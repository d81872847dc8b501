package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Trade sheets of open-head drums: 0.572 m by 0.833 m inside, 0.214 m3.
func TestStandardDrum(t *testing.T) {
	require.InDelta(t, .214, float64(calc.StandardDrum().Volume()), .0005)
	usable := calc.StandardDrum().Usable()
	require.Greater(t, float64(usable), .19)
	require.Less(t, float64(usable), .21)
}

// A farm kiln took 15 kg of cobs, 4 kg of stalks and 7 kg of paddy husk (J.
// Agric. Eng. 60(4):445, 2023): the same fill in all, so the loads of one
// volume stand in those proportions. Cobs packed by hand lie tighter than ours.
func TestLoadsStandInTheProportionsOfAFarmKiln(t *testing.T) {
	load := func(w calc.Waste) float64 {
		r, err := calc.Load(calc.LoadInput{Waste: w})
		require.NoError(t, err)
		return float64(r.Feed.Likely)
	}
	require.InEpsilon(t, 4./7, load(calc.MaizeStalk)/load(calc.RiceHusk), .15)
	require.InEpsilon(t, 15./7, load(calc.MaizeCob)/load(calc.RiceHusk), .35)
}

func TestLoadOfSacks(t *testing.T) {
	r, err := calc.Load(calc.LoadInput{Waste: calc.MaizeCob, Volume: calc.Exactly[calc.Litre](300)})
	require.NoError(t, err)
	require.Equal(t, calc.Count(2), r.Drums)
	require.InDelta(t, 3, float64(r.Sacks.Likely), 1e-9)
	require.InDelta(t, 15, float64(r.Tins.Likely), 1e-9)
	require.InEpsilon(t, .3*165, float64(r.Feed.Likely), .02)
}

// A heap that does not fill a second drum is one load.
func TestLoadOfASmallMass(t *testing.T) {
	r, err := calc.Load(calc.LoadInput{Waste: calc.MaizeCob, Mass: calc.Exactly[calc.Kg](20)})
	require.NoError(t, err)
	require.Equal(t, calc.Count(1), r.Drums)
	require.Equal(t, calc.Exactly[calc.Kg](20), r.PerDrum)
	r, err = calc.Load(calc.LoadInput{Waste: calc.MaizeCob, Mass: calc.Exactly[calc.Kg](60), Drums: 3})
	require.NoError(t, err)
	require.InDelta(t, 20, float64(r.PerDrum.Likely), 1e-9)
}

func TestLoadRefusesNonsense(t *testing.T) {
	for name, in := range map[string]calc.LoadInput{
		"drums":    {Waste: calc.MaizeCob, Drums: 300},
		"half":     {Waste: calc.MaizeCob, Drums: .5},
		"drum":     {Waste: calc.MaizeCob, Drum: 5},
		"mass":     {Waste: calc.MaizeCob, Mass: calc.Exactly[calc.Kg](-3)},
		"volume":   {Waste: calc.MaizeCob, Volume: calc.Exactly[calc.Litre](1e6)},
		"moisture": {Waste: calc.MaizeCob, Moisture: calc.Exactly[calc.WetBasis](.9)},
		"order":    {Waste: calc.MaizeCob, Moisture: calc.Range[calc.WetBasis]{Low: .3, Likely: .2, High: .4}},
	} {
		_, err := calc.Load(in)
		require.ErrorAs(t, err, new(calc.OutOfRange), name)
	}
	_, err := calc.Load(calc.LoadInput{})
	require.ErrorAs(t, err, new(calc.Unknown))
}

// What fills a volume weighs what that volume fills.
func TestContainersAreTheReverseOfLoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SampledFrom(calc.Wastes()).Draw(t, "waste")
		sacks := rapid.Float64Range(.5, 20).Draw(t, "sacks")
		load, err := calc.Load(calc.LoadInput{
			Waste: w, Volume: calc.Exactly(calc.Litre(100 * sacks)), Moisture: calc.Exactly[calc.WetBasis](.13),
		})
		require.NoError(t, err)
		got, err := calc.Containers(w, calc.Exactly(load.Feed.Likely), 100)
		require.NoError(t, err)
		require.InEpsilon(t, sacks, float64(got.Likely), 1e-9)
		require.True(t, got.Ordered())
	})
}

func ExampleLoad() {
	r, err := calc.Load(calc.LoadInput{Waste: calc.MaizeCob, Drums: 2})
	fmt.Printf("%.0f kg in %.0f sacks, %.0f kg a drum %v\n", r.Feed, r.Sacks.Likely, r.PerDrum.Likely, err)
	// Output: {51 65 84} kg in 4 sacks, 33 kg a drum <nil>
}

func ExampleContainers() {
	sacks, err := calc.Containers(calc.GroundnutShell, calc.Exactly[calc.Kg](25), 100)
	fmt.Printf("25 kg of groundnut shell fill %.1f sacks %v\n", sacks, err)
	// Output: 25 kg of groundnut shell fill {2.1 2.9 4.2} sacks <nil>
}

func ExampleCylinder_Usable() {
	drum := calc.StandardDrum()
	fmt.Printf("%.3f m3, of which %.3f m3 hold waste\n", drum.Volume(), drum.Usable())
	// Output: 0.214 m3, of which 0.198 m3 hold waste
}
