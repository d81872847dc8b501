package calc

// Waste is the stable key of a crop waste.
type Waste string

// The crop wastes the package knows.
const (
	MaizeCob        Waste = "maize-cob"
	MaizeStalk      Waste = "maize-stalk"
	MaizeHusk       Waste = "maize-husk"
	RiceHusk        Waste = "rice-husk"
	RiceStraw       Waste = "rice-straw"
	CoconutShell    Waste = "coconut-shell"
	CoconutHusk     Waste = "coconut-husk"
	GroundnutShell  Waste = "groundnut-shell"
	CoffeeHusk      Waste = "coffee-husk"
	Bagasse         Waste = "bagasse"
	CottonStalk     Waste = "cotton-stalk"
	SorghumStalk    Waste = "sorghum-stalk"
	SunflowerStalk  Waste = "sunflower-stalk"
	SunflowerHusk   Waste = "sunflower-husk"
	CassavaStem     Waste = "cassava-stem"
	WheatStraw      Waste = "wheat-straw"
	PalmKernelShell Waste = "palm-kernel-shell"
	Bamboo          Waste = "bamboo"
	WoodyStalk      Waste = "woody-stalk"
	Sawdust         Waste = "sawdust"
	Prunings        Waste = "prunings"
)

// Suitability says how a waste behaves in a plain drum lit from below.
type Suitability uint8

const (
	// Alone chars well by itself.
	Alone Suitability = iota + 1
	// CutFirst chars by itself once cut or bundled.
	CutFirst
	// Layered needs at least 40 to 50 % by volume of a coarse waste in layers.
	Layered
	// Chokes lets no air through a plain drum: it needs a pierced tube or very
	// shallow layers.
	Chokes
)

// String returns the stable key of the suitability.
func (s Suitability) String() string {
	return keyed([]string{"alone", "cut-first", "layered", "chokes"}, uint8(s))
}

// keyed returns the key of an enumeration that counts from one.
func keyed(keys []string, v uint8) string {
	if v == 0 || int(v) > len(keys) {
		return "unknown"
	}
	return keys[v-1]
}

// Feedstock is what is known about one crop waste. All shares are on dry basis
// unless the field says otherwise.
type Feedstock struct {
	Waste            Waste
	Suitability      Suitability
	Density          Figure[KgPerCubicMetre] // loose or lightly packed in a drum, air dry
	Fill             Figure[Share]           // of the usable drum that still lets air through
	Ash              Figure[Share]           // of the dry feed
	FixedCarbonYield Figure[Share]           // fixed carbon kept, of dry ash-free feed
	Yield            Figure[Share]           // net drum yield: dry char with its ash, of dry feed
	HeatingValue     Figure[MJPerKg]         // higher heating value of the dry feed
	BindingWait      Figure[Hours]           // from sealing to opening
	DryingRate       Figure[PerHour]         // of one thin layer at 25 C
}

// given is a range with its source, for the rows of the table.
type given struct {
	low, likely, high float64
	source            Source
}

func figureOf[T ~float64](name string, g given) Figure[T] {
	return newFigure(name, T(g.low), T(g.likely), T(g.high), g.source)
}

// Coarse char cools between its pieces; fine char and shells insulate, so they
// wait a whole day.
var (
	coarseWait = Source{Title: "Cooling model of a sealed drum, upper decile 10 to 12 h for stalks and branches", At: "coarse char waits a night", Standing: Derived}
	fineWait   = Source{Title: "Charcoal kiln practice of 24 h, stewardwood.org", At: "fine char and shells wait a whole day; the cooling model has 20 h as likely and 35 h as its upper decile, so cold to the hand and no smoke are asked too", Standing: Read}
	layerRate  = Source{Title: "Judgement from days in the sun of one thin layer", Standing: Derived}

	fixedCarbonJudged = judged.at("scaled by proximate fixed carbon and lignin; hardly moved by temperature, Ronsse 2013, GCB Bioenergy 5:104")
	cobFixedCarbon    = Source{Title: "Slow pyrolysis of corn cob at 500 C, AIP Conf. Proc. 2681:020034", By: "Rattanaphaiboon et al.", Year: 2022, At: "yield times fixed carbon 0.204", Standing: Derived}
	labFixedCarbon    = Source{Title: "Maize and pigeonpea stalk biochar, Bioresour. Bioprocess. 10", Year: 2023, At: "muffle furnace at 400 C, yield times fixed carbon", Standing: Derived}
	rhizomeHeat       = Source{Title: "Cassava rhizome fuel, Nakhon Ratchasima", At: "17.1 MJ/kg of the rhizome; the stem judged", Standing: Derived}
	remembered        = Source{Title: "Handbook values of fuels and binders", Standing: Remembered}
	sampledHeat       = ghugare.judged(amongValues)
)

