package main

import (
	"cmp"
	"errors"

	"cobline/calc"
)

// answer is what a method says, or why it refuses to.
type answer[T any] struct {
	Value   *T
	Refused *string
}

func answered[T any](v T, err error) answer[T] {
	if err != nil {
		return answer[T]{Refused: new(err.Error())}
	}
	return answer[T]{Value: &v}
}

// figure returns the likely value of a figure of calc.
func figure[T ~float64](name string) T {
	for f := range calc.Figures() {
		if f.Name == name {
			return T(f.Likely)
		}
	}
	panic("no figure " + name)
}

// pyrolyseInput asks for the char of a waste at one temperature.
type pyrolyseInput struct {
	Waste   calc.Waste
	Bed     calc.Celsius // effective peak of the bed, 300 to 700, the comparisons 200 to 1000; zero: 430
	BurnOff *calc.Share  // of the char, burnt by air, up to 0.60; not given: 0.20
}

// pyrolyseResult is the char by the model of recipes and by other published
// correlations, each within its own range.
type pyrolyseResult struct {
	Char            answer[calc.Pyrolysis]
	DryAshFreeYield *calc.Share // of Char
	ByProximate     *charByProximate
	AllPyrolysis    allPyrolysis
}

// charByProximate is what other correlations say of the composition of Char.
type charByProximate struct {
	HeatingValue    answer[calc.MJPerKg]
	Lignocellulosic calc.MJPerKg // heating value by Cordero et al.
	Carbon          answer[calc.Share]
}

func byProximate(p calc.Proximate) *charByProximate {
	return &charByProximate{answered(p.HeatingValue()), p.LignocellulosicHeatingValue(), answered(p.CharCarbon())}
}

// allPyrolysis is char by Neves et al., who know only the temperature.
type allPyrolysis struct {
	DryAshFreeYield answer[calc.Share]
	Elements        answer[calc.Ultimate]
	HeatingValue    *answer[calc.MJPerKg] // of those elements
}

func pyrolyse(in pyrolyseInput) (pyrolyseResult, error) {
	feed, err := calc.Feed(in.Waste)
	if err != nil {
		return pyrolyseResult{}, err
	}
	bed := cmp.Or(in.Bed, figure[calc.Celsius]("effective peak temperature of a drum's bed"))
	burnOff := figure[calc.Share]("char burnt by air leaks and late covering")
	if in.BurnOff != nil {
		burnOff = *in.BurnOff
	}
	out := pyrolyseResult{
		Char: answered(calc.Pyrolyse(in.Waste, bed, burnOff)),
		AllPyrolysis: allPyrolysis{
			DryAshFreeYield: answered(calc.AllPyrolysisYield(bed)), Elements: answered(calc.AllPyrolysisChar(bed)),
		},
	}
	if char := out.Char.Value; char != nil {
		ash := feed.Ash.Likely
		out.DryAshFreeYield = new((char.Yield - ash) / (1 - ash))
		out.ByProximate = byProximate(char.Proximate)
	}
	if elements := out.AllPyrolysis.Elements.Value; elements != nil {
		out.AllPyrolysis.HeatingValue = new(answered(elements.HeatingValue()))
	}
	return out, nil
}

// heatingInput is the composition of a dry fuel or char: what heat does to it,
// or its elements, or both.
type heatingInput struct {
	FixedCarbon calc.Share    // of the dry fuel, 0.01 to 0.915
	Volatile    calc.Share    // of the dry fuel, 0.0092 to 0.906
	Carbon      calc.Share    // of the dry fuel, up to 0.9225
	Hydrogen    calc.Share    // of the dry fuel, 0.0043 to 0.2515
	Oxygen      calc.Share    // of the dry fuel, up to 0.50
	Nitrogen    calc.Share    // of the dry fuel, up to 0.056
	Sulphur     calc.Share    // of the dry fuel, up to 0.9408
	Ash         calc.Share    // of the dry fuel, up to 0.714; from 0.0012 with fixed carbon
	Higher      calc.MJPerKg  // measured, dry, instead of that of the elements
	Moisture    calc.WetBasis // as fired, up to 0.95; zero: dry
}

// heatingResult is the heat of one kilogram by each method that has its inputs.
type heatingResult struct {
	ByElements  *answer[calc.MJPerKg] // higher, dry
	ByProximate *heatByProximate
	Net         *calc.MJPerKg // as fired, of the measured value or that of the elements
}

type heatByProximate struct {
	charByProximate
	RawElements answer[calc.Ultimate] // if it is raw biomass
}

func heating(in heatingInput) (heatingResult, error) {
	var out heatingResult
	err := cmp.Or(
		within("moisture as fired", in.Moisture, 0, .95), within("measured heating value", in.Higher, 0, 50),
		within("fixed carbon, volatile matter and ash together", in.FixedCarbon+in.Volatile+in.Ash, 0, 1.02),
		within("elements and ash together", in.Carbon+in.Hydrogen+in.Oxygen+in.Nitrogen+in.Sulphur+in.Ash, 0, 1.02),
	)
	if err != nil {
		return out, err
	}
	higher := in.Higher
	if in.Carbon > 0 {
		out.ByElements = new(answered(calc.Ultimate{
			Carbon: in.Carbon, Hydrogen: in.Hydrogen, Oxygen: in.Oxygen, Nitrogen: in.Nitrogen, Sulphur: in.Sulphur, Ash: in.Ash,
		}.HeatingValue()))
		if v := out.ByElements.Value; v != nil {
			higher = cmp.Or(higher, *v)
		}
	}
	if higher != 0 {
		out.Net = new(calc.NetHeatingValue(higher, in.Hydrogen, in.Oxygen, in.Moisture))
	}
	if in.FixedCarbon > 0 || in.Volatile > 0 {
		p := calc.Proximate{FixedCarbon: in.FixedCarbon, Volatile: in.Volatile, Ash: in.Ash}
		out.ByProximate = &heatByProximate{*byProximate(p), answered(p.RawUltimate())}
	}
	if out == (heatingResult{}) {
		return out, errors.New("say what the fuel is: give its fixed carbon and volatile matter, its elements, or its measured heating value")
	}
	return out, nil
}
