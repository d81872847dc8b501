package calc

import "math"

var (
	drumInside = constant[Metre]("inside diameter of a 200 litre steel drum", .572, drumTrade)
	drumHeight = constant[Metre]("inside height of a 200 litre open-head drum", .833, drumTrade)
	headspace  = constant[Metre]("headspace above the charge", .04, practice.at("3 to 5 cm"))
	flueWidth  = constant[Metre]("width of the flue a centre stick leaves", .10, practice)

	standardDrum = constant[Litre]("nominal size of a drum", 200, drumTrade)
	usableFill   = newFigure[Share]("usable fill per nominal volume", .95, 1, 1.05,
		drumTrade.judged("0.19 to 0.21 m3 of a 208 litre drum less headspace and flue"))
	fillMoisture = constant[WetBasis]("moisture at which loose densities hold", .13, estimate.at("air dry, 12 to 15 %"))
	mostDrums    = constant[Count]("most drums of one recipe", 50, judged)
	mostWaste    = constant[Kg]("most waste of one recipe", 6000, judged.at("50 drums of the heaviest load"))

	sackVolume = constant[Litre]("volume of a sack", 100, practice.at("grain sack, to the brim 65 to 140 litres"))
	tinVolume  = constant[Litre]("volume of a tin or bucket", 20, practice.at("17 to 21 litres"))
)

// Cylinder is the inside of a drum.
type Cylinder struct{ Diameter, Height Metre }

// StandardDrum returns the inside of a 200 litre open-head steel drum, from
// trade sheets of ISO 15750-1 drums.
func StandardDrum() Cylinder { return Cylinder{drumInside.Likely, drumHeight.Likely} }

// Volume is the whole inside, of any drum with positive measures.
func (c Cylinder) Volume() CubicMetre {
	return CubicMetre(math.Pi / 4 * c.Diameter * c.Diameter * c.Height)
}

// Usable is the inside less 4 cm of headspace and the 10 cm flue of a centre stick
// (practice), of a drum wider and higher than those.
func (c Cylinder) Usable() CubicMetre {
	flue := Cylinder{flueWidth.Likely, c.Height - headspace.Likely}
	return Cylinder{c.Diameter, flue.Height}.Volume() - flue.Volume()
}

// Fill is one waste of a mixture.
type Fill struct {
	Waste    Waste
	Share    Share           // of the loose volume, as sacks or layers; all of them together are 1
	Moisture Range[WetBasis] // zero: that of the whole load
}

// LoadInput asks what a drum load weighs. Give drums, a mass or a volume; the
// mass wins over the volume and the volume over the drums.
type LoadInput struct {
	Waste    Waste
	Fills    []Fill          // a mixture of two to six wastes, instead of Waste
	Drums    Count           // 1 to 50; zero: 1
	Drum     Litre           // nominal size of one drum, 50 to 400; zero: 200
	Mass     Range[Kg]       // moist waste at hand
	Volume   Range[Litre]    // loose waste at hand, such as sacks or tins times their litres
	Moisture Range[WetBasis] // up to 0.65; zero: that of dry waste
}

// LoadResult is a load in kilograms and in the measures of a farm.
type LoadResult struct {
	Drums   Count        // whole drum loads, the last one perhaps not full
	PerDrum Range[Kg]    // moist waste in one full drum
	Feed    Range[Kg]    // moist waste in all
	Dry     Range[Kg]    // dry matter in it
	Volume  Range[Litre] // loose volume of the feed
	Sacks   Range[Count] // of 100 litres
	Tins    Range[Count] // of 20 litres
	Assumed []*Sourced
}

// Load computes what fills drums, or what a mass or a volume of loose waste
// amounts to, from the loose density of the waste: m = rho V, with the dry
// matter of a volume the same whatever its moisture. A mixture is the sum of its
// parts. Densities are estimates (+-30 %) that one weighed fill replaces.
func Load(in LoadInput) (LoadResult, error) {
	c := charge{brief: true}
	if err := c.set(in); err != nil {
		return LoadResult{}, err
	}
	o := c.ranges()
	return c.load(&o), nil
}

// Containers returns how many containers of 0.1 to 1000 litres a mass of loose,
// air-dry waste fills, from 1 g to 6 t: m/(rho v), with the densities of Load.
func Containers(w Waste, m Range[Kg], v Litre) (Range[Count], error) {
	f, err := feedOf(w)
	if err != nil {
		return Range[Count]{}, err
	}
	if err := ranged("kilograms of waste", m, .001, mostWaste.Likely); err != nil {
		return Range[Count]{}, err
	}
	if err := within("litres of the container", v, .1, 1000); err != nil {
		return Range[Count]{}, err
	}
	return rangeOf[Count](spreadOf(m).over(spreadOf(f.Density.Range))).Scale(1000 / float64(v)), nil
}

func (c *charge) load(o *outcomeRanges) LoadResult {
	r := LoadResult{
		Drums: c.drums, Feed: As[Kg](o[feedMass]), Dry: As[Kg](o[dryMass]), Volume: As[Litre](o[looseVolume]),
		PerDrum: c.full, Assumed: c.assumed,
	}
	switch {
	case c.even:
		r.PerDrum = r.Feed.Scale(1 / float64(c.drums))
	case c.parts != nil:
		r.PerDrum = r.Feed.Scale(float64(c.full.Likely / r.Feed.Likely))
	}
	r.Sacks = As[Count](r.Volume.Scale(1 / float64(sackVolume.Likely)))
	r.Tins = As[Count](r.Volume.Scale(1 / float64(tinVolume.Likely)))
	return r
}
