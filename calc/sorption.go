package calc

import "math"

var charSorption = Source{
	Title: "Guggenheim-Anderson-de Boer curve through rice-husk and tobacco-stem biochar, 6.4 and 7.7 % at 30 C and 70 % humidity, and the 5 to 8 % of charcoal in air",
	At:    "judgement fit", Standing: Derived,
}

var (
	charMonolayer = newFigure("water in the first layer on char", DryBasis(0.035*0.7), 0.035, 0.035*1.3, charSorption)
	charEnergy    = constant("binding of the first layer on char", Ratio(12), charSorption)
	charShape     = constant("binding of the further layers on char", Ratio(0.72), charSorption)
	charWarmth    = constant("fall of the sorption of char with warmth", PerCelsius(0.006), charSorption)
)

// Sorption is what a material holds in the long run: the moisture at which it
// neither dries nor takes up water in air of temperature t and relative humidity
// rh. Humidity is taken as 0.02 to 0.95, warmth as 0 to 70 C.
type Sorption func(t Celsius, rh Share) DryBasis

// CharcoalEquilibrium is the Sorption of a starch-bound charcoal briquette, a
// Guggenheim-Anderson-de Boer curve fitted by judgement: 6.3 % (dry basis) at
// 30 C and 70 % humidity. Hard clean char holds 0.7 of it, soft char or much
// starch 1.3.
func CharcoalEquilibrium(t Celsius, rh Share) DryBasis {
	temp, aw := sorptionState(t, rh)
	c, a := float64(charEnergy.Likely), float64(charShape.Likely)*aw
	held := float64(charMonolayer.Likely) * c * a / ((1 - a) * (1 - a + c*a))
	return DryBasis(held * math.Exp(-float64(charWarmth.Likely)*(temp-25)))
}

// WoodEquilibrium is the Sorption of wood after Hailwood and Horrobin, with the
// coefficients of the Wood Handbook, chapter 4 (from memory); it stands for crop
// wastes.
// Against static tests of maize stover it is right in humid air and 3 to 5
// points low in very dry air.
func WoodEquilibrium(t Celsius, rh Share) DryBasis {
	temp, h := sorptionState(t, rh)
	w := 349 + temp*(1.29+temp*0.0135)
	k := 0.805 + temp*(0.000736-temp*0.00000273)
	k1 := 6.27 - temp*(0.00938+temp*0.000303)
	k2 := 1.91 + temp*(0.0407-temp*0.000293)
	kh := k * h
	once, twice := k1*kh, k1*k2*kh*kh
	return DryBasis(18 / w * (kh/(1-kh) + (once+2*twice)/(1+once+twice)))
}

func sorptionState(t Celsius, rh Share) (temp, humidity float64) {
	return min(max(float64(t), 0), 70), min(max(float64(rh), 0.02), 0.95)
}
