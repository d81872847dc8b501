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

var (
	handbookStarch = Source{Title: "Starch handbooks, kg of starch per kg as bought", Standing: Remembered}
	cassavaRoots   = Source{Title: "Water and starch of fresh cassava, banksolar.ru p. 10786", At: "59-79 % water, 77-94 % starch on dry basis", Standing: Read}
	rasping        = Source{Title: "FAO cassava text", At: "70 to 90 % of the starch is freed by one rasping", Standing: Read}
	hoover         = Source{Title: "Composition, molecular structure and properties of tuber and root starches, Carbohydr. Polym. 45", By: "Hoover", Year: 2001, At: "16-24 % starch, 70-80 % water", Standing: Read}
	molecules      = Source{Title: "Green banana flour and starch, Molecules 23:2312", By: "Li et al.", Year: 2018, Standing: Read}
)

// source of starch: its content, what a grater frees of it, and the water it
// brings.
type gelling struct {
	starch       Starch
	share, freed Figure[Share]
	water        Figure[WetBasis]
	fresh        bool
}

func flour(s Starch, low, likely, high Share) gelling {
	return gelling{starch: s, share: newFigure(string(s)+" content of starch", low, likely, high, handbookStarch)}
}

func fresh(s Starch, content given, water WetBasis) gelling {
	return gelling{
		starch: s, fresh: true,
		share: figureOf[Share](string(s)+" content of starch", content),
		freed: newFigure[Share](string(s)+" starch freed by grating", .7, .8, .9, rasping),
		water: constant(string(s)+" content of water", water, content.source),
	}
}

var gellings = []gelling{
	flour(CassavaStarch, .80, .86, .90),
	flour(CassavaFlour, .68, .75, .82),
	fresh(CassavaRoot, given{.16, .28, .38, cassavaRoots}, .66),
	flour(MaizeStarch, .84, .87, .90),
	flour(MaizeFlour, .62, .70, .75),
	fresh(Arrowroot, given{.12, .18, .23, handbookStarch}, .72),
	fresh(SweetPotato, given{.12, .18, .24, hoover}, .72),
	fresh(GreenBanana, given{.15, .17, .20, molecules}, .74),
	flour(WheatFlour, .62, .68, .72),
	flour(RiceFlour, .72, .78, .82),
}

var gellingOf = func() map[Starch]*gelling {
	of := make(map[Starch]*gelling, len(gellings))
	for i := range gellings {
		of[gellings[i].starch] = &gellings[i]
	}
	return of
}()

var starches = []Starch{
	CassavaStarch, CassavaFlour, CassavaRoot, MaizeStarch, MaizeFlour, Arrowroot, SweetPotato, GreenBanana,
	BananaPeel, WheatFlour, RiceFlour, Molasses, Clay, GumArabic, Paper, CowDung, Aloe,
}

// Starches returns the binders, in the order in which they are listed to people.
func Starches() []Starch { return append([]Starch(nil), starches...) }

var (
	defaultDose = newFigure[Share]("dry starch per dry char", .04, .08, .15,
		Source{Title: "Industry 3-8 %, low-pressure university work 10-30 %", At: "Anis 2024, Jani, Aransiola 2019 and trade copies of FAO ch. 11", Standing: Read})
	heavyDose   = constant[Share]("dose above which a hand press gains nothing", .12, practice)
	charAsBound = constant[WetBasis]("moisture of char as it is bound", .05, practice)
	wettestChar = constant[WetBasis]("wettest char the methods answer for", .60, judgement)
	handMix     = newFigure[WetBasis]("moisture of a mix for a hand mould", .30, .35, .40,
		Source{Title: "Hand mould practice; roller presses take 28 to 32 %, Borowski et al., Int. Agrophysics", Standing: Practice})
	thinnestPaste = constant[Ratio]("most water per starch that still cooks to a paste", 10, practice)
	thickestPaste = constant[Ratio]("least water per starch that still cooks to a paste", 4, practice)
	usualPaste    = constant[Ratio]("water per starch of a paste with sprinkle water beside it", 8, practice)
	cupOfFlour    = newFigure[Kg]("flour in a level cup of 250 ml", .130, .140, .150, practice.at("weigh once"))
)

// BindInput asks for the binder of a heap of char.
type BindInput struct {
	Char         Range[Kg] // as weighed, with its moisture
	CharMoisture WetBasis  // up to 0.60; zero: 0.05
	Starch       Starch    // zero: cassava-flour
	Dose         Share     // dry starch per dry char, 0.04 to 0.15; zero: 0.08
	MixMoisture  WetBasis  // of the mix to be pressed, 0.25 to 0.45; zero: 0.35
}

// Infeasible says why no paste fits and what to do; both are stable keys.
type Infeasible struct{ Why, Remedy string }

// Reasons why a mix cannot be made, and their remedies.
var (
	// CharTooWet leaves too little room for water to cook the starch in.
	CharTooWet = Infeasible{"char-too-wet", "spread-in-sun-or-add-dry-char"}
	// TooMuchStarch leaves too little room even on char as dry as it comes.
	TooMuchStarch = Infeasible{"too-much-starch", "less-starch-or-wetter-mix"}
	// NoStarch is a binder that does not gel.
	NoStarch = Infeasible{"no-starch", "choose-a-starch"}
)