// How fast one thin layer dries at 25 C, by what the waste is made of.
var (
	looseLayer = given{.12, .20, .26, layerRate}
	thinShell  = given{.09, .15, .20, layerRate}
	thickShell = given{.015, .025, .033, layerRate}
	wholeCob   = given{.011, .018, .024, layerRate}
	wholeStalk = given{.0096, .016, .021, layerRate}
)

func feedstock(w Waste, s Suitability, density, ash given, fixedCarbon float64, fixedCarbonSource Source,
	yield, heat given, wait float64, rate given,
) Feedstock {
	name := func(what string) string { return string(w) + " " + what }
	// Small heavy shells starve the fire of air when they fill the drum.
	fill := Share(1)
	if w == PalmKernelShell {
		fill = .5
	}
	waitSource := fineWait
	if wait < 24 {
		waitSource = coarseWait
	}
	return Feedstock{
		Waste:       w,
		Suitability: s,
		Density:     figureOf[KgPerCubicMetre](name("loose density"), density),
		Fill:        constant(name("fill of the drum"), fill, practice),
		Ash:         figureOf[Share](name("ash of dry feed"), ash),
		FixedCarbonYield: figureOf[Share](name("fixed-carbon yield of dry ash-free feed"),
			given{fixedCarbon - .03, fixedCarbon, fixedCarbon + .03, fixedCarbonSource}),
		Yield:        figureOf[Share](name("net drum yield of dry feed"), yield),
		HeatingValue: figureOf[MJPerKg](name("higher heating value of dry feed"), heat),
		BindingWait:  figureOf[Hours](name("wait from sealing to opening"), given{wait, wait, wait, waitSource}),
		DryingRate:   figureOf[PerHour](name("drying rate of one thin layer at 25 C"), rate),
	}
}

// amongValues is how most ash figures were settled: published samples differ by
// soil, leaf and season, and their extremes are not deciles.
const amongValues = "judged among this and other published samples"

