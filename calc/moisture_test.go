package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Wood-fuel handbooks print these pairs of wet and dry basis.
func TestWetAndDryBasis(t *testing.T) {
	for wet, dry := range map[calc.WetBasis]float64{.10: .111, .15: .176, .20: .250, .25: .333, .30: .429, .50: 1} {
		require.InDelta(t, dry, float64(wet.Dry()), .0006)
	}
}

func TestBasisRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := calc.WetBasis(rapid.Float64Range(0, .95).Draw(t, "wet basis"))
		require.InDelta(t, float64(w), float64(w.Dry().Wet()), 1e-12)
		require.GreaterOrEqual(t, float64(w.Dry()), float64(w))
	})
}

func TestFeelsAndLighting(t *testing.T) {
	for _, v := range []struct {
		feel     calc.Feel
		key      string
		likely   calc.WetBasis
		lighting calc.Lighting
	}{
		{calc.Dry, "dry", .12, calc.LightNow},
		{calc.NearlyDry, "nearly", .17, calc.LightWithLoss},
		{calc.Wet, "wet", .20, calc.DryFirst},
		{calc.TooWet, "too-wet", .30, calc.DoNotLight},
		{calc.Sappy, "too-wet", .45, calc.DoNotLight},
	} {
		require.Equal(t, v.key, v.feel.String())
		require.Equal(t, v.likely, v.feel.Moisture().Likely)
		require.True(t, v.feel.Moisture().Ordered())
		require.Equal(t, v.lighting, calc.LightingAt(v.feel.Moisture().Likely), v.key)
	}
	require.Equal(t, calc.Range[calc.WetBasis]{}, calc.Feel(0).Moisture())
	require.Equal(t, "unknown", calc.Feel(9).String())
}

func TestLightingNeverEasesWithMoisture(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := calc.WetBasis(rapid.Float64Range(0, .6).Draw(t, "moisture"))
		more := w + calc.WetBasis(rapid.Float64Range(0, .3).Draw(t, "more"))
		require.LessOrEqual(t, calc.LightingAt(w), calc.LightingAt(more))
	})
}

func ExampleLightingAt() {
	fmt.Println(calc.LightingAt(.12), calc.LightingAt(.17), calc.LightingAt(.22), calc.LightingAt(.35))
	// Output: light-now light-with-loss dry-first do-not-light
}

func ExampleFeel_Moisture() {
	fmt.Printf("%.2f\n", calc.NearlyDry.Moisture())
	// Output: {0.15 0.17 0.20}
}

func ExampleWetBasis_Dry() {
	fmt.Printf("%.2f kg of water per kg of dry waste\n", calc.WetBasis(.20).Dry())
	// Output: 0.25 kg of water per kg of dry waste
}
