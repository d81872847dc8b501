package calc

import (
	"cmp"
	"slices"
)

// FieldTest is the stable key of a test of briquettes that needs no instrument.
type FieldTest string

// The field tests.
const (
	DropTest   FieldTest = "drop"   // onto a hard floor
	WeightTest FieldTest = "weight" // now, against as pressed
	RingTest   FieldTest = "ring"   // two pieces knocked together
	CoreTest   FieldTest = "core"   // a piece broken open
	RubTest    FieldTest = "rub"    // on paper
	SinkTest   FieldTest = "sink"   // in a bowl of water
	BoilTest   FieldTest = "boil"   // a litre of water over 250 g
	AshTest    FieldTest = "ash"    // of a heap burnt to grey
)

// Finding is what a field test showed.
type Finding uint8

const (
	// NotTested is the zero value.
	NotTested Finding = iota
	// Passed is what a good briquette shows.
	Passed
	// Doubtful lies between.
	Doubtful
	// Failed is what a bad briquette shows.
	Failed
)

// String returns the stable key of the finding.
func (f Finding) String() string { return keyed([]string{"passed", "doubtful", "failed"}, uint8(f)) }

// Verdict says whether briquettes are fit to sell.
type Verdict uint8

const (
	// Unsure means that another test is needed.
	Unsure Verdict = iota + 1
	// FitToSell means that a buyer is likely to be content.
	FitToSell
	// NotFit means that something must be put right first.
	NotFit
)

// String returns the stable key of the verdict.
func (v Verdict) String() string {
	return keyed([]string{"unsure", "fit-to-sell", "not-fit"}, uint8(v))
}

// The faults that field tests find.
var (
	NotDry     = Fault{"not-dry", "dry-longer"}
	Breaks     = Fault{"breaks", "more-binder-and-press-harder"}
	Dusty      = Fault{"dusty", "more-binder-and-press-harder"}
	RawPaste   = Fault{"paste-weak", "cook-paste-clear"}
	BurnsBadly = Fault{"burns-badly", "dry-longer-or-blend-cleaner-char"}
	TooMuchAsh = Fault{"too-much-ash", "sieve-out-soil-or-blend-cleaner-char"}
	Mouldy     = Fault{"mould", "throw-away"}
)

// QualityInput is what the field tests of one batch showed. A zero field is a
// test that was not made.
type QualityInput struct {
	Dropped         Count    // pieces dropped three times each, up to 100; fewer than 5 tell less
	Chipped, Broken Count    // of them: lost a corner, split
	DropHeight      Metre    // 0.5 to 3, default 1; from 1.5 on judged as from 2 m, where one in five may break
	PressedWeight   Kg       // of a piece, or of the same heap, as pressed
	DriedWeight     Kg       // of the same now
	MixMoisture     WetBasis // when pressed, 0.25 to 0.45; default 0.35
	InWater         Minutes  // until the piece falls apart, up to 60; 5 or more if it does not
	Boil            Minutes  // of one litre from 25 C in a lidded pot over 250 g well alight, up to 120
	AshLeft         Share    // of a weighed heap burnt to grey
	Ring            Finding  // a clink passes, a dull clack is doubtful, a thud fails
	Core            Finding  // black and dry passes, a darker damp spot is doubtful, wet or soft fails
	Rub             Finding  // a light mark passes, dust is doubtful, heavy powder fails
	Mould           bool     // fluff outside, or a pale ring inside that smells
}

// Tested is a field test with its finding.
type Tested struct {
	Test    FieldTest
	Finding Finding
}

// QualityResult is a judgement of one batch. Chances are judged, not measured.
type QualityResult struct {
	Verdict            Verdict
	Dry, Strong, Burns Range[Share]    // chance that the batch is dry, holds together, and burns hot with little ash
	Fit                Range[Share]    // chance of all three
	Moisture           Range[WetBasis] // from the two weights; zero without them
	Tested             []Tested        // how each test was graded
	Faults             []Fault         // what to put right, worst first
	Next               FieldTest       // the test that would tell most; empty once the verdict stands
	Assumed            []*Sourced
}

