package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Pairs of wet and dry basis as wood-fuel handbooks print them, from memory.
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

func TestWasteMoistureRefusesNonsense(t *testing.T) {
	for _, v := range [][2]calc.Kg{{0, 0}, {1, 1.2}, {1, .1}, {-1, -.5}} {
		_, err := calc.WasteMoisture(v[0], v[1])
		require.ErrorAs(t, err, new(calc.OutOfRange), v)
	}
}

// A sample that loses nothing in the sun is as moist as what the sun leaves; one
// that dries to half its weight held more than half of water.
func ExampleWasteMoisture() {
	dry, _ := calc.WasteMoisture(1, 1)
	wet, err := calc.WasteMoisture(1, .5)
	fmt.Printf("%.2f %.2f %v\n", dry, wet, err)
	// Output: {0.08 0.10 0.14} {0.54 0.55 0.57} <nil>
}

func ExampleLighting_MayLight() {
	fmt.Println(calc.LightingAt(.17).MayLight(), calc.LightingAt(.22).MayLight())
	// Output: true false
}

func ExampleLightingAt() {
	fmt.Println(calc.LightingAt(.12), calc.LightingAt(.17), calc.LightingAt(.22), calc.LightingAt(.35))
	// Output: light-now light-with-loss dry-first do-not-light
}

func ExampleFeel_Moisture() {
	fmt.Printf("%.2f\n", calc.NearlyDry.Moisture())
	// Output: {0.15 0.17 0.20}
}

func ExampleWetBasis_DryOf() {
	fmt.Printf("%.1f kg of dry matter in 40 kg of wet stalks\n", calc.WetBasis(.25).DryOf(40))
	// Output: 30.0 kg of dry matter in 40 kg of wet stalks
}

// Kiln papers often give moisture on dry basis: 60 % of it is 37.5 % of wet basis.
func ExampleDryBasis_Wet() {
	fmt.Printf("%.3f\n", calc.DryBasis(.60).Wet())
	// Output: 0.375
}

func ExampleWetBasis_Dry() {
	fmt.Printf("%.2f kg of water per kg of dry waste\n", calc.WetBasis(.20).Dry())
	// Output: 0.25 kg of water per kg of dry waste
}
