package calc

// LoadInput asks what a drum load weighs. Give drums, a mass or a volume; the
// mass wins over the volume and the volume over the drums.
type LoadInput struct {
	Waste    Waste
	Drums    Count           // zero: 1
	Drum     Litre           // nominal size of one drum; zero: 200
	Mass     Range[Kg]       // moist waste at hand
	Volume   Range[Litre]    // loose waste at hand, such as sacks or tins times their litres
	Moisture Range[WetBasis] // zero: that of dry waste
}

// LoadResult is a load in kilograms and in the measures of a farm.
type LoadResult struct {
	Drums   Count        // drum loads it makes, whole ones
	PerDrum Range[Kg]    // moist waste in one drum
	Feed    Range[Kg]    // moist waste in all
	Dry     Range[Kg]    // dry matter in it
	Volume  Range[Litre] // loose volume of the feed
	Sacks   Range[Count] // of 100 litres
	Tins    Range[Count] // of 20 litres
	Assumed []Sourced
}