// aspect is one of the things that make a briquette fit to sell.
type aspect int

const (
	dryness aspect = iota
	strength
	burning
	aspects
)

var (
	fieldPractice = practice.at("thresholds of field tests, to be calibrated against weighed batches")
	oddsJudged    = Source{
		Title:    "Judged odds: a passed test multiplies them by its factor, a doubtful one divides by the root, a failed one by the square",
		Standing: Derived,
	}

	priorOdds = [aspects]Figure[Ratio]{
		dryness:  newFigure[Ratio]("odds that a batch is dry, before any test", .8, 1.5, 3, oddsJudged),
		strength: newFigure[Ratio]("odds that a batch is strong, before any test", 1, 2, 4, oddsJudged),
		burning:  newFigure[Ratio]("odds that a batch burns well, before any test", 1, 2, 4, oddsJudged),
	}
	fitFrom   = constant[Share]("chance of all three aspects from which a batch is fit to sell", .7, oddsJudged)
	unfitFrom = constant[Share]("chance of one aspect below which a batch is not fit", .3, oddsJudged)

	fullDrop    = constant[Count]("pieces that make a full drop test", 5, fieldPractice)
	highDrop    = constant[Metre]("height from which a drop is judged as from 2 m", 1.5, judged)
	chipsDoubt  = constant[Share]("share that may chip in a doubtful drop from 1 m", .4, fieldPractice)
	breaksPass  = constant[Share]("share that may break in a passed drop from 2 m", .2, fieldPractice)
	breaksDoubt = constant[Share]("share that may break in a doubtful drop from 2 m", .4, fieldPractice)
	weightPass  = constant[Ratio]("weight against as pressed at 35 % moisture, passes up to", .70, fieldPractice)
	weightDoubt = constant[Ratio]("weight against as pressed at 35 % moisture, doubtful up to", .78, fieldPractice)
	sinkPass    = constant[Minutes]("whole in water, passes from", 5, fieldPractice)
	sinkDoubt   = constant[Minutes]("whole in water, doubtful from", 1, fieldPractice)
	boilPass    = constant[Minutes]("to boil a litre, passes up to", 15, fieldPractice)
	boilDoubt   = constant[Minutes]("to boil a litre, doubtful up to", 25, fieldPractice)
	ashDoubt    = constant[Share]("ash of a burnt heap, doubtful up to", .30, fieldPractice)
)

// fieldTest is what a test can tell: for each aspect the factor on its odds,
// zero where it tells nothing.
type fieldTest struct {
	test  FieldTest
	tells [aspects]Figure[Ratio]
	fault Fault
}

func telling(t FieldTest, what string, low, likely, high Ratio) Figure[Ratio] {
	return newFigure(string(t)+" test, factor on the odds of "+what, low, likely, high, oddsJudged)
}

// fieldTests is in the order of how much a failure weighs.
var fieldTests = [...]fieldTest{
	{WeightTest, [aspects]Figure[Ratio]{dryness: telling(WeightTest, "dry", 4, 7, 12)}, NotDry},
	{CoreTest, [aspects]Figure[Ratio]{dryness: telling(CoreTest, "dry", 2, 4, 7)}, NotDry},
	{DropTest, [aspects]Figure[Ratio]{strength: telling(DropTest, "strong", 3, 5, 9)}, Breaks},
	{SinkTest, [aspects]Figure[Ratio]{strength: telling(SinkTest, "strong", 1.8, 3, 5)}, RawPaste},
	{AshTest, [aspects]Figure[Ratio]{burning: telling(AshTest, "burning well", 4, 8, 16)}, TooMuchAsh},
	{BoilTest, [aspects]Figure[Ratio]{
		dryness: telling(BoilTest, "dry", 1.8, 3, 5),
		burning: telling(BoilTest, "burning well", 2.2, 4, 7),
	}, BurnsBadly},
	{RubTest, [aspects]Figure[Ratio]{strength: telling(RubTest, "strong", 1.8, 3, 5)}, Dusty},
	{RingTest, [aspects]Figure[Ratio]{
		dryness:  telling(RingTest, "dry", 1.8, 3, 5),
		strength: telling(RingTest, "strong", 1.3, 2, 3),
	}, NotDry},
}

