package calc

// Starch is the stable key of a binder.
type Starch string

// The binders the package knows.
const (
	CassavaStarch Starch = "cassava-starch"
	CassavaFlour  Starch = "cassava-flour"
	CassavaRoot   Starch = "cassava-root"
	MaizeStarch   Starch = "maize-starch"
	MaizeFlour    Starch = "maize-flour"
	Arrowroot     Starch = "arrowroot"
	SweetPotato   Starch = "sweet-potato"
	GreenBanana   Starch = "green-banana"
	BananaPeel    Starch = "banana-peel"
	WheatFlour    Starch = "wheat-flour"
	RiceFlour     Starch = "rice-flour"
	Molasses      Starch = "molasses"
	Clay          Starch = "clay"
	GumArabic     Starch = "gum-arabic"
	Paper         Starch = "paper"
	CowDung       Starch = "cow-dung"
	Aloe          Starch = "aloe"
)

// BindInput asks for the binder of a heap of char.
type BindInput struct {
	Char         Range[Kg] // as weighed, with its moisture
	CharMoisture WetBasis  // zero: 0.05
	Starch       Starch    // zero: cassava-flour
	Dose         Share     // dry starch per dry char; zero: 0.08
	MixMoisture  WetBasis  // of the mix to be pressed; zero: 0.35
}

// Infeasible says why no paste fits and what to do; both are stable keys.
type Infeasible struct{ Why, Remedy string }

// BindResult is the paste for a heap of char. Starch, water and mix scale with
// the char: they are one uncertain quantity, not several.
type BindResult struct {
	DryChar       Range[Kg]
	DryStarch     Range[Kg]
	Starch        Range[Kg]    // as bought
	Cups          Range[Count] // of flour, 250 ml level
	Water         Range[Litre] // in all
	PasteWater    Range[Litre] // to cook with the starch
	SprinkleWater Range[Litre] // to sprinkle on the char
	PasteRatio    Ratio        // water to add per dry starch
	MixMoisture   WetBasis
	Solids        Range[Kg] // dry char and dry starch
	Heavy         bool      // the dose is above what hand pressing needs
	Infeasible    *Infeasible
	Assumed       []Sourced
}