// BindResult is the paste for a heap of char. Starch, water and mix scale with
// the char: they are one uncertain quantity, not several.
type BindResult struct {
	DryChar       Range[Kg]
	DryStarch     Range[Kg]
	Starch        Range[Kg]    // as bought
	Cups          Range[Count] // of 250 ml, for flours and dry starches
	Water         Range[Litre] // to add in all
	PasteWater    Range[Litre] // of that, to cook with the starch
	SprinkleWater Range[Litre] // of that, to sprinkle on the char
	PasteRatio    Ratio        // water to add per dry starch
	MixMoisture   WetBasis
	Solids        Range[Kg] // dry char and dry starch
	Heavy         bool      // the dose is above what hand pressing gains from
	WettestChar   WetBasis  // wettest char of which this mix can be made
	Infeasible    *Infeasible
	Assumed       []Sourced
}

// Bind computes the starch and the water of a heap of char. The water follows
// from the moisture of the mix, not from a fixed paste:
//
//	W = (Dc + S) wm/(1 - wm) - Dc uc - water of the binder.
//
// A paste of less than 4 kg of water per kg of starch does not cook, so the
// char is too wet; above 10 the paste is cooked at 8 and the rest is sprinkled.
func Bind(in BindInput) (BindResult, error) {
	assumed := make([]Sourced, 0, 8)
	w := or(in.CharMoisture, charAsBound, &assumed)
	if err := ranged("kilograms of char", in.Char, .01, mostWaste.Likely); err != nil {
		return BindResult{}, err
	}
	if err := within("moisture of the char", w, 0, wettestChar.Likely); err != nil {
		return BindResult{}, err
	}
	return bind(in.Char.Scale(float64(1-w)), w, in, assumed)
}

// bind works on dry char that holds moisture w.
func bind(char Range[Kg], w WetBasis, in BindInput, assumed []Sourced) (BindResult, error) {
	dose := or(in.Dose, defaultDose, &assumed)
	mix := or(in.MixMoisture, handMix, &assumed)
	if err := within("starch per char", dose, defaultDose.Low, defaultDose.High); err != nil {
		return BindResult{}, err
	}
	if err := within("moisture of the mix", mix, .25, .45); err != nil {
		return BindResult{}, err
	}
	r := BindResult{DryChar: char, MixMoisture: mix, Heavy: dose > heavyDose.Likely}
	g, err := gellingFor(in.Starch)
	if err != nil {
		return BindResult{}, err
	}
	if g == nil {
		r.Infeasible, r.Assumed = &NoStarch, assumed
		return r, nil
	}
	r.Assumed = append(assumed, g.share.Sourced())

	bought, brought := g.perStarch()
	r.DryStarch = char.Scale(float64(dose))
	r.Solids = char.Scale(float64(1 + dose))
	r.Starch = r.DryStarch.Scale(bought)
	if !g.fresh {
		r.Cups = Cups(r.Starch)
		r.Assumed = append(r.Assumed, cupOfFlour.Sourced())
	}
	room := float64(1+dose) * float64(mix.Dry())
	least := max(float64(thickestPaste.Likely), brought)
	r.WettestChar = max(DryBasis(room-least*float64(dose)), 0).Wet()
	switch {
	case r.WettestChar < min(w, charAsBound.Likely):
		r.Infeasible = &TooMuchStarch
		return r, nil
	case w > r.WettestChar:
		r.Infeasible = &CharTooWet
		return r, nil
	}
	add := room - float64(dose)*brought - float64(w.Dry())
	r.PasteRatio = Ratio(add / float64(dose))
	paste := r.PasteRatio
	if paste+Ratio(brought) > thinnestPaste.Likely {
		paste = max(usualPaste.Likely-Ratio(brought), 0)
	}
	r.Water = As[Litre](char.Scale(add))
	r.PasteWater = As[Litre](r.DryStarch.Scale(float64(paste)))
	r.SprinkleWater = As[Litre](r.DryStarch.Scale(float64(r.PasteRatio - paste)))
	return r, nil
}

// MixMoisture returns the moisture of a mix of char that holds moisture char,
// with dose kg of dry starch per kg of dry char, cooked in water kg of water per
// kg of starch. It shows why a fixed paste overshoots.
func MixMoisture(char WetBasis, dose Share, water Ratio) WetBasis {
	held := float64(char.Dry()) + float64(dose)*float64(water)
	return DryBasis(held / float64(1+dose)).Wet()
}

// gellingFor returns the figures of a starch, or nil for a binder that does not gel.
func gellingFor(s Starch) (*gelling, error) {
	if s == "" {
		s = CassavaFlour
	}
	if g, ok := gellingOf[s]; ok {
		return g, nil
	}
	for _, known := range starches {
		if s == known {
			return nil, nil
		}
	}
	return nil, Unknown{"starch", string(s)}
}

// perStarch returns the kg to buy and the kg of water it brings per kg of dry
// starch that binds.
func (g *gelling) perStarch() (bought, water float64) {
	if !g.fresh {
		return 1 / float64(g.share.Likely), 0
	}
	bought = 1 / float64(g.share.Likely*g.freed.Likely)
	return bought, bought * float64(g.water.Likely)
}

// Cups returns how many level cups of 250 ml a mass of flour fills. The cup
// itself is known to some 7 %; the range is that of the flour.
func Cups(flour Range[Kg]) Range[Count] {
	return As[Count](flour.Scale(1 / float64(cupOfFlour.Likely)))
}
