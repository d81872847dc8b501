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

// Feedstock is what is known about one crop waste. All shares are on dry basis
// unless the field says otherwise.
type Feedstock struct {
	Waste            Waste
	Suitability      Suitability
	Density          Figure[KgPerCubicMetre] // loose or lightly packed in a drum, air dry
	Ash              Figure[Share]           // of the dry feed
	FixedCarbonYield Figure[Share]           // fixed carbon kept, of dry ash-free feed
	Yield            Figure[Share]           // net drum yield: dry char with its ash, of dry feed
	HeatingValue     Figure[MJPerKg]         // higher heating value of the dry feed
	BindingWait      Figure[Hours]           // from sealing to opening
	DryingRate       Figure[PerHour]         // of one thin layer at 25 C
}
