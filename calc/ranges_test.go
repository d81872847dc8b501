package calc

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Own reference computation: one drum of cobs, 0.20 m3 at 165 kg/m3 and 13 %
// moisture with a yield of 23 %, by 200,000 draws elsewhere.
func TestCharOfOneDrumOfCobs(t *testing.T) {
	r, err := Recipe(RecipeInput{Waste: MaizeCob, Moisture: Exactly[WetBasis](.13)})
	require.NoError(t, err)
	require.InEpsilon(t, 4.49, float64(r.Char.Low), .015)
	require.InEpsilon(t, 6.60, float64(r.Char.Likely), .01)
	require.InEpsilon(t, 8.99, float64(r.Char.High), .01)
}

// Where no factor leans, the cumulants come to the squared logs of each side
// (JCGM 100:2008, 5.1.2).
func TestProductOfEvenFactorsIsQuadrature(t *testing.T) {
	even := func(likely, factor float64) Range[float64] {
		return Range[float64]{likely / factor, likely, likely * factor}
	}
	got := rangeOf[float64](spreadOf(even(2, 1.3)).times(spreadOf(even(5, 1.4))).over(spreadOf(even(4, 1.2))))
	want := math.Exp(math.Hypot(math.Hypot(math.Log(1.3), math.Log(1.4)), math.Log(1.2)))
	require.InDelta(t, want, got.High/got.Likely, 1e-12)
	require.InDelta(t, want, got.Likely/got.Low, 1e-12)
	require.InDelta(t, 2.5, got.Likely, 1e-12)
}

func TestSpreadOfOneFactorIsItself(t *testing.T) {
	for _, r := range []Range[float64]{{1, 2, 3}, {2, 2, 2}, {.7, 1, 1.4}} {
		got := rangeOf[float64](spreadOf(r))
		require.InDelta(t, r.Low, got.Low, 1e-12)
		require.InDelta(t, r.High, got.High, 1e-12)
	}
}

func TestAroundIsTheDeciles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var values [draws]float64
		for i := range values {
			values[i] = rapid.Float64Range(-1e3, 1e3).Draw(t, "value")
		}
		sorted := slices.Sorted(slices.Values(values[:]))
		got := around(&values, sorted[128])
		require.InDelta(t, .9*sorted[25]+.1*sorted[26], got.Low, 1e-9)
		require.InDelta(t, .9*sorted[230]+.1*sorted[229], got.High, 1e-9)
	})
}

// long says that the sizes of the long run were asked for.
func long() bool { return os.Getenv("COBLINE_SCALE") == "long" }

// The stated P10 and P90 of every outcome lie within 3 % of those of 200,000
// draws of every cause; the gate takes 20,000 and allows for their own scatter
// of about 1 % (three standard errors of a decile).
func TestRangesAgreeWithDraws(t *testing.T) {
	n, tolerance := 20_000, .045
	if long() {
		n, tolerance = 200_000, .03
	}
	for _, w := range Wastes() {
		t.Run(string(w), func(t *testing.T) {
			var c charge
			require.NoError(t, c.set(LoadInput{Waste: w}))
			require.NoError(t, c.setYield(Range[Share]{}))
			c.conserve()
			got, drawn := c.ranges(), drawOutcomes(&c, n)
			for j := range got {
				require.True(t, got[j].Ordered(), "outcome %d", j)
				require.InEpsilon(t, drawn[j][n/10], got[j].Low, tolerance, "P10 of outcome %d", j)
				require.InEpsilon(t, drawn[j][n*9/10], got[j].High, tolerance, "P90 of outcome %d", j)
			}
		})
	}
}

// drawOutcomes returns n sorted values of every outcome of a charge.
func drawOutcomes(c *charge, n int) (drawn [outcomes][]float64) {
	random := rand.New(rand.NewPCG(7, 19))
	for range n {
		var x causeValues
		for i, r := range c.causes {
			x[i] = sidesOf(r).at(random.NormFloat64())
		}
		for j, v := range c.burn(&x) {
			drawn[j] = append(drawn[j], v)
		}
	}
	for j := range drawn {
		slices.Sort(drawn[j])
	}
	return drawn
}
