package calc

import (
	"cmp"
	"math"
)

var (
	moistureRule = Source{Title: "Yield against moisture of kilns in Benin and Thailand and the FAO portable steel kiln", At: "relative loss per point of dry-basis moisture; published effects run from little to halved", Standing: Derived}
	yieldLoss    = newFigure[Ratio]("relative loss of yield per unit of dry-basis moisture", .2, .8, 1.2, moistureRule)
	yieldDry     = constant[DryBasis]("moisture of the feed a drum yield holds for", .14, moistureRule)

	bedTemperature = newFigure[Celsius]("effective peak temperature of a drum's bed", 350, 430, 550,
		Source{Title: "Constant fixed-carbon-yield model inverted on maize and pigeonpea stalk in a metal drum and groundnut shell in a low-cost kiln", Standing: Derived})
	burnOff = newFigure[Share]("char burnt by air leaks and late covering", .05, .20, .40, bedTemperature.Source)

	volatileDecay = constant[PerCelsius]("decay of volatile matter with bed temperature", .0038,
		miles.judged("exp(-0.0038 T) through 0.32, 0.13 and 0.07 of wood char at 300, 500 and 700 C"))
	charVolatile = newFigure[Share]("volatile matter of dry ash-free drum char", .12, .195, .38,
		miles.judged("exp(-0.0038 T) at 430 C; kiln chars run higher"))
	ashRetention = newFigure[Share]("feed ash found again in the char", .9, 1, 1,
		Source{Title: "Ash balance of slow pyrolysis; part of the potassium and chlorine leaves", Standing: Derived})
	mostCharAsh = constant[Share]("most ash of a char", .95, judged)
)

// Pyrolysis is the char of one waste at one bed temperature. Shares are on dry
// basis.
type Pyrolysis struct {
	Yield        Share // char with its ash, of dry feed
	Proximate    Proximate
	HeatingValue MJPerKg // higher
}

// Pyrolyse computes the char of a waste by the constant fixed-carbon-yield
// model: what of the dry ash-free feed becomes fixed carbon hardly depends on
// temperature (Ronsse et al. 2013, GCB Bioenergy 5:104), so the yield follows
// from the volatile matter the char still holds at bed temperature T and from
// the part b of it that air burns,
//
//	y = A + (1 - A) yfc (1 - b)/(1 - v),  v = exp(-0.0038 T),
//
// for T from 300 to 700 C and b up to 0.60. The drum yields of Carbonise are
// not these, but move with them.
func Pyrolyse(w Waste, bed Celsius, burnOff Share) (Pyrolysis, error) {
	f, err := feedOf(w)
	if err != nil {
		return Pyrolysis{}, err
	}
	if err := cmp.Or(bedWithin(bed), burnOffWithin(burnOff)); err != nil {
		return Pyrolysis{}, err
	}
	y := f.pyrolysisYield(bed, burnOff)
	p := composition(float64(f.Ash.Likely/y), float64(volatileAt(bed)))
	return Pyrolysis{y, p, p.heat()}, nil
}

func bedWithin(t Celsius) error   { return within("effective bed temperature", t, 300, 700) }
func burnOffWithin(b Share) error { return within("char burnt by air", b, 0, .60) }
func volatileAt(bed Celsius) Share {
	return Share(math.Exp(-float64(volatileDecay.Likely) * float64(bed)))
}

func (f *Feedstock) pyrolysisYield(bed Celsius, burnOff Share) Share {
	ash := f.Ash.Likely
	return ash + f.fixedCarbon()*(1-burnOff)/(1-volatileAt(bed))
}

// fixedCarbon is the fixed carbon that slow heating can make of dry feed.
func (f *Feedstock) fixedCarbon() Share { return (1 - f.Ash.Likely) * f.FixedCarbonYield.Likely }

// composition shares what is not ash between fixed carbon and volatile matter.
func composition(ash, volatile float64) Proximate {
	ash = min(ash, float64(mostCharAsh.Likely))
	v := (1 - ash) * volatile
	return Proximate{FixedCarbon: Share(1 - ash - v), Volatile: Share(v), Ash: Share(ash)}
}

// keptAt is the part of the dry yield that feed of moisture w keeps. Beyond 30 %
// no drum should be lit and the published losses end; the straight line is
// continued as the exponential that meets it there, so that it never crosses
// zero.
func keptAt(w WetBasis, loss float64) float64 {
	end := tooWetFrom.Likely
	kept := 1 - loss*float64(min(w, end).Dry()-yieldDry.Likely)
	if w > end {
		kept *= math.Exp(-loss * float64(w.Dry()-end.Dry()) / kept)
	}
	return kept
}
