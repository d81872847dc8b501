package calc

import (
	"math"
	"slices"
)

// Cause says what an opened drum shows about its burn.
type Cause uint8

// The causes that the signs of a burn can tell apart.
const (
	// AboutRight: covered at a good time.
	AboutRight Cause = iota
	// CoveredTooSoon: covered before the middle of the charge was charred.
	CoveredTooSoon
	// CoveredTooLate: covered when the char was already burning away.
	CoveredTooLate
	// DampWaste: the waste was damp, so part of it never charred.
	DampWaste
	// AirLeak: covered well, but air under the seal went on burning char.
	AirLeak

	causeCount = iota
)

// String returns the cause as a stable key.
func (c Cause) String() string {
	return keyed([]string{"about-right", "too-soon", "too-late", "damp-waste", "air-leak"}, uint8(c)+1)
}

// Brands is how much half-charred waste lay in an opened drum.
type Brands uint8

const (
	// BrandsUnknown says nothing.
	BrandsUnknown Brands = iota
	// NoBrands: under 3 % of what came out.
	NoBrands
	// SomeBrands: 3 to 12 %.
	SomeBrands
	// ManyBrands: over 12 %.
	ManyBrands
)

// BrandsOf grades weighed brands by their share of all that came out, both in kg
// and not negative: from 3 % some, over 12 % many (judged).
func BrandsOf(char, unburnt Kg) Brands {
	switch share := unburntShare(char, unburnt); {
	case share < fewBrands.Likely:
		return NoBrands
	case share <= manyBrands.Likely:
		return SomeBrands
	default:
		return ManyBrands
	}
}

// AshColour is what lay on the char of an opened drum.
type AshColour uint8

const (
	// AshUnknown says nothing.
	AshUnknown AshColour = iota
	// BlackAll: black, no ash to speak of.
	BlackAll
	// GreyAsh: grey patches.
	GreyAsh
	// WhiteAsh: much white ash.
	WhiteAsh
)

// signs is what one cause makes likely to be seen.
type signs struct {
	prior  Figure[Share]    // before anything is seen, with dry waste
	brands [3]Figure[Share] // of NoBrands, SomeBrands, ManyBrands
	ash    [3]Figure[Share] // of BlackAll, GreyAsh, WhiteAsh
	yield  Figure[Ratio]    // char, times the expected
	open   Figure[Ratio]    // minutes until covered, times the usual
}

// The figures of covering. The chances are judged so that, weighted by the
// priors, they give back the published spread of brands and of burn times.
var (
	coveringJudged = judged.at("signs that trainers teach: brown hearts are early or damp, white ash and little char late or leaking")
	fewBrands      = constant[Share]("unburnt share that counts as none", 0.03, judged.at("one burn in ten leaves less"))
	manyBrands     = constant[Share]("unburnt share from which brands are many", 0.12, hung.judged("7.6 % at the best setting of a kiln; half as much again"))
	burnSigns      = [causeCount]signs{
		AboutRight:     signsOf(AboutRight, 0.50, [3]Share{0.12, 0.73, 0.15}, [3]Share{0.50, 0.42, 0.08}, 1, 1),
		CoveredTooSoon: signsOf(CoveredTooSoon, 0.20, [3]Share{0.01, 0.34, 0.65}, [3]Share{0.80, 0.18, 0.02}, 0.95, 0.67),
		CoveredTooLate: signsOf(CoveredTooLate, 0.15, [3]Share{0.25, 0.65, 0.10}, [3]Share{0.10, 0.40, 0.50}, 0.89, 1.5),
		DampWaste:      signsOf(DampWaste, 0.05, [3]Share{0.02, 0.38, 0.60}, [3]Share{0.60, 0.35, 0.05}, 0.86, 1),
		AirLeak:        signsOf(AirLeak, 0.10, [3]Share{0.12, 0.73, 0.15}, [3]Share{0.15, 0.45, 0.40}, 0.90, 1),
	}
	nearlyDryIsWet = constant[Share]("chance that nearly dry waste was too wet", 0.20, coveringJudged)
	wetIsWet       = constant[Share]("chance that waste reported wet was too wet", 0.45, coveringJudged)
	openSpread     = constant[Ratio]("spread of burn minutes under one cause, of the logarithm", 0.30, coveringJudged)
	sureEnough     = constant[Share]("chance from which the covering time is moved", 0.60, coveringJudged)
	coveringStep   = constant[Minutes]("most by which advice moves the covering time", 5, coveringJudged)
)

func signsOf(c Cause, prior Share, brands, ash [3]Share, yield, open Ratio) signs {
	chance := func(of string, p Share) Figure[Share] {
		return constant("chance of "+of+" when "+c.String(), p, coveringJudged)
	}
	return signs{
		prior: constant("share of burns that are "+c.String(), prior, coveringJudged),
		brands: [3]Figure[Share]{
			chance("no brands", brands[0]), chance("some brands", brands[1]), chance("many brands", brands[2]),
		},
		ash: [3]Figure[Share]{
			chance("black char", ash[0]), chance("grey ash", ash[1]), chance("white ash", ash[2]),
		},
		yield: constant("char, times the expected, when "+c.String(), yield, coveringJudged),
		open:  constant("minutes open, times the usual, when "+c.String(), open, coveringJudged),
	}
}

