package calc

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// cobBatch is a burn of 30 kg of dry matter at the moisture for which a drum
// yield holds.
func cobBatch(yield Share) WeighedBatch {
	w := yieldDry.Likely.Wet()
	return WeighedBatch{Feed: Kg(30 / (1 - w)), Moisture: w, Char: 30 * Kg(yield)}
}

func learn(t require.TestingT, w Waste, batches ...WeighedBatch) LearnResult {
	r, err := Learn(LearnInput{Waste: w, Batches: batches})
	require.NoError(t, err)
	return r
}

// Bolstad, Introduction to Bayesian Statistics, example 18 (Arnie and the
// trout): prior N(30, 4), spread 2, twelve fish of mean 32. Data read in a
// public excerpt; the printed answer, mean 31.96 and sd 0.5714, is from memory
// and follows from the textbook formula.
func TestUpdateBolstad(t *testing.T) {
	trout := []float64{29, 30, 31, 31, 32, 32, 32, 32, 33, 33, 34, 35}
	got, weights := normal{30, 4}.update(2, trout)
	require.InDelta(t, 31.96, got.mean, 0.005)
	require.InDelta(t, 0.5714, got.sd, 0.00005)
	for _, w := range weights {
		require.Equal(t, 1.0, w)
	}
}

// Gelman et al., Bayesian Data Analysis, equations 2.11 and 2.12 (from memory):
// with every observation near, the update is the precision-weighted mean.
func TestUpdateIsConjugate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := normal{rapid.Float64Range(-2, 2).Draw(t, "mean"), rapid.Float64Range(0.1, 2).Draw(t, "sd")}
		spread := rapid.Float64Range(0.1, 2).Draw(t, "spread")
		seen := rapid.SliceOfN(rapid.Float64Range(-0.5, 0.5), 0, 12).Draw(t, "seen")
		for i := range seen {
			seen[i] = prior.mean + spread*seen[i]
		}
		precision := 1/(prior.sd*prior.sd) + float64(len(seen))/(spread*spread)
		mean := prior.mean / (prior.sd * prior.sd)
		for _, x := range seen {
			mean += x / (spread * spread)
		}
		got, _ := prior.update(spread, seen)
		require.InDelta(t, mean/precision, got.mean, 1e-9)
		require.InDelta(t, 1/math.Sqrt(precision), got.sd, 1e-9)
	})
}

func TestLearnWithoutRecordIsThePublishedYield(t *testing.T) {
	for _, w := range Wastes() {
		f, err := Feed(w)
		require.NoError(t, err)
		got := learn(t, w)
		require.InDelta(t, float64(f.Yield.Low), float64(got.Yield.Low), 1e-12, w)
		require.InDelta(t, float64(f.Yield.Likely), float64(got.Yield.Likely), 1e-12, w)
		require.InDelta(t, float64(f.Yield.High), float64(got.Yield.High), 1e-12, w)
		require.InDelta(t, 1, float64(got.PriorWeight), 1e-12, w)
	}
}

// The stated weight of the prior: after as many batches as it counts for, the
// estimate lies halfway, on the logarithms, between it and the record.
func TestLearnPriorCountsForTwoBatches(t *testing.T) {
	got := learn(t, MaizeCob, cobBatch(0.20), cobBatch(0.20))
	require.InDelta(t, math.Sqrt(0.23*0.20), float64(got.Yield.Likely), 1e-9)
	require.InDelta(t, 0.5, float64(got.PriorWeight), 1e-9)
}

func TestLearnPutsWetBatchesBackToDryWaste(t *testing.T) {
	dry := cobBatch(0.23)
	wet := WeighedBatch{Moisture: 0.18}
	wet.Feed = Kg(30 / (1 - wet.Moisture))
	wet.Char = 30 * 0.23 * Kg(likelyKept(wet.Moisture))
	require.Less(t, wet.Char, dry.Char)
	require.InDelta(t, float64(learn(t, MaizeCob, dry).Yield.Likely), float64(learn(t, MaizeCob, wet).Yield.Likely), 1e-12)
}

