package calc

import "math"

// Feel is the moisture of a crop waste as a hand can tell it.
type Feel uint8

const (
	// Dry snaps with a crack.
	Dry Feel = iota + 1
	// NearlyDry peels in strings, but rings when knocked or leaves the salt of
	// a jar test clean.
	NearlyDry
	// Wet peels in strings.
	Wet
	// TooWet bends.
	TooWet
	// Sappy is too wet and shows sap or is cool to the touch.
	Sappy
)

// String returns the stable key of the feel. Sappy waste is too wet.
func (f Feel) String() string {
	return keyed([]string{"dry", "nearly", "wet", "too-wet", "too-wet"}, uint8(f))
}

var feelSource = Source{Title: "Snap, knock and salt-jar tests of farm and firewood guides", At: "bands by judgement", Standing: Derived}

var (
	feels = []Figure[WetBasis]{
		newFigure[WetBasis]("moisture of waste that snaps", .10, .12, .15, feelSource),
		newFigure[WetBasis]("moisture of waste that peels but rings", .15, .17, .20, feelSource),
		newFigure[WetBasis]("moisture of waste that peels in strings", .15, .20, .25, feelSource),
		newFigure[WetBasis]("moisture of waste that bends", .25, .30, .40, feelSource),
		newFigure[WetBasis]("moisture of waste with sap", .40, .45, .55, feelSource),
	}
	dryFeed = feels[0]

	dryEnough   = constant[WetBasis]("driest waste that loses no char worth saying", .15, feelSource.at("light at 15 % or less"))
	wetFrom     = constant[WetBasis]("moisture from which waste is dried first", .20, feelSource.at("15 to 20 % acceptable"))
	tooWetFrom  = constant[WetBasis]("moisture from which a drum is not lit", .30, feelSource.at("refuse at 30 % or more"))
	wettestFeed = constant[WetBasis]("wettest waste the methods answer for", .65, judged)

	sunDried = newFigure[WetBasis]("moisture waste keeps when the sun dries it no further", .08, .10, .14,
		judged.at("8 to 12 % in the dry season, 13 to 15 % in humid air"))
	airDryFeed = newFigure[DryBasis]("moisture of waste in dry-season air", .07, .09, .12,
		Source{Title: "Sorption of wood and maize stover at 30 to 65 % relative humidity", Standing: Derived})
	sunWarmth = newFigure[Ratio]("drying in the sun against drying at 25 C", 2.0, 2.37, 2.7,
		chipDrying.judged("34.05 kJ/mol, pieces at 45 C"))
	sunnyHours = constant[Hours]("effective drying hours of a sunny day", 8, practice.at("sunny 8, mixed 5, cloudy 2 hours"))
)

// Moisture returns P10, P50 and P90 of waste that feels like f, in kg of water
// per kg of moist waste; the zero range for a feel that is none of the five.
func (f Feel) Moisture() Range[WetBasis] {
	if f == 0 || int(f) > len(feels) {
		return Range[WetBasis]{}
	}
	return feels[f-1].Range
}

// WasteMoisture returns the moisture of a sample that weighed before, and after
// once the sun had dried it until its weight no longer changed over half a day:
// w = 1 - (after/before)(1 - wr), wr being what waste keeps in open air, 8 to
// 14 % (judged). before is 0.01 to 1000 kg, after at least a fifth of it.
func WasteMoisture(before, after Kg) (Range[WetBasis], error) {
	if err := within("kilograms of the sample", before, .01, 1000); err != nil {
		return Range[WetBasis]{}, err
	}
	if err := within("kilograms of the dried sample", after, before*.2, before); err != nil {
		return Range[WetBasis]{}, err
	}
	return reweighed(Ratio(before/after), sunDried.Range), nil
}

// Lighting says whether a drum of waste may be lit.
type Lighting uint8

const (
	// LightNow is dry enough.
	LightNow Lighting = iota + 1
	// LightWithLoss is allowed, and the loss of char must be said.
	LightWithLoss
	// DryFirst is wet: it is dried before it is lit.
	DryFirst
	// DoNotLight is too wet to char.
	DoNotLight
)

// String returns the stable key of the verdict.
func (l Lighting) String() string {
	return keyed([]string{"light-now", "light-with-loss", "dry-first", "do-not-light"}, uint8(l))
}

// MayLight reports whether a lighting time may be given at all.
func (l Lighting) MayLight() bool { return l == LightNow || l == LightWithLoss }

// LightingAt judges the likely moisture of a waste: up to 15 % it is lit, below
// 20 % with a loss, from 20 % it is dried first, from 30 % it is not lit.
func LightingAt(w WetBasis) Lighting {
	switch {
	case w <= dryEnough.Likely:
		return LightNow
	case w < wetFrom.Likely:
		return LightWithLoss
	case w < tooWetFrom.Likely:
		return DryFirst
	default:
		return DoNotLight
	}
}

// daysToDry is how long the slowest part of a charge lies in the sun until it
// may be lit.
func (c *charge) daysToDry(sun Hours) (longest Range[Days]) {
	for i := range c.wastes() {
		p := c.waste(i)
		if d := p.feed.daysToDry(p.wettest, sun); d.Likely > longest.Likely {
			longest = d
		}
	}
	return longest
}

// daysToDry is how long one thin layer lies in the sun until it may be lit,
// by a single exponential toward the moisture of the air. It is a hand check
// without weather, own reference computation.
func (f *Feedstock) daysToDry(w Range[WetBasis], sun Hours) Range[Days] {
	hours := func(u, air DryBasis, rate PerHour, warmth Ratio) float64 {
		target := dryEnough.Likely.Dry()
		if u <= target {
			return 0
		}
		return math.Log(float64((u-air)/(target-air))) / (float64(rate) * float64(warmth))
	}
	u, air, rate, warmth := w.Likely.Dry(), airDryFeed.Likely, f.DryingRate, sunWarmth
	s := spread{likely: hours(u, air, rate.Likely, warmth.Likely)}
	if s.likely == 0 {
		return Range[Days]{}
	}
	// The least wet waste may be dry enough already; a tenth of an hour stands
	// for that, since no logarithm does.
	s.move(max(hours(w.Low.Dry(), air, rate.Likely, warmth.Likely), .1), hours(w.High.Dry(), air, rate.Likely, warmth.Likely))
	s.move(hours(u, airDryFeed.Low, rate.Likely, warmth.Likely), hours(u, airDryFeed.High, rate.Likely, warmth.Likely))
	s.move(hours(u, air, rate.Low, warmth.Likely), hours(u, air, rate.High, warmth.Likely))
	s.move(hours(u, air, rate.Likely, warmth.Low), hours(u, air, rate.Likely, warmth.High))
	return rangeOf[Days](s).Scale(1 / float64(sun))
}