// says is the exponent of a test's factor for each finding: a failure says more
// than a pass, because much that is bad still passes.
var says = [...]float64{NotTested: 0, Passed: 1, Doubtful: -.5, Failed: -2}

// Quality turns the field tests of a batch into a chance that it is dry (at most
// 12 % moisture), strong and burns well, and into a verdict. The odds of each
// aspect start at a judged prior and are multiplied by the factor of each finding;
// the squared logarithms of the factors' spreads add (JCGM 100:2008, 5.1.2). A
// batch is fit from a chance of 0.7 of all three, and not fit below 0.3 of one.
// Mould is never fit to sell, and its pieces are thrown away.
//
// A starch briquette falls apart in water sooner or later: no result says
// waterproof.
func Quality(in QualityInput) (QualityResult, error) {
	if err := in.check(); err != nil {
		return QualityResult{}, err
	}
	var r QualityResult
	mix := in.MixMoisture
	if in.PressedWeight > 0 {
		mix = or(mix, handMix, &r.Assumed)
		r.Moisture = MoistureByWeight(Ratio(in.DriedWeight/in.PressedWeight), mix)
	}
	var odds [aspects]spread
	for a, prior := range priorOdds {
		odds[a] = spreadOf(prior.Range)
		r.Assumed = append(r.Assumed, prior.Sourced())
	}
	for _, t := range fieldTests {
		f := in.finding(t.test, mix)
		if f == NotTested {
			continue
		}
		r.Tested = append(r.Tested, Tested{t.test, f})
		for a, factor := range t.tells {
			if factor.Likely != 0 {
				odds[a] = odds[a].times(spreadOf(factor.Range).power(says[f] * in.weight(t.test)))
				r.Assumed = append(r.Assumed, factor.Sourced())
			}
		}
	}
	r.Dry, r.Strong, r.Burns = odds[dryness].chance(), odds[strength].chance(), odds[burning].chance()
	r.Fit = rangeOf[Share](spreadOf(r.Dry).times(spreadOf(r.Strong)).times(spreadOf(r.Burns)))
	r.Fit.High = min(r.Fit.High, r.Dry.High, r.Strong.High, r.Burns.High)
	r.Faults = in.faults(r.Tested)
	r.judge(in.Mould)
	return r, nil
}

// MoistureByWeight returns the moisture of a piece whose weight now is ratio
// times its weight as pressed at moisture mix: w = 1 - (1 - mix)/ratio, never
// below zero, as the dry mass stays. The range carries the doubt of 0.05 each way
// about a hand-pressed mix; ratio lies in (0, 1], mix in [0, 0.95).
func MoistureByWeight(ratio Ratio, mix WetBasis) Range[WetBasis] {
	hand := handMix.Range
	return reweighed(ratio, Range[WetBasis]{mix - (hand.Likely - hand.Low), mix, mix + (hand.High - hand.Likely)})
}