func TestLearnRefusesImpossibleNumbers(t *testing.T) {
	for name, c := range map[string]struct {
		waste Waste
		batch WeighedBatch
		what  string // empty: believable
	}{
		"an ordinary burn":                {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: 6.5, Unburnt: 0.5}, ""},
		"two drums":                       {MaizeCob, WeighedBatch{Drums: 2, Feed: 150, Moisture: 0.12, Char: 30}, ""},
		"the same in one drum":            {MaizeCob, WeighedBatch{Feed: 150, Moisture: 0.12, Char: 30}, "kilograms of waste in one drum"},
		"a handful":                       {MaizeCob, WeighedBatch{Feed: 3, Moisture: 0.12, Char: 0.6}, "kilograms of waste in one drum"},
		"nothing":                         {MaizeCob, WeighedBatch{}, "kilograms of waste in one drum"},
		"half of it char":                 {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: 14}, "char on dry feed"},
		"rice straw, 48 % char (Hung)":    {RiceStraw, WeighedBatch{Feed: 20, Moisture: 0.12, Char: 8.5}, ""},
		"rice husk, three fifths char":    {RiceHusk, WeighedBatch{Feed: 20, Moisture: 0.12, Char: 10.6}, "char on dry feed"},
		"rice husk, less char than ash":   {RiceHusk, WeighedBatch{Feed: 20, Moisture: 0.12, Char: 2.5}, "char on dry feed"},
		"a lost burn":                     {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: 2.5}, "char on dry feed"},
		"soaked":                          {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.55, Char: 3}, "moisture of the waste on wet basis"},
		"mostly unburnt":                  {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: 5, Unburnt: 6}, "unburnt share of what came out"},
		"not a number":                    {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: Kg(math.NaN())}, "unburnt share of what came out"},
		"more char than waste, by a slip": {MaizeCob, WeighedBatch{Feed: 33, Moisture: 0.12, Char: 65}, "char on dry feed"},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := Feed(c.waste)
			require.NoError(t, err)
			got := learn(t, c.waste, c.batch)
			if c.what == "" {
				require.NoError(t, c.batch.Believable(f))
				require.Positive(t, got.Weights[0])
				return
			}
			var out OutOfRange
			require.ErrorAs(t, c.batch.Believable(f), &out)
			require.Equal(t, c.what, out.What)
			require.Equal(t, []Share{0}, got.Weights)
			require.Equal(t, learn(t, c.waste).Yield, got.Yield)
		})
	}
	_, err := Learn(LearnInput{Waste: "plastic"})
	require.ErrorAs(t, err, &Unknown{})
}

// anyBatches draws believable burns of cobs, at the reference moisture.
func anyBatches(t *rapid.T, least int) []WeighedBatch {
	yields := rapid.SliceOfN(rapid.Float64Range(0.101, 0.449), least, 12).Draw(t, "yields")
	out := make([]WeighedBatch, len(yields))
	for i, y := range yields {
		out[i] = cobBatch(Share(y))
	}
	return out
}

// Huber (1964): the pull of one observation is bounded.
func TestLearnOneWildEntryHardlyCounts(t *testing.T) {
	prior := feedstockOf[MaizeCob].Yield
	noise := logSpread(prior.Range) / math.Sqrt(1.5)
	bound := float64(fullTrust.Likely) * noise / float64(priorBatches.Likely)
	rapid.Check(t, func(t *rapid.T) {
		batches := anyBatches(t, 0)
		wild := cobBatch(Share(rapid.Float64Range(0.101, 0.449).Draw(t, "wild")))
		before := learn(t, MaizeCob, batches...)
		after := learn(t, MaizeCob, append(batches, wild)...)
		moved := math.Abs(math.Log(float64(after.Yield.Likely / before.Yield.Likely)))
		require.LessOrEqual(t, moved, bound+1e-9)
	})
	// A slip of a factor of two beside four good batches.
	good := []WeighedBatch{cobBatch(0.21), cobBatch(0.22), cobBatch(0.20), cobBatch(0.21)}
	slip := learn(t, MaizeCob, append(good, cobBatch(0.42))...)
	require.InDelta(t, float64(learn(t, MaizeCob, good...).Yield.Likely), float64(slip.Yield.Likely), 0.012)
	require.Less(t, slip.Weights[4], Share(0.55))
	for _, w := range slip.Weights[:4] {
		require.Equal(t, Share(1), w)
	}
}

func TestLearnProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		batches := anyBatches(t, 1)
		got := learn(t, MaizeCob, batches...)
		require.True(t, got.Yield.Ordered() && got.Typical.Ordered())
		require.LessOrEqual(t, got.Yield.Low, got.Typical.Low)
		require.GreaterOrEqual(t, got.Yield.High, got.Typical.High)

		prior := feedstockOf[MaizeCob].Yield
		require.Less(t, got.Yield.High/got.Yield.Low, prior.High/prior.Low, "a record narrows the range")

		shuffled := slices.Clone(batches)
		slices.Reverse(shuffled)
		require.InDelta(t, float64(got.Yield.Likely), float64(learn(t, MaizeCob, shuffled...).Yield.Likely), 1e-9)

		better := slices.Clone(batches)
		i := rapid.IntRange(0, len(better)-1).Draw(t, "which")
		better[i].Char = min(better[i].Char*1.1, 30*0.449)
		require.GreaterOrEqual(t, float64(learn(t, MaizeCob, better...).Yield.Likely), float64(got.Yield.Likely)-1e-12, "more char never teaches less")
	})
}

// Own reference computation: producers drawn from the published spread, four
// burns each; the next burn falls into the learned P10 to P90 four times in
// five, and a producer's own average is met closer than by the published value.
func TestLearnIsCalibrated(t *testing.T) {
	const producers = 4000
	random := rand.New(rand.NewPCG(7, 11))
	prior := feedstockOf[MaizeCob].Yield
	noise := logSpread(prior.Range) / math.Sqrt(1.5)
	between := noise / math.Sqrt(2)
	inside, errPublished, errLearned := 0, 0.0, 0.0
	for range producers {
		own := math.Log(float64(prior.Likely)) + between*random.NormFloat64()
		burn := func() Share { return Share(math.Exp(own + noise*random.NormFloat64())) }
		got := learn(t, MaizeCob, cobBatch(burn()), cobBatch(burn()), cobBatch(burn()), cobBatch(burn()))
		if next := burn(); next >= got.Yield.Low && next <= got.Yield.High {
			inside++
		}
		errPublished += math.Abs(math.Log(float64(prior.Likely)) - own)
		errLearned += math.Abs(math.Log(float64(got.Yield.Likely)) - own)
	}
	require.InDelta(t, 0.80, float64(inside)/producers, 0.03)
	require.Less(t, errLearned, 0.7*errPublished)
}

// Whatever believable record a producer has, the learned yield is one that a
// recipe takes.
func TestLearnedYieldFeedsARecipe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SampledFrom(Wastes()).Draw(t, "waste")
		least, most := feedstockOf[w].believableYield()
		yield := rapid.Float64Range(float64(least), float64(most))
		moisture := rapid.Float64Range(0, 0.5)
		batches := make([]WeighedBatch, rapid.IntRange(0, 8).Draw(t, "batches"))
		for i := range batches {
			b := WeighedBatch{Feed: 30, Moisture: WetBasis(moisture.Draw(t, "moisture"))}
			b.Char = b.Moisture.DryOf(b.Feed) * Kg(yield.Draw(t, "yield"))
			batches[i] = b
		}
		got := learn(t, w, batches...)
		require.True(t, got.Yield.Ordered(), "%v", got.Yield)
		require.LessOrEqual(t, got.Yield.High, most)
		_, err := Recipe(RecipeInput{Waste: w, Yield: got.Yield})
		require.NoError(t, err)
	})
}
