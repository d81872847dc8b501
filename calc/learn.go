package calc

import (
	"cmp"
	"math"
)

// The figures of learning from a producer's own record.
var (
	priorBatches = constant[Count]("weight of the published yield, in weighed batches", 2,
		judged.at("kilns and hands differ less than one burn from the next"))
	fullTrust = constant[Count]("distance within which a weighed batch counts in full, in batch spreads", 2, Source{
		Title: "Robust estimation of a location parameter, Ann. Math. Stat. 35:73-101", By: "Huber", Year: 1964,
		At: "weight function, from memory; 2 instead of its usual 1.345, so that ordinary batches follow the textbook formula", Standing: Derived,
	})
	lostBurn = judged.at("the spread of published drum and kiln yields: below is a lost burn, above is under-charred or miscounted")

	leastYield  = constant[Share]("least believable char on dry feed", 0.10, lostBurn)
	mostYield   = constant[Share]("most believable char on dry feed of a waste poor in ash", 0.45, lostBurn)
	ashRich     = constant[Share]("ash of the dry feed from which more char than that is believable", 0.15, hung.judged("48.25 % char of rice straw"))
	leastLoad   = constant[Kg]("least believable waste in one drum", 4, judged.at("0.2 m3 of loose husk leaves"))
	mostLoad    = constant[Kg]("most believable waste in one drum", 120, judged.at("0.2 m3 of palm kernel shell"))
	wettestLit  = constant[WetBasis]("wettest waste that is believed to have burnt", 0.5, judged)
	mostUnburnt = constant[Share]("most unburnt of what a burn leaves that still has a yield", 0.5, judged.at("the drum went out"))
)

// WeighedBatch is what a producer reports of one finished burn.
type WeighedBatch struct {
	Drums    Count    // burnt together; zero: 1
	Feed     Kg       // waste as loaded, all drums together
	Moisture WetBasis // of the waste as loaded
	Char     Kg       // as weighed, without the unburnt pieces
	Unburnt  Kg       // pieces kept for the next burn
}

// Believable returns an OutOfRange error if the numbers cannot be those of a
// drum of this waste. Such a batch teaches nothing; the producer is asked again.
func (b WeighedBatch) Believable(f Feedstock) error {
	least, most := f.believableYield()
	return cmp.Or(
		within("kilograms of waste in one drum", b.Feed/Kg(max(b.Drums, 1)), leastLoad.Likely, mostLoad.Likely),
		within("moisture of the waste on wet basis", b.Moisture, 0, wettestLit.Likely),
		within("unburnt share of what came out", unburntShare(b.Char, b.Unburnt), 0, mostUnburnt.Likely),
		within("char on dry feed", b.yield(), least, most),
	)
}

// believableYield returns the least and the most char that a drum can give of dry
// feed. All ash of the feed stays in the char and lifts both limits.
func (f Feedstock) believableYield() (least, most Share) {
	least, most = max(leastYield.Likely, f.Ash.Low), mostYield.Likely
	if f.Ash.Likely >= ashRich.Likely {
		most = f.Ash.Likely + (1-f.Ash.Likely)*most
	}
	return least, most
}

// yield is char on dry feed.
func (b WeighedBatch) yield() Share { return Share(b.Char / b.Moisture.DryOf(b.Feed)) }

// likelyKept is the part of the yield of dry waste that moist waste likely gives.
func likelyKept(w WetBasis) Share { return Share(keptAt(w, float64(yieldLoss.Likely))) }

// unburntShare is the part of all that came out that is not charred through.
func unburntShare(char, unburnt Kg) Share { return Share(unburnt / max(char+unburnt, 1e-9)) }

// LearnInput is a producer's record of one waste, in any order.
type LearnInput struct {
	Waste   Waste
	Batches []WeighedBatch
}