// Opening is what a producer saw when a drum was opened. A zero field means not
// known and says nothing.
type Opening struct {
	Brands   Brands
	Ash      AshColour
	Yield    Share    // char on dry feed
	Open     Minutes  // from lighting to covering
	Moisture WetBasis // of the waste as loaded
}

// AdviseInput asks what the last burns say about when to cover.
type AdviseInput struct {
	Waste    Waste
	Usual    Range[Share]   // the producer's own yield, as from Learn; zero: that of the waste
	Clock    Range[Minutes] // from lighting to covering, of such burns; zero: of an open fire
	Openings []Opening      // burns covered in the same way: those since the last advice
}

// AdviseResult is the likeliest cause and the one change to try.
type AdviseResult struct {
	Cause   Cause
	Sure    Share             // chance of that cause, 0 to 1
	Chances [causeCount]Share // of every Cause; they sum to one
	Move    Minutes           // cover later (positive) or sooner by this; 0: leave it, or not sure enough
	Assumed []*Sourced
}

// Advise judges whether drums were covered too soon or too late from what was
// seen when they were opened: brands, colour of the ash, char and minutes. It
// is Bayes' rule over five causes with signs taken as independent given the
// cause; all chances are judged. The covering time is moved only when one
// direction has at least 60 %, in proportion to that chance, and never by more
// than five minutes. Waste that was too wet and seals that leak show the same
// brands and the same ash as a wrong time, so they take chance away from it.
func Advise(in AdviseInput) (AdviseResult, error) {
	feed, err := feedOf(in.Waste)
	if err != nil {
		return AdviseResult{}, err
	}
	usual, clock := in.Usual, in.Clock
	if usual.Likely == 0 {
		usual = feed.Yield.Range
	}
	if clock.Likely == 0 {
		clock = Clock(false).Cover
	}
	var logs [causeCount]float64
	for c, p := range causePriors(in.Openings) {
		logs[c] = math.Log(float64(p))
	}
	for _, o := range in.Openings {
		for c, s := range burnSigns {
			logs[c] += s.logChance(o, usual, clock)
		}
	}

	out := AdviseResult{Chances: normalised(logs), Assumed: []*Sourced{coveringStep.Sourced(), sureEnough.Sourced()}}
	for c, p := range out.Chances {
		if p > out.Sure {
			out.Cause, out.Sure = Cause(c), p
		}
	}
	if out.Sure >= sureEnough.Likely {
		step := Minutes(math.Round(float64(coveringStep.Likely) * float64(out.Sure)))
		switch out.Cause {
		case CoveredTooSoon:
			out.Move = step
		case CoveredTooLate:
			out.Move = -step
		}
	}
	return out, nil
}

// causePriors returns the chances before anything is seen. The wettest load
// decides how likely damp waste is.
func causePriors(openings []Opening) [causeCount]Share {
	var wettest WetBasis
	for _, o := range openings {
		wettest = max(wettest, o.Moisture)
	}
	damp := burnSigns[DampWaste].prior.Likely
	switch LightingAt(wettest) {
	case LightWithLoss:
		damp = nearlyDryIsWet.Likely
	case DryFirst, DoNotLight:
		damp = wetIsWet.Likely
	}
	var out [causeCount]Share
	rest := (1 - damp) / (1 - burnSigns[DampWaste].prior.Likely)
	for c, s := range burnSigns {
		out[c] = s.prior.Likely * rest
	}
	out[DampWaste] = damp
	return out
}

// logChance is the logarithm of the chance of what was seen, up to a constant
// that is the same for every cause.
func (s signs) logChance(o Opening, usual Range[Share], clock Range[Minutes]) float64 {
	var sum float64
	if o.Brands != BrandsUnknown {
		sum += math.Log(float64(s.brands[o.Brands-1].Likely))
	}
	if o.Ash != AshUnknown {
		sum += math.Log(float64(s.ash[o.Ash-1].Likely))
	}
	if o.Yield > 0 {
		expected := usual.Likely * likelyKept(o.Moisture) * Share(s.yield.Likely)
		sum += logNormalDensity(float64(o.Yield/expected), logSpread(usual))
	}
	if o.Open > 0 {
		sum += logNormalDensity(float64(o.Open/clock.Likely)/float64(s.open.Likely), float64(openSpread.Likely))
	}
	return sum
}

// logNormalDensity is the logarithm of a log-normal density with median one.
func logNormalDensity(ratio, sd float64) float64 {
	z := math.Log(ratio) / sd
	return -z * z / 2
}

// normalised turns logarithms of weights into chances that sum to one.
func normalised(logs [causeCount]float64) [causeCount]Share {
	var out [causeCount]Share
	var sum Share
	top := slices.Max(logs[:])
	for c, l := range logs {
		out[c] = Share(math.Exp(l - top))
		sum += out[c]
	}
	for c := range out {
		out[c] /= sum
	}
	return out
}
