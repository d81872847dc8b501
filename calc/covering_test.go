package calc

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func advise(t require.TestingT, openings ...Opening) AdviseResult {
	r, err := Advise(AdviseInput{Waste: MaizeCob, Openings: openings})
	require.NoError(t, err)
	return r
}

func TestAdviseOnSigns(t *testing.T) {
	early := Opening{Brands: ManyBrands, Ash: BlackAll, Open: 18}
	for name, c := range map[string]struct {
		openings []Opening
		cause    Cause
		move     int // -1 sooner, 1 later, 0 leave
	}{
		"nothing seen":                                {nil, AboutRight, 0},
		"a good burn":                                 {[]Opening{{Brands: SomeBrands, Ash: BlackAll, Open: 30, Yield: 0.23}}, AboutRight, 0},
		"brown hearts after eighteen minutes":         {[]Opening{early}, CoveredTooSoon, 1},
		"the same with waste that peeled":             {[]Opening{{Brands: ManyBrands, Ash: BlackAll, Open: 30, Moisture: 0.2}}, DampWaste, 0},
		"white ash and little char, long open":        {[]Opening{{Brands: NoBrands, Ash: WhiteAsh, Open: 50, Yield: 0.16}}, CoveredTooLate, -1},
		"white ash after a short burn is a leak":      {[]Opening{{Brands: SomeBrands, Ash: WhiteAsh, Open: 20, Yield: 0.16}}, AirLeak, 0},
		"grey ash alone is not enough":                {[]Opening{{Ash: GreyAsh}}, AboutRight, 0},
		"little char alone is not enough":             {[]Opening{{Yield: 0.19}}, AboutRight, 0},
		"a doubtful sign twice is not sure of itself": {[]Opening{{Brands: ManyBrands}}, CoveredTooSoon, 0},
		"seen twice it is":                            {[]Opening{{Brands: ManyBrands, Open: 25}, {Brands: ManyBrands, Open: 25}}, CoveredTooSoon, 1},
	} {
		t.Run(name, func(t *testing.T) {
			got := advise(t, c.openings...)
			require.Equal(t, c.cause.String(), got.Cause.String(), "%+v", got)
			switch {
			case c.move == 0:
				require.Zero(t, got.Move)
			case c.move > 0:
				require.Positive(t, got.Move)
			default:
				require.Negative(t, got.Move)
			}
		})
	}
	_, err := Advise(AdviseInput{Waste: "plastic"})
	require.ErrorAs(t, err, &Unknown{})
}

func TestAdviseDampWasteTakesTheBlame(t *testing.T) {
	was := Share(0)
	for _, w := range []WetBasis{0.12, 0.17, 0.22} {
		got := advise(t, Opening{Brands: ManyBrands, Moisture: w})
		require.Greater(t, got.Chances[DampWaste], was, "at %v", w)
		was = got.Chances[DampWaste]
	}
}

// The judged chances give back what is published or usual: unburnt shares of
// 3, 8 and 20 % at P10, P50 and P90, and open fires of 20, 30 and 55 minutes.
func TestSignsGiveBackThePublishedSpread(t *testing.T) {
	var none, many, prior Share
	for _, s := range burnSigns {
		prior += s.prior.Likely
		none += s.prior.Likely * s.brands[0].Likely
		many += s.prior.Likely * s.brands[2].Likely
		require.InDelta(t, 1, float64(s.brands[0].Likely+s.brands[1].Likely+s.brands[2].Likely), 1e-12)
		require.InDelta(t, 1, float64(s.ash[0].Likely+s.ash[1].Likely+s.ash[2].Likely), 1e-12)
	}
	require.InDelta(t, 1, float64(prior), 1e-12)
	require.InDelta(t, 0.10, float64(none), 0.02)
	require.InDelta(t, 0.285, float64(many), 0.03, "share of burns above 12 %, on the split log-normal of 3, 8 and 20")
}

func anyOpening(t *rapid.T) Opening {
	return Opening{
		Brands:   Brands(rapid.IntRange(0, 3).Draw(t, "brands")),
		Ash:      AshColour(rapid.IntRange(0, 3).Draw(t, "ash")),
		Yield:    Share(rapid.SampledFrom([]float64{0, 0.12, 0.18, 0.23, 0.3, 0.4}).Draw(t, "yield")),
		Open:     Minutes(rapid.IntRange(0, 90).Draw(t, "minutes")),
		Moisture: WetBasis(rapid.SampledFrom([]float64{0, 0.12, 0.17, 0.25}).Draw(t, "moisture")),
	}
}

func TestAdviseProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		openings := rapid.SliceOfN(rapid.Custom(anyOpening), 1, 4).Draw(t, "openings")
		got := advise(t, openings...)
		var sum Share
		for _, p := range got.Chances {
			require.GreaterOrEqual(t, got.Sure, p)
			sum += p
		}
		require.InDelta(t, 1, float64(sum), 1e-9)
		require.LessOrEqual(t, max(got.Move, -got.Move), coveringStep.Likely)
		if got.Move != 0 {
			require.GreaterOrEqual(t, got.Sure, sureEnough.Likely)
			require.Equal(t, map[bool]Cause{true: CoveredTooSoon, false: CoveredTooLate}[got.Move > 0], got.Cause)
		}

		// Signs point one way: more brands never speak less for too soon or damp,
		// whiter ash never less for too late or a leak, a longer burn never less for
		// too late and never more for too soon.
		first := openings[0]
		chance := func(o Opening, causes ...Cause) (sum float64) {
			changed := advise(t, append([]Opening{o}, openings[1:]...)...)
			for _, c := range causes {
				sum += float64(changed.Chances[c])
			}
			return sum
		}
		never := func(less, more Opening, causes ...Cause) {
			require.LessOrEqual(t, chance(less, causes...), chance(more, causes...)+1e-12, "%v to %v for %v", less, more, causes)
		}
		more := first
		if more.Brands++; first.Brands > BrandsUnknown && first.Brands < ManyBrands {
			never(first, more, CoveredTooSoon, DampWaste)
		}
		more = first
		if more.Ash++; first.Ash > AshUnknown && first.Ash < WhiteAsh {
			never(first, more, CoveredTooLate, AirLeak)
		}
		more = first
		if more.Open += 5; first.Open > 0 {
			never(first, more, CoveredTooLate)
			never(more, first, CoveredTooSoon)
		}
	})
}
