package calc

// Proximate is the composition of a fuel by what heat does to it, on dry basis.
type Proximate struct{ FixedCarbon, Volatile, Ash Share }

// Ultimate is the composition of a fuel by element, on dry basis.
type Ultimate struct{ Carbon, Hydrogen, Oxygen, Nitrogen, Sulphur, Ash Share }

// Coefficients of the heating-value correlations, in MJ per kg of the named part.
var (
	heatOfFixedCarbon = constant[MJPerKg]("higher heating value of fixed carbon", 35.36, parikh05)
	heatOfVolatile    = constant[MJPerKg]("higher heating value of volatile matter", 15.59, parikh05)
	heatOfAsh         = constant[MJPerKg]("heating value lost to ash", .78, parikh05)

	heatOfCarbon       = constant[MJPerKg]("higher heating value of carbon", 34.91, cp02)
	heatOfHydrogen     = constant[MJPerKg]("higher heating value of hydrogen", 117.83, cp02)
	heatOfSulphur      = constant[MJPerKg]("higher heating value of sulphur", 10.05, cp02)
	heatLostToOxygen   = constant[MJPerKg]("heating value lost to oxygen", 10.34, cp02)
	heatLostToNitrogen = constant[MJPerKg]("heating value lost to nitrogen", 1.51, cp02)
	heatLostToMineral  = constant[MJPerKg]("heating value lost to ash, by element", 2.11, cp02)

	corderoFixedCarbon = constant[MJPerKg]("higher heating value of fixed carbon in lignocellulosics and their chars", 35.43, cordero01)
	corderoVolatile    = constant[MJPerKg]("higher heating value of volatile matter in lignocellulosics and their chars", 17.08, cordero01)

	iso18125         = Source{Title: "ISO 18125 Solid biofuels: determination of calorific value", At: "net calorific value at constant pressure", Standing: Remembered}
	netLossHydrogen  = constant[MJPerKg]("net heating value lost to hydrogen", 21.22, iso18125)
	netLossOxygen    = constant[MJPerKg]("net heating value lost to oxygen", .08, iso18125)
	heatOfVaporising = constant[MJPerKg]("heat of vaporising water at 25 C", 2.443, iso18125)
)

// HeatingValue returns the higher heating value of a dry fuel or char from its
// proximate composition, valid for fixed carbon 0.01 to 0.915, volatile matter
// 0.0092 to 0.906 and ash 0.0012 to 0.777; average absolute error 3.74 %
// (Parikh, Channiwala, Ghosal 2005, Fuel 84:487).
func (p Proximate) HeatingValue() (MJPerKg, error) {
	if err := within("fixed carbon", p.FixedCarbon, .01, .915); err != nil {
		return 0, err
	}
	if err := within("volatile matter", p.Volatile, .0092, .906); err != nil {
		return 0, err
	}
	if err := within("ash", p.Ash, .0012, .777); err != nil {
		return 0, err
	}
	return p.heat(), nil
}

func (p Proximate) heat() MJPerKg {
	return MJPerKg(p.FixedCarbon)*heatOfFixedCarbon.Likely + MJPerKg(p.Volatile)*heatOfVolatile.Likely -
		MJPerKg(p.Ash)*heatOfAsh.Likely
}

// LignocellulosicHeatingValue is HeatingValue by the correlation for
// lignocellulosics and their chars alone, a second opinion without a stated
// range (Cordero et al. 2001, Fuel 80:1567).
func (p Proximate) LignocellulosicHeatingValue() MJPerKg {
	return MJPerKg(p.FixedCarbon)*corderoFixedCarbon.Likely + MJPerKg(p.Volatile)*corderoVolatile.Likely
}

// HeatingValue returns the higher heating value of a dry fuel or char from its
// elements, valid for carbon up to 0.9225, hydrogen 0.0043 to 0.2515, oxygen up
// to 0.50, nitrogen up to 0.056, sulphur up to 0.9408 and ash up to 0.714;
// average absolute error 1.45 % (Channiwala, Parikh 2002, Fuel 81:1051).
func (u Ultimate) HeatingValue() (MJPerKg, error) {
	for _, part := range [...]struct {
		what           string
		got, low, high Share
	}{
		{"carbon", u.Carbon, 0, .9225},
		{"hydrogen", u.Hydrogen, .0043, .2515},
		{"oxygen", u.Oxygen, 0, .50},
		{"nitrogen", u.Nitrogen, 0, .056},
		{"sulphur", u.Sulphur, 0, .9408},
		{"ash", u.Ash, 0, .714},
	} {
		if err := within(part.what, part.got, part.low, part.high); err != nil {
			return 0, err
		}
	}
	return MJPerKg(u.Carbon)*heatOfCarbon.Likely + MJPerKg(u.Hydrogen)*heatOfHydrogen.Likely +
		MJPerKg(u.Sulphur)*heatOfSulphur.Likely - MJPerKg(u.Oxygen)*heatLostToOxygen.Likely -
		MJPerKg(u.Nitrogen)*heatLostToNitrogen.Likely - MJPerKg(u.Ash)*heatLostToMineral.Likely, nil
}

// NetHeatingValue returns the net heating value, as fired with moisture m, of a
// fuel whose dry higher heating value and dry hydrogen and oxygen, shares of 0 to
// 1, are given (ISO 18125, net calorific value at constant pressure; from memory).
// Very wet fuel has less than none.
func NetHeatingValue(higher MJPerKg, hydrogen, oxygen Share, m WetBasis) MJPerKg {
	dry := higher - MJPerKg(hydrogen)*netLossHydrogen.Likely - MJPerKg(oxygen)*netLossOxygen.Likely
	return dry*MJPerKg(1-m) - MJPerKg(m)*heatOfVaporising.Likely
}
