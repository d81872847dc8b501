package calc

// RecipeInput asks for a batch. A zero field stands for the default its comment
// states. Give drums, a mass or a volume as in LoadInput.
type RecipeInput struct {
	Waste        Waste
	Drums        Count           // zero: 1, or as many as the mass or volume fills
	Drum         Litre           // nominal size of one drum; zero: 200
	Mass         Range[Kg]       // moist waste at hand
	Volume       Range[Litre]    // loose waste at hand
	Moisture     Range[WetBasis] // zero: that of dry waste
	Starch       Starch          // zero: cassava-flour
	Dose         Share           // dry starch per dry char; zero: 0.08
	Piece        Piece           // zero: solid, 55 mm by 50 mm
	EffectiveSun Hours           // effective drying hours a day; zero: 8
	Yield        Range[Share]    // a producer's own yield; zero: that of the waste
	Slow         bool            // a drum of restricted holes, which burns for hours
}

// RecipeResult is a batch from the heap of waste to the rack.
type RecipeResult struct {
	Suitability Suitability
	Lighting    Lighting

	Drums             Count
	FeedPerDrum, Feed Range[Kg]    // moist
	Sacks             Range[Count] // of 100 litres, for the whole feed
	Tins              Range[Count] // of 20 litres, for the whole feed
	DryFeed           Range[Kg]

	Char, Unburnt    Range[Kg]    // dry char, with its ash; half-charred pieces beside it
	Yield            Range[Share] // char per dry feed
	YieldKept        Range[Share] // of the yield that dry waste would give
	Ash, FixedCarbon Range[Share]
	HeatingValue     Range[MJPerKg] // higher, of the dry char

	DryStarch, Starch Range[Kg]    // Starch is as bought
	Cups              Range[Count] // of flour, 250 ml level
	Water             Range[Litre]
	PasteRatio        Ratio
	MixMoisture       WetBasis
	Infeasible        *Infeasible

	Briquettes     Range[Count]
	DryingDays     Range[Days]
	DaysToDryFirst Range[Days] // for the waste itself, when it may not be lit now

	Clock BurnClock // zero when the waste may not be lit
	Wait  Hours     // from sealing to opening

	Assumed []Sourced
}
