package calc

var (
	steamHeat     = constant[MJPerKg]("heat of vaporising water at 100 C", 2.257, Source{Title: "Steam tables", Standing: Remembered})
	waterWarming  = constant[KilojoulePerKgKelvin]("specific heat of water", 4.19, steamHeat.Source)
	steamWarming  = constant[KilojoulePerKgKelvin]("specific heat of steam", 2.0, steamHeat.Source)
	heatFrom      = constant[Celsius]("temperature from which heat is counted", 25, judged)
	steamLeaves   = newFigure[Celsius]("temperature at which steam leaves the charge", 200, 300, 400, judged)
	chargeWarming = newFigure[KilojoulePerKgKelvin]("specific heat of the charge", 1.2, 1.5, 1.8, Source{Title: "Wood handbooks, specific heat", Standing: Remembered})
	shellLoss     = newFigure[MJ]("heat lost through the wall of a drum while it burns", 6, 12, 36, Source{Title: "A hot third of the wall at 400 C, 13 kW/m2, for half an hour", Standing: Derived})
	steelWarming  = newFigure[MJ]("heat in the steel of a drum", 3, 3.5, 4, Source{Title: "18 to 25 kg of steel, 0.49 kJ/kg K, 350 K", Standing: Derived})
	flameReaching = newFigure[Share]("heat of the flame that reaches the charge", .2, .35, .5, judged)
	feedNetHeat   = constant[MJPerKg]("net heating value of dry crop waste", 17, judged)
	brandHeat     = constant[MJPerKg]("higher heating value of half-charred pieces", 22, judged.at("between feed and char"))
)

// Classes is a mass by what heat does to it.
type Classes struct {
	Water       Kg
	Ash         Kg
	FixedCarbon Kg // what slow heating makes, or can make, of it
	Volatile    Kg
}

// Total is the whole mass.
func (c Classes) Total() Kg { return c.Water + c.Ash + c.FixedCarbon + c.Volatile }

func (c Classes) plus(o Classes) Classes {
	return Classes{c.Water + o.Water, c.Ash + o.Ash, c.FixedCarbon + o.FixedCarbon, c.Volatile + o.Volatile}
}

func (c Classes) times(k Kg) Classes {
	return Classes{c.Water * k, c.Ash * k, c.FixedCarbon * k, c.Volatile * k}
}

// MassBalance is where the mass of a charge goes: Feed = Char + HalfCharred +
// Away, class by class. The half-charred pieces that every burn leaves and the
// next one takes go round and cancel; HalfCharred is what covering early adds
// to them.
type MassBalance struct {
	Feed        Classes
	Char        Classes // dry
	HalfCharred Classes // dry
	Away        Classes // steam, smoke, flame and burnt char
}

// EnergyBalance is where the higher heating value of a charge goes: Feed =
// Char + HalfCharred + Drying + Warming + Shell + Smoke. The heat of the
// charring itself is nought (-0.4 to 0.4 MJ/kg). Own reference computation: no
// measured balance of a drum was found.
type EnergyBalance struct {
	Feed        MJ
	Char        MJ
	HalfCharred MJ
	Drying      MJ           // of the water in the feed
	Warming     MJ           // of the charge
	Shell       MJ           // wall and steel
	Smoke       MJ           // flame, smoke and burnt char: the rest
	DryingFeed  Range[Share] // dry feed burnt to drive off the water, of all dry feed
}

// balance is where mass and energy of the likely burn go.
func (c *charge) balance() (MassBalance, EnergyBalance) {
	var m MassBalance
	var e EnergyBalance
	for i := range c.wastes() {
		p := c.waste(i)
		x := p.likely()
		o := p.burn(&x)
		dry, early := Kg(o[dryMass]), Kg(p.missed(&x))
		ash, fixed := Kg(x[feedAsh]), Kg(p.feed.fixedCarbon())
		feed := Classes{Ash: ash, FixedCarbon: fixed, Volatile: 1 - ash - fixed}.times(dry)
		feed.Water = Kg(o[feedMass]) - dry
		char := Classes{
			Ash: Kg(o[ashShare]), FixedCarbon: Kg(o[fixedShare]), Volatile: Kg(o[volatileShare]),
		}.times(Kg(o[charMass]))
		half := Classes{Ash: ash, FixedCarbon: fixed, Volatile: Kg(x[halfCharred]) - ash - fixed}.times(dry * early)
		m.Feed, m.Char, m.HalfCharred = m.Feed.plus(feed), m.Char.plus(char), m.HalfCharred.plus(half)

		e.Feed += MJ(dry) * MJ(p.feed.HeatingValue.Likely)
		e.Warming += MJ(dry) * MJ(chargeWarming.Likely.by(p.bed-heatFrom.Likely))
		e.Char += MJ(o[charMass] * o[charHeat])
	}
	m.Away = m.Feed.plus(m.Char.plus(m.HalfCharred).times(-1))
	dry := m.Feed.Total() - m.Feed.Water
	e.HalfCharred = MJ(m.HalfCharred.Total()) * MJ(brandHeat.Likely)
	e.Drying = MJ(m.Feed.Water) * MJ(dryingHeat(steamLeaves.Likely))
	e.Shell = MJ(c.drums) * (shellLoss.Likely + steelWarming.Likely)
	e.Smoke = e.Feed - e.Char - e.HalfCharred - e.Drying - e.Warming - e.Shell
	e.DryingFeed = dryingFeed(float64(m.Feed.Water / dry))
	return m, e
}

// dryingHeat is the heat to drive off a kilogram of water as steam at t.
func dryingHeat(t Celsius) MJPerKg {
	return waterWarming.Likely.by(100-heatFrom.Likely) + steamHeat.Likely + steamWarming.Likely.by(t-100)
}

// dryingFeed is the dry feed burnt to dry the charge, of all dry feed, when it
// holds water kg per dry kg.
func dryingFeed(water float64) Range[Share] {
	if water <= 0 {
		return Range[Share]{}
	}
	q := Range[MJPerKg]{dryingHeat(steamLeaves.Low), dryingHeat(steamLeaves.Likely), dryingHeat(steamLeaves.High)}
	return rangeOf[Share](spreadOf(q).over(spreadOf(flameReaching.Range))).Scale(water / float64(feedNetHeat.Likely))
}
