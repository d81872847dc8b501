package calc

// RecipeInput asks for a batch. A zero field stands for the default its comment
// states. Give drums, a mass or a volume as in LoadInput.
type RecipeInput struct {
	Waste        Waste
	Fills        []Fill          // a mixture of wastes, instead of Waste
	Drums        Count           // 1 to 50; zero: 1, or as many as the mass or volume fills
	Drum         Litre           // nominal size of one drum, 50 to 400; zero: 200
	Mass         Range[Kg]       // moist waste at hand
	Volume       Range[Litre]    // loose waste at hand
	Moisture     Range[WetBasis] // up to 0.65; zero: that of dry waste
	Starch       Starch          // zero: cassava-flour
	Dose         Share           // dry starch per dry char, 0.04 to 0.15; zero: 0.08
	Piece        Piece           // zero: solid, 55 mm by 50 mm
	EffectiveSun Hours           // effective drying hours a day, 1 to 12; zero: 8
	Yield        Range[Share]    // a producer's own yield, 0.05 to 0.60; zero: that of the waste
	Slow         bool            // a drum of restricted holes, which burns for hours
}

// RecipeResult is a batch from the heap of waste to the rack. Char and what is
// made of it are one uncertain quantity: little char goes with little starch,
// little water and few briquettes.
type RecipeResult struct {
	Suitability Suitability
	Lighting    Lighting

	Drums             Count
	FeedPerDrum, Feed Range[Kg]    // moist
	Sacks             Range[Count] // of 100 litres, for the whole feed
	Tins              Range[Count] // of 20 litres, for the whole feed
	DryFeed           Range[Kg]

	Char, Unburnt    Range[Kg]      // dry char, with its ash; half-charred pieces beside it
	Yield            Range[Share]   // char per dry feed
	YieldKept        Range[Share]   // of the yield that dry waste would give
	Ash, FixedCarbon Range[Share]   // of the dry char
	HeatingValue     Range[MJPerKg] // higher, of the dry char

	DryStarch, Starch Range[Kg]    // Starch is as bought
	Cups              Range[Count] // of 250 ml, for flours and dry starches
	Water             Range[Litre]
	PasteRatio        Ratio
	MixMoisture       WetBasis
	Infeasible        *Fault

	Briquettes     Range[Count]
	DryingDays     Range[Days]
	DaysToDryFirst Range[Days] // for the waste itself, when it may not be lit now

	Clock BurnClock // zero when the waste may not be lit
	Wait  Hours     // from sealing to opening

	Assumed []*Sourced
}

// Recipe computes a whole batch: load, burn, binder, briquettes and drying.
// Waste that may not be lit gets no clock, but the days it needs to dry and
// what its char would lose.
func Recipe(in RecipeInput) (RecipeResult, error) {
	var c charge
	r, _, err := c.recipe(in)
	return r, err
}

// RecipeInBrief is Recipe without the FixedCarbon and the HeatingValue of a single
// waste, which stay zero: they are drawn, and that is most of the time of a
// recipe.
func RecipeInBrief(in RecipeInput) (RecipeResult, error) {
	c := charge{brief: true}
	r, _, err := c.recipe(in)
	return r, err
}

// recipe loads the charge with a batch and returns it with the solids of the mix.
func (c *charge) recipe(in RecipeInput) (r RecipeResult, solids Range[Kg], err error) {
	if err := c.set(LoadInput{in.Waste, in.Fills, in.Drums, in.Drum, in.Mass, in.Volume, in.Moisture}); err != nil {
		return RecipeResult{}, solids, err
	}
	if err := c.setYield(in.Yield); err != nil {
		return RecipeResult{}, solids, err
	}
	c.conserve()
	sun := or(in.EffectiveSun, sunnyHours, &c.assumed)
	if err := within("effective drying hours a day", sun, 1, 12); err != nil {
		return RecipeResult{}, solids, err
	}
	burnt := c.carbonise()
	r = RecipeResult{
		Suitability: c.suitability,
		Lighting:    burnt.Lighting,
		Drums:       burnt.Load.Drums,
		FeedPerDrum: burnt.Load.PerDrum,
		Feed:        burnt.Load.Feed,
		Sacks:       burnt.Load.Sacks,
		Tins:        burnt.Load.Tins,
		DryFeed:     burnt.Load.Dry,
		Char:        burnt.Char, Unburnt: burnt.Unburnt,
		Yield: burnt.Yield, YieldKept: burnt.YieldKept,
		Ash: burnt.Ash, FixedCarbon: burnt.FixedCarbon, HeatingValue: burnt.HeatingValue,
		Wait: c.wait,
	}
	paste, err := bind(burnt.Char, charAsBound.Likely, BindInput{Starch: in.Starch, Dose: in.Dose}, burnt.Assumed)
	if err != nil {
		return RecipeResult{}, solids, err
	}
	r.DryStarch, r.Starch, r.Cups = paste.DryStarch, paste.Starch, paste.Cups
	r.Water, r.PasteRatio, r.MixMoisture = paste.Water, paste.PasteRatio, paste.MixMoisture
	r.Infeasible, r.Assumed = paste.Infeasible, paste.Assumed

	if err := in.Piece.Check(); err != nil {
		return RecipeResult{}, solids, err
	}
	perKg := float64(1-pressLoss.Likely) / (float64(wetDensity.Likely) * float64(in.Piece.Volume()) * float64(1-r.MixMoisture))
	r.Briquettes = whole(As[Count](paste.Solids.Scale(perKg)))
	if r.DryingDays, err = daysInSun(in.Piece, r.MixMoisture, sun); err != nil {
		return RecipeResult{}, solids, err
	}
	r.Assumed = append(r.Assumed, wetDensity.Sourced(), pressLoss.Sourced(), diffusivity.Sourced())

	if r.Lighting.MayLight() {
		r.Clock = Clock(in.Slow)
	} else {
		r.DaysToDryFirst = c.daysToDry(sun)
	}
	return r, paste.Solids, nil
}
