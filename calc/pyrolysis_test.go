package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// FAO points for wood char compiled by Miles 2006: 300, 500 and 700 C leave
// 0.32, 0.13 and 0.07 of volatile matter and 0.40, 0.33 and 0.30 of the wood;
// careful kilns of dense wood, so next to nothing is burnt.
func TestPyrolysisOfWood(t *testing.T) {
	for bed, want := range map[calc.Celsius]struct{ yield, volatile float64 }{
		300: {.40, .32}, 500: {.33, .13}, 700: {.30, .07},
	} {
		got, err := calc.Pyrolyse(calc.Sawdust, bed, 0)
		require.NoError(t, err)
		require.InEpsilon(t, want.yield, float64(got.Yield), .06, bed)
		require.InDelta(t, want.volatile, float64(got.Proximate.Volatile), .022, bed)
	}
}

// Yields of slow runs in a laboratory or a tight kiln, next to nothing burnt,
// beside the model and the all-pyrolysis curve: the fixed carbon of cob, maize
// stalk and pigeonpea was set from the rows at 400 to 500 C, so only their slope
// is a test.
func TestPyrolysisAgainstSlowRuns(t *testing.T) {
	for _, v := range []struct {
		waste           calc.Waste
		bed             calc.Celsius
		measured, model float64
		source          string
	}{
		{calc.MaizeCob, 400, .2708, .279, "Materials 2024 17(1):159"},
		{calc.MaizeCob, 450, .2460, .267, "same"},
		{calc.MaizeCob, 600, .2222, .245, "same"},
		{calc.MaizeStalk, 400, .29, .296, "Bioresour. Bioprocess. 2023, laboratory"},
		{calc.MaizeStalk, 500, .28, .278, "same"},
		{calc.MaizeStalk, 600, .26, .267, "same"},
		{calc.WoodyStalk, 400, .34, .359, "pigeonpea, same"},
		{calc.WoodyStalk, 500, .33, .333, "same"},
		{calc.WoodyStalk, 600, .29, .318, "same"},
		{calc.GroundnutShell, 450, .322, .325, "low-cost kiln, Front. Sustain. 2024 1417207"},
		{calc.GroundnutShell, 500, .291, .315, "same"},
		{calc.PalmKernelShell, 600, .334, .333, "J. Oil Palm Res. 2018, jopr.2018.0043"},
		{calc.SunflowerStalk, 700, .28, .268, "BioResources 13:7455, 2018"},
		{calc.CassavaStem, 400, .35, .298, "Iranica J. Energy Env. 3:60, 2012, above 35 %"},
		{calc.CoconutShell, 550, .27, .316, "muffle furnace, researchgate 228664039"},
	} {
		got, err := calc.Pyrolyse(v.waste, v.bed, 0)
		require.NoError(t, err)
		curve, err := calc.AllPyrolysisYield(v.bed)
		require.NoError(t, err)
		t.Logf("%-18s %4.0f C  measured %.3f  model %.3f  all-pyrolysis %.3f", v.waste, v.bed, v.measured, got.Yield, curve)
		require.InEpsilon(t, v.measured, float64(got.Yield), .18, "%s %v: %s", v.waste, v.bed, v.source)
		require.InDelta(t, v.model, float64(got.Yield), .025, "own reference computation, %s %v", v.waste, v.bed)
	}
}

func TestPyrolysisHasItsDirections(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SampledFrom(calc.Wastes()).Draw(t, "waste")
		bed := calc.Celsius(rapid.Float64Range(300, 650).Draw(t, "bed"))
		burnt := calc.Share(rapid.Float64Range(0, .5).Draw(t, "burnt"))
		at := func(bed calc.Celsius, burnt calc.Share) calc.Pyrolysis {
			p, err := calc.Pyrolyse(w, bed, burnt)
			require.NoError(t, err)
			return p
		}
		base, hotter, late := at(bed, burnt), at(bed+50, burnt), at(bed, burnt+.1)
		require.Less(t, hotter.Yield, base.Yield)
		require.Less(t, hotter.Proximate.Volatile/(1-hotter.Proximate.Ash), base.Proximate.Volatile/(1-base.Proximate.Ash))
		require.Less(t, late.Yield, base.Yield)
		require.Greater(t, late.Proximate.Ash, base.Proximate.Ash)
		require.Less(t, late.HeatingValue, base.HeatingValue)
	})
}

func TestPyrolyseRefusesOutsideItsRange(t *testing.T) {
	for _, v := range []struct {
		bed   calc.Celsius
		burnt calc.Share
	}{{250, .1}, {800, .1}, {450, .7}, {450, -.1}} {
		_, err := calc.Pyrolyse(calc.MaizeCob, v.bed, v.burnt)
		require.ErrorAs(t, err, new(calc.OutOfRange))
	}
	_, err := calc.Pyrolyse("glass", 450, 0)
	require.ErrorAs(t, err, new(calc.Unknown))
}

func ExamplePyrolyse() {
	for _, bed := range []calc.Celsius{350, 430, 550} {
		p, err := calc.Pyrolyse(calc.MaizeCob, bed, .20)
		fmt.Printf("%.0f C: yield %.3f, ash %.3f, volatile %.2f, %.1f MJ/kg %v\n",
			bed, p.Yield, p.Proximate.Ash, p.Proximate.Volatile, p.HeatingValue, err)
	}
	// Output:
	// 350 C: yield 0.240, ash 0.092, volatile 0.24, 27.3 MJ/kg <nil>
	// 430 C: yield 0.221, ash 0.099, volatile 0.18, 28.3 MJ/kg <nil>
	// 550 C: yield 0.205, ash 0.107, volatile 0.11, 29.3 MJ/kg <nil>
}