// feedstocks is in the order of Wastes.
var feedstocks = []Feedstock{
	feedstock(MaizeCob, Alone, given{130, 165, 210, estimate}, given{.014, .022, .028, lizotte.at("mean of cobs 2.2 %; spread of this and other published samples")},
		.205, cobFixedCarbon, given{.17, .23, .28, drumYield}, given{17.7, 18.6, 18.9, sampledHeat}, 12, wholeCob),
	feedstock(MaizeStalk, CutFirst, given{35, 55, 80, estimate}, given{.048, .07, .117, lizotte.judged(amongValues)},
		.19, labFixedCarbon, given{.18, .23, .29, drumYield}, given{16.5, 17.5, 18.3, sampledHeat}, 12, wholeStalk),
	feedstock(MaizeHusk, Layered, given{20, 35, 60, estimate}, given{.06, .08, .126, lizotte.judged(amongValues)},
		.19, fixedCarbonJudged, given{.14, .21, .28, drumYield}, given{17, 17.5, 18, byProximate}, 24, looseLayer),
	feedstock(RiceHusk, Chokes, given{90, 110, 130, estimate}, given{.18, .20, .242, raveendran.judged(amongValues)},
		.21, fixedCarbonJudged, given{.32, .37, .43, drumYield}, given{14.7, 15.2, 16.5, sampledHeat}, 24, looseLayer),
	feedstock(RiceStraw, Layered, given{20, 40, 75, estimate}, given{.15, .18, .201, raveendran.judged(amongValues)},
		.19, fixedCarbonJudged, given{.27, .34, .42, drumYield}, given{14.5, 15.2, 16.8, sampledHeat}, 24, looseLayer),
	feedstock(CoconutShell, Alone, given{160, 220, 300, estimate}, given{.007, .011, .02, raveendran.judged(amongValues)},
		.27, fixedCarbonJudged, given{.21, .27, .32, drumYield}, given{18.9, 20.0, 20.5, sampledHeat}, 24, thickShell),
	feedstock(CoconutHusk, CutFirst, given{50, 75, 110, estimate}, given{.02, .034, .06, raveendran.judged(amongValues)},
		.24, fixedCarbonJudged, given{.20, .26, .33, drumYield}, given{17.4, 18.5, 20.5, sampledHeat}, 24, thickShell),
	feedstock(GroundnutShell, Layered, given{60, 85, 120, estimate}, given{.034, .045, .059, raveendran.judged(amongValues)},
		.24, fixedCarbonJudged, given{.20, .27, .33, drumYield}, given{18.6, 19.0, 20.1, sampledHeat}, 24, thinShell),
	feedstock(CoffeeHusk, Layered, given{110, 160, 230, estimate}, given{.015, .03, .06, remembered},
		.22, fixedCarbonJudged, given{.18, .25, .31, drumYield}, given{18.3, 18.8, 19.8, sampledHeat}, 24, looseLayer),
	feedstock(Bagasse, CutFirst, given{40, 60, 90, estimate}, given{.02, .035, .07, raveendran.judged(amongValues)},
		.19, fixedCarbonJudged, given{.15, .22, .28, drumYield}, given{15.7, 18.3, 19.5, sampledHeat}, 24, looseLayer),
	feedstock(CottonStalk, Alone, given{50, 80, 120, estimate}, given{.024, .05, .09, tarpilga.judged(amongValues)},
		.235, fixedCarbonJudged, given{.17, .25, .32, drumYield}, given{15.8, 17.7, 18.3, sampledHeat}, 12, wholeStalk),
	feedstock(SorghumStalk, CutFirst, given{40, 60, 90, estimate}, given{.047, .07, .09, hindawi.judged(amongValues)},
		.19, fixedCarbonJudged, given{.18, .24, .32, drumYield}, given{17, 17.5, 18, sampledHeat}, 12, wholeStalk),
	feedstock(SunflowerStalk, CutFirst, given{30, 50, 80, estimate}, given{.09, .11, .119, ghugare.judged(amongValues)},
		.19, fixedCarbonJudged, given{.20, .27, .35, drumYield}, given{16.7, 16.9, 17.4, sampledHeat}, 12, wholeStalk),
	feedstock(SunflowerHusk, Chokes, given{80, 110, 140, estimate}, given{.025, .031, .04, hindawi.judged(amongValues)},
		.22, fixedCarbonJudged, given{.18, .24, .30, drumYield}, given{18, 19.8, 20.8, sampledHeat}, 24, looseLayer),
	feedstock(CassavaStem, Alone, given{80, 130, 190, estimate}, given{.025, .04, .06, veiga.judged(amongValues)},
		.21, fixedCarbonJudged, given{.18, .24, .31, drumYield}, given{17.1, 17.6, 18.2, rhizomeHeat}, 12, wholeStalk),
	feedstock(WheatStraw, Layered, given{20, 35, 60, estimate}, given{.055, .075, .112, hindawi.judged(amongValues)},
		.19, fixedCarbonJudged, given{.18, .25, .32, drumYield}, given{17.0, 17.6, 18.0, sampledHeat}, 24, looseLayer),
	feedstock(PalmKernelShell, Layered, given{450, 550, 650, remembered}, given{.02, .03, .04, remembered},
		.28, fixedCarbonJudged, given{.23, .31, .38, drumYield}, given{19, 20.3, 22, remembered}, 24, thickShell),
	feedstock(Bamboo, Alone, given{90, 140, 200, estimate}, given{.009, .0175, .025, hindawi.judged(amongValues)},
		.23, fixedCarbonJudged, given{.18, .25, .31, drumYield}, given{19.4, 19.9, 20.5, sampledHeat}, 12, wholeStalk),
	feedstock(WoodyStalk, Alone, given{70, 110, 160, estimate}, given{.02, .04, .06, byProximate},
		.26, labFixedCarbon, given{.20, .27, .33, drumYield}, given{17.1, 18.0, 19.0, byProximate}, 12, wholeStalk),
	feedstock(Sawdust, Chokes, given{150, 200, 250, estimate}, given{.005, .011, .02, hindawi.judged(amongValues)},
		.28, miles.judged("yield times fixed carbon 0.27 to 0.28"), given{.20, .27, .33, drumYield}, given{17.9, 18.8, 20.0, sampledHeat}, 24, looseLayer),
	feedstock(Prunings, Alone, given{100, 160, 230, estimate}, given{.015, .029, .045, raveendran.judged(amongValues)},
		.24, fixedCarbonJudged, given{.17, .24, .31, drumYield}, given{19.0, 19.3, 20.0, sampledHeat}, 12, wholeStalk),
}

var feedstockOf = func() map[Waste]*Feedstock {
	of := make(map[Waste]*Feedstock, len(feedstocks))
	for i := range feedstocks {
		of[feedstocks[i].Waste] = &feedstocks[i]
	}
	return of
}()

// Wastes returns the crop wastes, in the order in which they are listed to people.
func Wastes() []Waste {
	out := make([]Waste, len(feedstocks))
	for i, f := range feedstocks {
		out[i] = f.Waste
	}
	return out
}

// Feed returns the figures of one crop waste, or Unknown.
func Feed(w Waste) (Feedstock, error) {
	f, err := feedOf(w)
	if err != nil {
		return Feedstock{}, err
	}
	return *f, nil
}

func feedOf(w Waste) (*Feedstock, error) {
	f, ok := feedstockOf[w]
	if !ok {
		return nil, Unknown{"crop waste", string(w)}
	}
	return f, nil
}