// LearnResult is what the record says about the next burn.
type LearnResult struct {
	Yield       Range[Share] // expected of the next burn of dry waste: for RecipeInput.Yield
	Typical     Range[Share] // of this producer on average, without the spread between burns
	PriorWeight Share        // how much the published yield still counts, 1 without a record
	Yields      []Share      // of each batch, put back to dry waste; 0: not believable
	Weights     []Share      // how much each batch counted
	Assumed     []*Sourced
}

// Learn updates the published yield of a waste with a producer's own batches:
// the conjugate normal update of the mean on the logarithm of the yield, with
// the noise known (Gelman et al., Bayesian Data Analysis, section 2.5). The
// published P10 to P90 holds both the spread between producers and that between
// one producer's burns; the published value weighs as much as two batches. Each
// batch is first put back to dry waste by the moisture rule of Carbonise. A
// batch further than two batch spreads from the estimate is weighed down as by
// Huber (1964), so that no single entry moves the estimate further than one at
// that distance would. Batches that are not Believable count nothing.
func Learn(in LearnInput) (LearnResult, error) {
	feed, err := feedOf(in.Waste)
	if err != nil {
		return LearnResult{}, err
	}
	out := LearnResult{
		Yields: make([]Share, len(in.Batches)), Weights: make([]Share, len(in.Batches)),
		Assumed: []*Sourced{feed.Yield.Sourced(), priorBatches.Sourced(), fullTrust.Sourced()},
	}
	logs := make([]float64, 0, len(in.Batches))
	used := make([]int, 0, len(in.Batches))
	for i, b := range in.Batches {
		if b.Believable(*feed) == nil {
			out.Yields[i] = b.yield() / likelyKept(b.Moisture)
			logs = append(logs, math.Log(float64(out.Yields[i])))
			used = append(used, i)
		}
	}

	n0 := float64(priorBatches.Likely)
	prior := feed.Yield.Range
	sd := logSpread(prior)
	noise := sd / math.Sqrt(1+1/n0)
	own, weights := normal{math.Log(float64(prior.Likely)), noise / math.Sqrt(n0)}.update(noise, logs)
	_, most := feed.believableYield()
	// A learned range is as lopsided as the published one.
	as := func(sdNow float64) Range[Share] {
		likely := min(Share(math.Exp(own.mean)), most)
		side := func(published Share) Share {
			return likely * Share(math.Pow(float64(published/prior.Likely), sdNow/sd))
		}
		return Range[Share]{side(prior.Low), likely, min(side(prior.High), most)}
	}

	out.Yield, out.Typical = as(math.Hypot(own.sd, noise)), as(own.sd)
	out.PriorWeight = Share(n0 * own.sd * own.sd / (noise * noise))
	for k, i := range used {
		out.Weights[i] = Share(weights[k])
	}
	return out, nil
}

// normal is a normal distribution.
type normal struct{ mean, sd float64 }

// update returns the distribution of a mean after observations of known noise,
// and the weight each got: one, or less beyond fullTrust times the noise from
// the new mean. With all weights one it is the conjugate normal update.
func (n normal) update(noise float64, seen []float64) (normal, []float64) {
	weights := make([]float64, len(seen))
	prior := noise * noise / (n.sd * n.sd)
	reach := float64(fullTrust.Likely) * noise
	mean, total := n.mean, prior
	// Each round of weighting lowers a convex loss, so it ends at its one minimum.
	for last := math.Inf(1); math.Abs(mean-last) > 1e-12; {
		last = mean
		sum := prior * n.mean
		total = prior
		for i, x := range seen {
			weights[i] = min(1, reach/math.Abs(x-mean))
			sum += weights[i] * x
			total += weights[i]
		}
		mean = sum / total
	}
	return normal{mean, noise / math.Sqrt(total)}, weights
}

// logSpread is the standard deviation of a range on the logarithms, the mean of
// both sides.
func logSpread[T ~float64](r Range[T]) float64 {
	return math.Log(float64(r.High/r.Low)) / (2 * decile)
}
