package calc

import "math"

var (
	moistureRule = Source{Title: "Yield against moisture of kilns in Benin and Thailand and the FAO portable steel kiln", At: "relative loss per point of dry-basis moisture; published effects run from little to halved", Standing: Derived}
	yieldLoss    = newFigure[Ratio]("relative loss of yield per unit of dry-basis moisture", .2, .8, 1.2, moistureRule)
	yieldDry     = constant[DryBasis]("moisture of the feed a drum yield holds for", .14, moistureRule)
	mostCharAsh  = constant[Share]("most ash of a char", .95, judgement)

	ashRetention = newFigure[Share]("feed ash found again in the char", .9, 1, 1, Source{Title: "Ash balance of slow pyrolysis; part of the potassium and chlorine leaves", Standing: Derived})
	charVolatile = newFigure[Share]("volatile matter of dry ash-free drum char", .12, .195, .38, miles.at("exp(-0.0038 T) through the points of wood at 300, 500 and 700 C, taken at 430 C; kiln chars run higher"))
	brandShare   = newFigure[Ratio]("half-charred pieces per char", .031, .087, .25, hung.at("3.95 % part-charred beside 48.25 % char at the best setting; spread by judgement"))

	openFire   = practice.at("open fire from the base, cobs at 15 % or less")
	flames     = newFigure[Minutes]("open fire: lighting to burning by itself", 3, 5, 10, openFire)
	whiteSmoke = newFigure[Minutes]("open fire: white damp smoke after that", 6, 10, 20, fuelFields)
	cover      = newFigure[Minutes]("open fire: lighting to covering", 20, 30, 55, openFire)
	slowFlames = newFigure[Minutes]("restricted holes: lighting to burning by itself", 5, 10, 20, practice)
	slowSmoke  = newFigure[Minutes]("restricted holes: white damp smoke after that", 20, 40, 90, practice)
	slowCover  = newFigure[Minutes]("restricted holes: lighting to closing", 120, 240, 420,
		Source{Title: "Coconut-shell drums with rows of holes", At: "5 to 7 hours", Standing: Read})
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
// holes. The signs of the smoke overrule it; the two kinds are never mixed.
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
// volume as in LoadInput.
type CarboniseInput struct {
	LoadInput
	Yield Range[Share] // a producer's own yield, 0.05 to 0.60; zero: that of the waste
}

// CarboniseResult is what a burn leaves. Shares are on dry basis.
type CarboniseResult struct {
	Load             LoadResult
	Lighting         Lighting
	Char, Unburnt    Range[Kg]    // dry char with its ash; half-charred pieces beside it
	Yield            Range[Share] // char per dry feed
	YieldKept        Range[Share] // of the yield that dry waste would give
	Ash, FixedCarbon Range[Share]
	Volatile         Range[Share]
	HeatingValue     Range[MJPerKg] // higher, of the dry char
	Assumed          []Sourced
}

// Carbonise computes what a burn leaves of a charge. The yield is that of the
// waste in a drum, moved by the moisture of the feed,
//
//	y = y14 (1 - k (u - 0.14)),
//
// the ash of the feed is found again in the char, A = Af r / y, and what is not
// ash is fixed carbon and volatile matter.
func Carbonise(in CarboniseInput) (CarboniseResult, error) {
	c, err := newCharge(in.LoadInput)
	if err != nil {
		return CarboniseResult{}, err
	}
	if err := c.setYield(in.Yield); err != nil {
		return CarboniseResult{}, err
	}
	return c.carbonise(), nil
}

func (c *charge) carbonise() CarboniseResult {
	o := c.ranges()
	return CarboniseResult{
		Load:         c.load(o),
		Lighting:     LightingAt(WetBasis(c.causes[moisture].Likely)),
		Char:         As[Kg](o[charMass]),
		Unburnt:      As[Kg](o[unburntMass]),
		Yield:        As[Share](o[charYield]),
		YieldKept:    As[Share](o[yieldKept]),
		Ash:          As[Share](o[ashShare]),
		FixedCarbon:  As[Share](o[fixedShare]),
		Volatile:     As[Share](o[volatileShare]),
		HeatingValue: As[MJPerKg](o[charHeat]),
		Assumed:      c.assumed,
	}
}

// The uncertain causes of what a charge gives.
const (
	amount = iota // litres, or kilograms when the mass is known
	density
	moisture
	dryYield
	lossByMoisture
	feedAsh
	retention
	volatileDAF
	brands
	causes
)

// What a charge gives.
const (
	feedMass = iota
	dryMass
	looseVolume
	charMass
	unburntMass
	charYield
	yieldKept
	ashShare
	fixedShare
	volatileShare
	charHeat
	outcomes

	products = fixedShare // those before it are products of their causes
)

// charge is one heap of waste on its way through the drum.
type charge struct {
	feed    *Feedstock
	drums   Count
	even    bool      // the feed is spread over the drums, instead of filling all but the last
	full    Range[Kg] // moist waste in a full drum
	weighed bool      // the amount is a mass
	causes  [causes]Range[float64]
	assumed []Sourced
}

func newCharge(in LoadInput) (*charge, error) {
	f, err := feedOf(in.Waste)
	if err != nil {
		return nil, err
	}
	c := &charge{feed: f, assumed: make([]Sourced, 0, 24)}
	w := either(in.Moisture, dryFeed, &c.assumed)
	drum := or(in.Drum, standardDrum, &c.assumed)
	if err := ranged("moisture on wet basis", w, 0, wettestFeed.Likely); err != nil {
		return nil, err
	}
	if err := within("litres of a drum", drum, 50, 400); err != nil {
		return nil, err
	}
	if in.Drums != 0 {
		if err := within("drums", in.Drums, 1, mostDrums.Likely); err != nil {
			return nil, err
		}
	}
	moist := Range[float64]{airDryOf(w.Low), airDryOf(w.Likely), airDryOf(w.High)}
	room := float64(drum) * float64(f.Fill.Likely)
	c.full = rangeOf[Kg](spreadOf(f.Density.Range).times(spreadOf(usableFill.Range)).times(spreadOf(moist))).
		Scale(room / 1000)
	c.assumed = append(c.assumed, f.Density.Sourced())

	switch {
	case in.Mass != Range[Kg]{}:
		if err := ranged("kilograms of waste", in.Mass, .1, mostWaste.Likely); err != nil {
			return nil, err
		}
		c.weighed, c.causes[amount] = true, As[float64](in.Mass)
		c.drums = Count(math.Ceil(float64(in.Mass.Likely / c.full.Likely)))
	case in.Volume != Range[Litre]{}:
		if err := ranged("litres of waste", in.Volume, 1, Litre(mostDrums.Likely)*drum); err != nil {
			return nil, err
		}
		c.causes[amount] = As[float64](in.Volume)
		c.drums = Count(math.Ceil(float64(in.Volume.Likely) / room))
	default:
		c.drums = max(in.Drums, 1)
		c.causes[amount] = As[float64](usableFill.Scale(room * float64(c.drums)))
		c.assumed = append(c.assumed, usableFill.Sourced())
	}
	c.even = in.Drums != 0 || c.drums == 1
	if in.Drums != 0 {
		c.drums = in.Drums
	}
	c.causes[density] = As[float64](f.Density.Range)
	c.causes[moisture] = As[float64](w)
	c.causes[lossByMoisture] = As[float64](yieldLoss.Range)
	c.causes[feedAsh] = As[float64](f.Ash.Range)
	c.causes[retention] = As[float64](ashRetention.Range)
	c.causes[volatileDAF] = As[float64](charVolatile.Range)
	c.causes[brands] = As[float64](brandShare.Range)
	return c, nil
}

func (c *charge) setYield(own Range[Share]) error {
	y := either(own, c.feed.Yield, &c.assumed)
	c.assumed = append(c.assumed, yieldLoss.Sourced(), c.feed.Ash.Sourced(), charVolatile.Sourced(), brandShare.Sourced())
	c.causes[dryYield] = As[float64](y)
	return ranged("yield of dry waste", y, .05, .60)
}

// airDryOf is the mass of moist waste per mass of the same waste air dry.
func airDryOf(w WetBasis) float64 { return float64((1 - fillMoisture.Likely) / (1 - w)) }

// burn computes what one draw of the causes gives.
func (c *charge) burn(x *[causes]float64) (o [outcomes]float64) {
	w := WetBasis(x[moisture])
	if c.weighed {
		o[feedMass] = x[amount]
		o[looseVolume] = 1000 * x[amount] / x[density] / airDryOf(w)
	} else {
		o[looseVolume] = x[amount]
		o[feedMass] = x[amount] / 1000 * x[density] * airDryOf(w)
	}
	o[dryMass] = float64(w.DryOf(Kg(o[feedMass])))

	kept := keptAt(w, x[lossByMoisture])
	ash := x[feedAsh] * x[retention]
	y := max(x[dryYield]*kept, ash/float64(mostCharAsh.Likely))
	o[yieldKept] = min(kept, 1)
	o[charYield] = y
	o[charMass] = o[dryMass] * y
	o[unburntMass] = o[charMass] * x[brands]

	p := composition(ash/y, x[volatileDAF])
	o[ashShare], o[fixedShare], o[volatileShare] = float64(p.Ash), float64(p.FixedCarbon), float64(p.Volatile)
	o[charHeat] = float64(p.heat())
	return o
}

// keptAt is the part of the dry yield that feed of moisture w keeps. Beyond 30 %
// no drum should be lit and the published losses end; the straight line is
// continued as the exponential that meets it there, so that it never crosses
// zero.
func keptAt(w WetBasis, loss float64) float64 {
	end := tooWetFrom.Likely
	kept := 1 - loss*float64(min(w, end).Dry()-yieldDry.Likely)
	if w > end {
		kept *= math.Exp(-loss * float64(w.Dry()-end.Dry()) / kept)
	}
	return kept
}

// ranges combines the causes: each is moved to its P10 and P90 alone, and their
// effects on every outcome are added on the logarithms. What is not ash is
// shared between fixed carbon and volatile matter, which is no product, so the
// two and the heating value are drawn.
func (c *charge) ranges() *[outcomes]Range[float64] {
	var x [causes]float64
	for i, r := range c.causes {
		x[i] = r.Likely
	}
	var s [products]spread
	likely := c.burn(&x)
	for j := range s {
		s[j].likely = likely[j]
	}
	for i, r := range c.causes {
		if r.Low == r.High {
			continue
		}
		x[i] = r.Low
		low := c.burn(&x)
		x[i] = r.High
		high := c.burn(&x)
		x[i] = r.Likely
		for j := range s {
			s[j].move(low[j], high[j])
		}
	}
	var out [outcomes]Range[float64]
	for j := range s {
		out[j] = rangeOf[float64](s[j])
	}
	var drawn [outcomes - products][draws]float64
	for k := range plane {
		p := composition(s[ashShare].at(plane[k][0]), drawnVolatile[k])
		drawn[fixedShare-products][k] = float64(p.FixedCarbon)
		drawn[volatileShare-products][k] = float64(p.Volatile)
		drawn[charHeat-products][k] = float64(p.heat())
	}
	for j := range drawn {
		out[products+j] = around(&drawn[j], likely[products+j])
	}
	return &out
}

// drawnVolatile is the volatile matter of char at the points of the plane.
var drawnVolatile = func() (drawn [draws]float64) {
	s := sidesOf(charVolatile.Range)
	for k := range drawn {
		drawn[k] = s.at(plane[k][1])
	}
	return drawn
}()

// composition shares what is not ash between fixed carbon and volatile matter.
func composition(ash, volatile float64) Proximate {
	ash = min(ash, float64(mostCharAsh.Likely))
	v := (1 - ash) * volatile
	return Proximate{FixedCarbon: Share(1 - ash - v), Volatile: Share(v), Ash: Share(ash)}
}
