package calc

import "math"

// Published temperature correlations, kept as a second opinion. None of them is
// on the path of a recipe.
var (
	neves = Source{
		Title: "Characterization and prediction of biomass pyrolysis products, Prog. Energy Combust. Sci. 37:611",
		By:    "Neves et al.", Year: 2011, At: "coefficients read in two public code copies and closed to a sum of one", Standing: Read,
	}
	nevesLow  = constant[Celsius]("lowest temperature of the all-pyrolysis correlations", 200, neves)
	nevesHigh = constant[Celsius]("highest temperature of the all-pyrolysis correlations", 1000, neves)
	nevesFit  = func(what string, end, span Share, decay PerCelsius) exponential {
		return exponential{
			constant("all-pyrolysis "+what+" of dry ash-free char, end", end, neves),
			constant("all-pyrolysis "+what+" of dry ash-free char, span", span, neves),
			constant("all-pyrolysis "+what+" of dry ash-free char, decay", decay, neves),
		}
	}
	nevesYield    = nevesFit("yield", .106, 2.43, .0066)
	nevesCarbon   = nevesFit("carbon", .93, -.92, .0042)
	nevesHydrogen = nevesFit("hydrogen", -.0041, .10, .0024)
	nevesOxygen   = nevesFit("oxygen", .07, .85, .0048)

	klasson  = Source{Title: "Carbon of biochar from its proximate composition", By: "Klasson", Year: 2017, At: "coefficients read in a public code copy", Standing: Read}
	parikh07 = Source{
		Title: "A correlation for calculating elemental composition from proximate analysis of biomass, Fuel 86:1710",
		By:    "Parikh, Channiwala, Ghosal", Year: 2007, At: "coefficients read in a public code copy", Standing: Read,
	}
	klassonVolatile = constant[Share]("carbon of volatile matter of biochar", .474, klasson)
	klassonFixed    = constant[Share]("carbon of fixed carbon of biochar", .963, klasson)
	klassonAsh      = constant[Share]("carbon of ash of biochar", .067, klasson)

	parikhCarbon   = [2]Figure[Share]{constant[Share]("carbon of fixed carbon of raw biomass", .637, parikh07), constant[Share]("carbon of volatile matter of raw biomass", .455, parikh07)}
	parikhHydrogen = [2]Figure[Share]{constant[Share]("hydrogen of fixed carbon of raw biomass", .052, parikh07), constant[Share]("hydrogen of volatile matter of raw biomass", .062, parikh07)}
	parikhOxygen   = [2]Figure[Share]{constant[Share]("oxygen of fixed carbon of raw biomass", .304, parikh07), constant[Share]("oxygen of volatile matter of raw biomass", .476, parikh07)}
)

// exponential is end + span exp(-decay T).
type exponential struct {
	end, span Figure[Share]
	decay     Figure[PerCelsius]
}

func (e exponential) at(t Celsius) Share {
	return e.end.Likely + e.span.Likely*Share(math.Exp(-float64(e.decay.Likely)*float64(t)))
}

// AllPyrolysisYield returns the dry ash-free char of dry ash-free feed by the
// correlation of Neves et al. 2011 over fast and slow pyrolysis of all biomass,
// for 200 to 1000 C. It knows nothing of the feed and mixes heating rates: at
// 450 to 700 C it lies on average 22 % below slow-pyrolysis and kiln yields, so
// it is a comparison and nothing else.
func AllPyrolysisYield(t Celsius) (Share, error) {
	if err := nevesWithin(t); err != nil {
		return 0, err
	}
	return nevesYield.at(t), nil
}

// AllPyrolysisChar returns carbon, hydrogen and oxygen of dry ash-free char by
// the correlations of Neves et al. 2011, for 200 to 1000 C. They sum to 0.985 to
// 0.995; the rest is nitrogen and the scatter of the fits. They may be used for
// drum char at its bed temperature.
func AllPyrolysisChar(t Celsius) (Ultimate, error) {
	if err := nevesWithin(t); err != nil {
		return Ultimate{}, err
	}
	return Ultimate{Carbon: nevesCarbon.at(t), Hydrogen: nevesHydrogen.at(t), Oxygen: nevesOxygen.at(t)}, nil
}

func nevesWithin(t Celsius) error {
	return within("pyrolysis temperature", t, nevesLow.Likely, nevesHigh.Likely)
}

// CharCarbon returns the carbon of a dry char from its proximate composition
// (Klasson 2017). The parts must sum to one within 0.02.
func (p Proximate) CharCarbon() (Share, error) {
	if err := within("fixed carbon, volatile matter and ash together", p.FixedCarbon+p.Volatile+p.Ash, .98, 1.02); err != nil {
		return 0, err
	}
	return p.Volatile*klassonVolatile.Likely + p.FixedCarbon*klassonFixed.Likely + p.Ash*klassonAsh.Likely, nil
}

// RawUltimate returns carbon, hydrogen and oxygen of raw dry biomass from its
// proximate composition, for fixed carbon of 0.047 to 0.384 and volatile matter
// of 0.572 to 0.906; not for char (Parikh, Channiwala, Ghosal 2007, Fuel 86).
func (p Proximate) RawUltimate() (Ultimate, error) {
	if err := within("fixed carbon of raw biomass", p.FixedCarbon, .047, .384); err != nil {
		return Ultimate{}, err
	}
	if err := within("volatile matter of raw biomass", p.Volatile, .572, .906); err != nil {
		return Ultimate{}, err
	}
	of := func(k [2]Figure[Share]) Share { return k[0].Likely*p.FixedCarbon + k[1].Likely*p.Volatile }
	return Ultimate{Carbon: of(parikhCarbon), Hydrogen: of(parikhHydrogen), Oxygen: of(parikhOxygen), Ash: p.Ash}, nil
}