func (in *QualityInput) check() error {
	return cmp.Or(
		within("pieces dropped", in.Dropped, 0, 100),
		within("pieces chipped", in.Chipped, 0, in.Dropped),
		within("pieces broken", in.Broken, 0, in.Dropped-in.Chipped),
		withinOrZero("height of the drop", in.DropHeight, .5, 3),
		within("weight as pressed", in.PressedWeight, 0, 1000),
		within("weight now", in.DriedWeight, in.PressedWeight/4, in.PressedWeight),
		withinOrZero("moisture of the mix", in.MixMoisture, .25, .45),
		within("minutes in water", in.InWater, 0, 60),
		within("minutes to boil", in.Boil, 0, 120),
		within("ash left", in.AshLeft, 0, 1),
		within("finding of the ring test", Count(in.Ring), 0, Count(Failed)),
		within("finding of the core test", Count(in.Core), 0, Count(Failed)),
		within("finding of the rub test", Count(in.Rub), 0, Count(Failed)),
	)
}

// finding grades one test.
func (in *QualityInput) finding(t FieldTest, mix WetBasis) Finding {
	switch t {
	case DropTest:
		return in.drop()
	case WeightTest:
		if in.PressedWeight == 0 {
			return NotTested
		}
		// A wetter mix loses more weight on the way to the same moisture.
		asAt35 := Ratio(in.DriedWeight/in.PressedWeight) * handMix.Likely.massAt(mix)
		return upTo(asAt35, weightPass.Likely, weightDoubt.Likely)
	case SinkTest:
		return upTo(-in.InWater, -sinkPass.Likely, -sinkDoubt.Likely)
	case BoilTest:
		return upTo(in.Boil, boilPass.Likely, boilDoubt.Likely)
	case AshTest:
		return upTo(in.AshLeft, briquetteAsh.Likely, ashDoubt.Likely)
	case RingTest:
		return in.Ring
	case CoreTest:
		return in.Core
	default:
		return in.Rub
	}
}

// upTo grades a measurement that is better the smaller it is; zero is no test.
func upTo[T ~float64](got, passes, doubtful T) Finding {
	switch {
	case got == 0:
		return NotTested
	case got <= passes:
		return Passed
	case got <= doubtful:
		return Doubtful
	default:
		return Failed
	}
}

func (in *QualityInput) drop() Finding {
	chipped, broken := Share(in.Chipped/in.Dropped), Share(in.Broken/in.Dropped)
	switch {
	case in.Dropped == 0:
		return NotTested
	case in.DropHeight >= highDrop.Likely && broken > 0:
		return upTo(broken, breaksPass.Likely, breaksDoubt.Likely)
	case broken > 0 || chipped > chipsDoubt.Likely && in.DropHeight < highDrop.Likely:
		return Failed
	case chipped > 0 && in.DropHeight < highDrop.Likely:
		return Doubtful
	default:
		return Passed
	}
}

// weight is how much of a full test was made.
func (in *QualityInput) weight(t FieldTest) float64 {
	if t == DropTest {
		return min(1, float64(in.Dropped/fullDrop.Likely))
	}
	return 1
}

// faults lists what failed before what is doubtful.
func (in *QualityInput) faults(tested []Tested) []Fault {
	var faults []Fault
	if in.Mould {
		faults = append(faults, Mouldy)
	}
	for _, bad := range []Finding{Failed, Doubtful} {
		for _, t := range fieldTests {
			if slices.Contains(tested, Tested{t.test, bad}) && !slices.Contains(faults, t.fault) {
				faults = append(faults, t.fault)
			}
		}
	}
	return faults
}

// judge sets the verdict, and the next test while it is open: the untested one
// that tells most about the most doubtful aspect.
func (r *QualityResult) judge(mould bool) {
	chance := [aspects]Share{dryness: r.Dry.Likely, strength: r.Strong.Likely, burning: r.Burns.Likely}
	worst := dryness
	for a, c := range chance {
		if c < chance[worst] {
			worst = aspect(a)
		}
	}
	switch {
	case mould || chance[worst] < unfitFrom.Likely:
		r.Verdict = NotFit
		return
	case r.Fit.Likely >= fitFrom.Likely:
		r.Verdict = FitToSell
		return
	}
	r.Verdict = Unsure
	var most Ratio
	for _, t := range fieldTests {
		tested := slices.ContainsFunc(r.Tested, func(f Tested) bool { return f.Test == t.test })
		if factor := t.tells[worst].Likely; factor > most && !tested {
			most, r.Next = factor, t.test
		}
	}
}

