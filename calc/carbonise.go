package calc

import "cmp"

var (
	openFire   = practice.at("open fire from the base, cobs at 15 % or less")
	flames     = newFigure[Minutes]("open fire: lighting to burning by itself", 3, 5, 10, openFire)
	whiteSmoke = newFigure[Minutes]("open fire: white damp smoke after that", 6, 10, 20, fuelFields.judged("until about ten minutes"))
	cover      = newFigure[Minutes]("open fire: lighting to covering", 20, 30, 55, openFire)
	slowFlames = newFigure[Minutes]("restricted holes: lighting to burning by itself", 5, 10, 20, practice)
	slowSmoke  = newFigure[Minutes]("restricted holes: white damp smoke after that", 20, 40, 90, practice)
	slowCover  = newFigure[Minutes]("restricted holes: lighting to closing", 120, 240, 420,
		Source{Title: "Coconut-shell drums with rows of holes", At: "5 to 7 hours; glow followed row by row", Standing: Derived})
)

// BurnClock is the course of one burn, in minutes.
type BurnClock struct {
	Flames     Range[Minutes] // from lighting until it burns by itself
	WhiteSmoke Range[Minutes] // how long the white, damp smoke lasts after that
	Cover      Range[Minutes] // from lighting until it is ready to cover
	Slow       bool           // a drum of restricted holes, which burns for hours
}

// Clock returns the course of a burn of dry waste: an open fire from the base,
// covered after 20 to 55 minutes, or the slow burn of a drum with restricted
// holes (practice). The signs of the smoke overrule it; the two kinds are never
// mixed.
//
// The open fire agrees with practice (white smoke for about ten minutes, ready
// to cover about ten minutes later) once the minutes of lighting up are added.
func Clock(slow bool) BurnClock {
	if slow {
		return BurnClock{slowFlames.Range, slowSmoke.Range, slowCover.Range, true}
	}
	return BurnClock{flames.Range, whiteSmoke.Range, cover.Range, false}
}

// CarboniseInput asks what a burn makes of a charge. Give drums, a mass or a
// volume, of one waste or of a mixture, as in LoadInput.
type CarboniseInput struct {
	LoadInput
	Yield          Range[Share] // a producer's own yield, 0.05 to 0.60; zero: that of the waste
	BedTemperature Celsius      // effective peak of the bed, 300 to 700; zero: 430
	BurnOff        Share        // of the char, burnt by air, 0.001 to 0.60; zero: 0.20
	Late           Minutes      // covered that much later than ready, or sooner if negative, -30 to 120
}

// CarboniseResult is what a burn leaves. Shares are on dry basis.
type CarboniseResult struct {
	Load             LoadResult
	Suitability      Suitability
	Lighting         Lighting
	Char             Range[Kg]    // dry, with its ash
	Unburnt          Range[Kg]    // half-charred pieces beside it, for the next burn
	Yield            Range[Share] // char per dry feed
	YieldKept        Range[Share] // of the yield that dry waste would give
	Ash, FixedCarbon Range[Share]
	Volatile         Range[Share]
	HeatingValue     Range[MJPerKg] // higher, of the dry char
	TenMinutesLate   Range[Kg]      // char burnt away by covering ten minutes later
	TenMinutesEarly  Range[Kg]      // char missed by covering ten minutes sooner
	Mass             MassBalance    // of the likely burn
	Energy           EnergyBalance  // of the likely burn
	Wait             Hours          // from sealing to opening
	Assumed          []*Sourced
}

// Carbonise computes what a burn leaves of a charge. The yield is that of the
// waste in a drum, moved by the moisture of the feed,
//
//	y = y14 (1 - k (u - 0.14)),
//
// and, where bed temperature or burn-off are given, by the ratio of the
// constant fixed-carbon-yield model (see Pyrolyse) to its own default. The ash
// of the feed is found again in the char, A = Af r / y, and what is not ash is
// fixed carbon and volatile matter.
//
// Against ten yields measured in drums and drum-like kilns (maize and pigeonpea
// stalk in a metal drum, Bioresour. Bioprocess. 2023; cotton stalk, Venkatesh et
// al. 2013; coconut shell in a drum with three rows of holes; groundnut shell,
// Sawargaonkar et al. 2024), P50 is 1 % too high on average, and 8 of 10 lie
// between P10 and P90, as they should. No yield was fitted to them, but stalks
// and groundnut told how much of its char such a kiln burns. Cotton and shell
// told nothing: of their four, P50 is 4 % too low and 3 lie inside. Outside lie
// shell at the high end of what a drum gave, and groundnut shell held at 600 C.
func Carbonise(in CarboniseInput) (CarboniseResult, error) {
	var c charge
	if err := c.set(in.LoadInput); err != nil {
		return CarboniseResult{}, err
	}
	if err := cmp.Or(c.setYield(in.Yield), c.setBed(in.BedTemperature, in.BurnOff)); err != nil {
		return CarboniseResult{}, err
	}
	c.conserve()
	if err := c.setLate(in.Late); err != nil {
		return CarboniseResult{}, err
	}
	r := c.carbonise()
	r.Mass, r.Energy = c.balance()
	r.TenMinutesLate, r.TenMinutesEarly = c.covering()
	return r, nil
}

// carbonise reads the ranges of a charge, without its balances.
func (c *charge) carbonise() CarboniseResult {
	o := c.ranges()
	return CarboniseResult{
		Load:         c.load(&o),
		Suitability:  c.suitability,
		Lighting:     LightingAt(c.wettest.Likely),
		Char:         As[Kg](o[charMass]),
		Unburnt:      As[Kg](o[unburntMass]),
		Yield:        As[Share](o[charYield]),
		YieldKept:    As[Share](o[yieldKept]),
		Ash:          As[Share](o[ashShare]),
		FixedCarbon:  As[Share](o[fixedShare]),
		Volatile:     As[Share](o[volatileShare]),
		HeatingValue: As[MJPerKg](o[charHeat]),
		Wait:         c.wait,
		Assumed:      c.assumed,
	}
}
