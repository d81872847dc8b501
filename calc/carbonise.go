package calc

// BurnClock is the course of one burn, in minutes from lighting.
type BurnClock struct {
	Flames     Range[Minutes] // until it burns by itself
	WhiteSmoke Range[Minutes] // how long the white, damp smoke lasts after that
	Cover      Range[Minutes] // from lighting until it is ready to cover
	Slow       bool           // a drum of restricted holes, which burns for hours
}

// CarboniseInput asks what a burn makes of a charge.
type CarboniseInput struct {
	Waste    Waste
	Mass     Range[Kg]       // moist waste; zero: one 200 litre drum
	Moisture Range[WetBasis] // zero: that of dry waste
	Yield    Range[Share]    // a producer's own yield; zero: that of the waste
}

// CarboniseResult is what a burn leaves.
type CarboniseResult struct {
	Lighting         Lighting
	DryFeed          Range[Kg]
	Char, Unburnt    Range[Kg]
	Yield, YieldKept Range[Share]
	Ash, FixedCarbon Range[Share]
	Volatile         Range[Share]
	HeatingValue     Range[MJPerKg] // higher, of the dry char
	Assumed          []Sourced
}