// chance turns odds into a chance.
func (s spread) chance() Range[Share] {
	odds := rangeOf[Ratio](s)
	of := func(o Ratio) Share { return Share(o / (1 + o)) }
	return Range[Share]{of(odds.Low), of(odds.Likely), of(odds.High)}
}

// Limit says how a range lies against a limit.
type Limit uint8

const (
	// WithinLimit: P10 to P90 keep it.
	WithinLimit Limit = iota + 1
	// NearLimit: it lies inside the range.
	NearLimit
	// BeyondLimit: P10 to P90 miss it.
	BeyondLimit
)

// String returns the stable key.
func (l Limit) String() string { return keyed([]string{"within", "near", "beyond"}, uint8(l)) }

// FuelInput asks what a briquette of a char and a binder is worth as a fuel.
type FuelInput struct {
	Ash          Range[Share]    // of the dry char, 0.001 to 0.9
	FixedCarbon  Range[Share]    // of the dry char; zero: 0.805 of what is not ash
	HeatingValue Range[MJPerKg]  // higher, of the dry char; zero: 32 x what is not ash
	Starch       Starch          // zero: cassava-flour
	Dose         Share           // binding matter per dry char, up to 1; zero: the usual dose of the binder
	Moisture     Range[WetBasis] // as sold; zero: 0.05, 0.08, 0.12
}

// FuelResult is a briquette as a fuel, and how it stands against the limits of
// the charcoal standard: an aim, never a certificate.
type FuelResult struct {
	Ash, FixedCarbon Range[Share]   // of the dry briquette
	Higher           Range[MJPerKg] // higher heating value, dry
	Net              Range[MJPerKg] // net heating value as sold
	Moisture         Range[WetBasis]
	Aims             Aims
	Assumed          []*Sourced
}

// Aims are the limits of EN 1860-2 for charcoal briquettes: moisture at most 8 %,
// ash at most 18 % and fixed carbon at least 60 % of dry matter. All is the worst
// of the three.
type Aims struct{ Moisture, Ash, FixedCarbon, All Limit }

var (
	en1860 = Source{
		Title: "EN 1860-2 Solid fuels for barbecuing: charcoal briquettes", Year: 2005,
		At: "limits read in secondary sources; withdrawn in 2023 for a new edition", Standing: Read,
	}
	briquetteMoisture = constant[WetBasis]("charcoal standard, most moisture of briquettes", .08, en1860)
	briquetteAsh      = constant[Share]("charcoal standard, most ash of dry briquettes", .18, en1860)
	briquetteCarbon   = constant[Share]("charcoal standard, least fixed carbon of dry briquettes", .60, en1860)

	charCurves    = neves.judged("curves at 350, 430 and 550 C")
	cleanCharHeat = constant[MJPerKg]("higher heating value of char without its ash", 32, miles.at("about 32 MJ/kg at 500 C"))
	charHydrogen  = newFigure[Share]("hydrogen of char without its ash", .023, .031, .039, charCurves)
	charOxygen    = newFigure[Share]("oxygen of char without its ash", .131, .178, .228, charCurves)

	starchFormula    = Source{Title: "Starch, C6H10O5", Standing: Derived}
	binderHeat       = constant[MJPerKg]("higher heating value of a binder without its ash", 17.5, Source{Title: "Handbook values of starch", Standing: Remembered})
	binderHydrogen   = constant[Share]("hydrogen of a binder without its ash", .062, starchFormula)
	binderOxygen     = constant[Share]("oxygen of a binder without its ash", .493, starchFormula)
	binderFixedValue = constant[Share]("fixed carbon of a binder without its ash", .10, Source{Title: "Handbook values of starch and flour", Standing: Remembered})
)

