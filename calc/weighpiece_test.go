package calc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The ready ratios, own reference computation: from 35 to 8 % a piece keeps
// 0.7065 of its wet mass.
func TestWeighPieceRatios(t *testing.T) {
	for mix, want := range map[WetBasis]float64{.35: .7065, .37: .685, .40: .652} {
		got, err := WeighPiece(WeighPieceInput{Wet: .12, Now: .11, Mix: Exactly(mix)})
		require.NoError(t, err)
		require.InDelta(t, want, float64(got.ReadyRatio), .0005)
		require.InDelta(t, want*.12, float64(got.ReadyMass), 1e-4)
		require.False(t, got.Ready)
	}
}

func TestWeighPiece(t *testing.T) {
	got, err := WeighPiece(WeighPieceInput{Wet: .120, Now: .084})
	require.NoError(t, err)
	require.True(t, got.Ready)
	require.True(t, got.Moisture.Ordered())
	require.InDelta(t, 1-.65*.120/.084, float64(got.Moisture.Likely), 1e-12)
	require.InDelta(t, .30, float64(got.Lost), 1e-12)
	require.Len(t, got.Assumed, 2)
}

func TestWeighPieceRefusesNonsense(t *testing.T) {
	for what, in := range map[string]WeighPieceInput{
		"nothing": {}, "lighter than dry": {Wet: .12, Now: .07}, "heavier than wet": {Wet: .12, Now: .17},
		"target above the mix": {Wet: .12, Now: .11, Target: .4}, "crossed mix": {Wet: .12, Now: .11, Mix: Range[WetBasis]{.4, .35, .3}},
	} {
		_, err := WeighPiece(in)
		require.ErrorAs(t, err, new(OutOfRange), what)
	}
}

// Weighing what the model dried finds the model's moisture again.
func TestWeighPieceFollowsDrying(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mix := WetBasis(rapid.Float64Range(.28, .42).Draw(t, "mix"))
		now := WetBasis(rapid.Float64Range(.03, float64(mix)).Draw(t, "now"))
		wet := Kg(rapid.Float64Range(.02, 1).Draw(t, "wet"))
		got, err := WeighPiece(WeighPieceInput{Wet: wet, Now: mix.DryOf(wet) / Kg(1-now), Mix: Exactly(mix)})
		require.NoError(t, err)
		require.InDelta(t, float64(now), float64(got.Moisture.Likely), 1e-9)
		if now < .0799 || now > .0801 {
			require.Equal(t, now < .08, got.Ready)
		}
	})
}

func TestLearnPace(t *testing.T) {
	require.Equal(t, Ratio(1), LearnPace(nil))
	require.Equal(t, Ratio(1), LearnPace([]DryingRecord{{4, 0}, {0, 3}}), "impossible days teach nothing")
	require.Equal(t, Ratio(.8), LearnPace([]DryingRecord{{4, 5}}))
	require.Equal(t, Ratio(.5), LearnPace([]DryingRecord{{2, 30}}), "one wild batch is held")
	require.InDelta(t, .9, float64(LearnPace([]DryingRecord{{4, 5}, {4, 4}})), 1e-12)
	slow := []DryingRecord{{4, 2}, {4, 2}, {4, 5}, {4, 5}, {4, 5}, {4, 40}, {4, 5}}
	require.Equal(t, Ratio(.8), LearnPace(slow), "the median of the last five")
}

// A producer whose batches take a quarter longer is told so next time.
func TestLearnedPaceComesBackAsDays(t *testing.T) {
	f := scenarios(t)["warm humid"]
	told := dried(t, DryInput{Forecast: f}).Days.Likely
	taken := told * 1.25
	pace := LearnPace([]DryingRecord{{told, taken}, {told, taken}, {told, taken}})
	again := dried(t, DryInput{Forecast: f, Pace: pace}).Days.Likely
	require.InDelta(t, float64(taken), float64(again), .6)
}