// Fuel computes ash, fixed carbon and heating value of a dry mix as the means of
// char and binder by mass, and the net heating value at constant pressure as sold
// (ISO 18125, from memory).
func Fuel(in FuelInput) (FuelResult, error) {
	var r FuelResult
	b, err := binderFor(in.Starch)
	if err != nil {
		return FuelResult{}, err
	}
	r.Moisture = either(in.Moisture, readyPiece, &r.Assumed)
	dose := or(in.Dose, b.Dose, &r.Assumed)
	if in.FixedCarbon == (Range[Share]{}) {
		in.FixedCarbon = rangeOf[Share](spreadOf(charVolatile.rest()).times(spreadOf(in.Ash.rest())))
		r.Assumed = append(r.Assumed, charVolatile.Sourced())
	}
	if in.HeatingValue == (Range[MJPerKg]{}) {
		in.HeatingValue = As[MJPerKg](in.Ash.rest().Scale(float64(cleanCharHeat.Likely)))
		r.Assumed = append(r.Assumed, cleanCharHeat.Sourced())
	}
	if err := cmp.Or(
		ranged("ash of the char", in.Ash, .001, .9),
		ranged("fixed carbon of the char", in.FixedCarbon, .01, .99),
		ranged("heating value of the char", in.HeatingValue, 2, 36),
		ranged("moisture as sold", r.Moisture, .01, .4),
		within("binder per char", dose, 0, 1),
	); err != nil {
		return FuelResult{}, err
	}
	ash := b.Ash.Likely
	r.Ash = mixed(in.Ash, ash, dose)
	r.FixedCarbon = mixed(in.FixedCarbon, binderFixedValue.Likely*(1-ash), dose)
	r.Higher = mixed(in.HeatingValue, binderHeat.Likely*MJPerKg(1-ash), dose)
	organic := Exactly(1 - in.Ash.Likely)
	hydrogen := mixed(organic.Scale(float64(charHydrogen.Likely)), binderHydrogen.Likely*(1-ash), dose).Likely
	oxygen := mixed(organic.Scale(float64(charOxygen.Likely)), binderOxygen.Likely*(1-ash), dose).Likely
	net := func(higher MJPerKg, m WetBasis) float64 { return float64(NetHeatingValue(higher, hydrogen, oxygen, m)) }
	sold := spread{likely: net(r.Higher.Likely, r.Moisture.Likely)}
	sold.move(net(r.Higher.Low, r.Moisture.Likely), net(r.Higher.High, r.Moisture.Likely))
	sold.move(net(r.Higher.Likely, r.Moisture.High), net(r.Higher.Likely, r.Moisture.Low))
	r.Net = rangeOf[MJPerKg](sold)

	r.Aims.Moisture = against(r.Moisture, briquetteMoisture.Likely)
	r.Aims.Ash = against(r.Ash, briquetteAsh.Likely)
	r.Aims.FixedCarbon = against(r.FixedCarbon.rest(), 1-briquetteCarbon.Likely)
	r.Aims.All = max(r.Aims.Moisture, r.Aims.Ash, r.Aims.FixedCarbon)
	r.Assumed = append(r.Assumed, b.Ash.Sourced(), binderHeat.Sourced(), charHydrogen.Sourced(), charOxygen.Sourced())
	return r, nil
}

// mixed is a quantity of the char diluted by that of a binder, per dry mass. A
// straight line takes deciles to deciles.
func mixed[T ~float64](char Range[T], binder T, dose Share) Range[T] {
	of := func(c T) T { return (c + T(dose)*binder) / T(1+dose) }
	return Range[T]{of(char.Low), of(char.Likely), of(char.High)}
}

// against compares a range with an upper limit.
func against[T ~float64](r Range[T], most T) Limit {
	switch {
	case r.High <= most:
		return WithinLimit
	case r.Low > most:
		return BeyondLimit
	default:
		return NearLimit
	}
}
