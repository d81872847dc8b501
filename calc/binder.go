package calc

import "cmp"

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
	hoover         = Source{Title: "Composition, molecular structure and properties of tuber and root starches, Carbohydr. Polym. 45", By: "Hoover", Year: 2001, At: "roots hold 70-80 % water", Standing: Read}
	molecules      = Source{Title: "Green banana flour and starch, Molecules 23:2312", By: "Li et al.", Year: 2018, Standing: Read}
)

// Hold says how a binder holds char together.
type Hold uint8

const (
	// Gels is starch, which holds once it is cooked clear.
	Gels Hold = iota + 1
	// Sets is sugar or gum, which holds as it dries.
	Sets
	// Packs is clay, pulp or dung, which fills the gaps and brings its ash.
	Packs
	// Unproven has no published dose.
	Unproven
)

// String returns the stable key of the hold.
func (h Hold) String() string { return keyed([]string{"gels", "sets", "packs", "unproven"}, uint8(h)) }

// BinderCaution is the stable key of something to know before choosing a binder.
type BinderCaution string

// The cautions.
const (
	StapleFood     BinderCaution = "staple-food"    // ask for sweepings, spoiled flour or peelings first
	HoldsCyanide   BinderCaution = "holds-cyanide"  // juice and peel of bitter cassava, away from animals and children
	WeakBinder     BinderCaution = "weak"           // a filler with some starch
	SmokesInUse    BinderCaution = "smokes"         // in the stove
	TakesUpWater   BinderCaution = "takes-up-water" // softens in damp air
	AddsAsh        BinderCaution = "adds-ash"       // and takes heat
	NeedsGloves    BinderCaution = "needs-gloves"   // dirty to handle, smells
	SoaksForDays   BinderCaution = "soaks-for-days" // one to three
	DearForItsHold BinderCaution = "dear-for-its-hold"
)

// Binder is what is known about one binder. Binding matter is the starch of a
// starch and the dry matter of the others.
type Binder struct {
	Starch      Starch
	Hold        Hold
	Content     Figure[Share]    // kg of binding matter per kg as bought
	Freed       Figure[Share]    // share of it that one grating frees; zero for what is not grated
	Water       Figure[WetBasis] // as bought; zero where it hardly counts
	Ash         Figure[Share]    // of its dry matter
	Gelatinises Figure[Celsius]  // of starches
	Dose        Figure[Share]    // binding matter per dry char: least, usual, most
	Paste       Figure[Ratio]    // water per binding matter, its own included: least, usual, most
	Cautions    []BinderCaution
}

// CookTo is the temperature at which a starch paste is stirred until it is clear:
// 10 C above the end of gelatinisation. It is zero for what is not cooked.
func (b *Binder) CookTo() Celsius {
	if b.Hold != Gels {
		return 0
	}
	return b.Gelatinises.High + cookAbove.Likely
}

var (
	gelTable   = Source{Title: "Gelatinisation of starches, users.iafrica.com thaisa tech.htm", Standing: Read}
	gelMemory  = Source{Title: "Starch handbooks, gelatinisation", Standing: Remembered}
	ashMemory  = Source{Title: "Food composition tables, ash", Standing: Remembered}
	ashRead    = Source{Title: "Ash of cassava roots on dry basis, banksolar.ru p. 10786", Standing: Read}
	dungMemory = Source{Title: "Fuel tables, fresh cow dung", Standing: Remembered}
	peelWater  = Source{Title: "From 0.226 starch on dry basis, Molecules 23:2312, and 0.025 fresh", Standing: Derived}

	cookAbove  = constant[Celsius]("a paste is cooked this far above the end of gelatinisation", 10, practice)
	starchDose = newFigure[Share]("dry starch per dry char", .04, .08, .15,
		Source{Title: "Industry 3-8 %, low-pressure university work 10-30 %", At: "judged among Anis 2024, Jani, Aransiola 2019 and trade copies of FAO ch. 11", Standing: Derived})
	heavyDose   = constant[Share]("dose of starch above which a hand press gains nothing", .12, practice)
	starchPaste = newFigure[Ratio]("water per starch of a paste that cooks", 4, 8, 10, practice)
)

// binder makes the row of a binder that is not a starch, from its dry matter.
func binder(s Starch, h Hold, dryMatter, ash, dose, paste given, c ...BinderCaution) Binder {
	name := func(what string) string { return string(s) + " " + what }
	return Binder{
		Starch: s, Hold: h, Cautions: c,
		Content: figureOf[Share](name("dry matter"), dryMatter),
		Water:   newFigure(name("content of water"), WetBasis(1-dryMatter.high), WetBasis(1-dryMatter.likely), WetBasis(1-dryMatter.low), dryMatter.source),
		Ash:     figureOf[Share](name("ash of dry matter"), ash),
		Dose:    figureOf[Share](name("dry matter per dry char"), dose),
		Paste:   figureOf[Ratio](name("water per dry matter"), paste),
	}
}

// flour makes the row of a dry starch or flour. What is not starch in it, about
// a hundredth of the mix, is left out.
func flour(s Starch, low, likely, high, ash float64, gel given, c ...BinderCaution) Binder {
	return Binder{
		Starch: s, Hold: Gels, Dose: starchDose, Paste: starchPaste, Cautions: c,
		Content:     figureOf[Share](string(s)+" content of starch", given{low, likely, high, handbookStarch}),
		Ash:         figureOf[Share](string(s)+" ash of dry matter", given{ash * .8, ash, ash * 1.2, ashMemory}),
		Gelatinises: figureOf[Celsius](string(s)+" gelatinises", gel),
	}
}

// fresh makes the row of a root or fruit that is grated as it is.
func fresh(s Starch, starch, water, ash, gel given, c ...BinderCaution) Binder {
	freed := rasping
	if s != CassavaRoot {
		freed = rasping.judged("of cassava, 70 to 90 % is freed by one rasping")
	}
	return Binder{
		Starch: s, Hold: Gels, Dose: starchDose, Paste: starchPaste, Cautions: c,
		Content:     figureOf[Share](string(s)+" content of starch", starch),
		Freed:       newFigure[Share](string(s)+" starch freed by grating", .7, .8, .9, freed),
		Water:       figureOf[WetBasis](string(s)+" content of water", water),
		Ash:         figureOf[Share](string(s)+" ash of dry matter", ash),
		Gelatinises: figureOf[Celsius](string(s)+" gelatinises", gel),
	}
}

// binders is in the order in which they are listed to people.
var binders = []Binder{
	flour(CassavaStarch, .80, .86, .90, .003, given{52, 58, 64, gelTable}),
	flour(CassavaFlour, .68, .75, .82, .02, given{52, 58, 64, gelTable}, StapleFood),
	fresh(CassavaRoot, given{.16, .28, .38, cassavaRoots.judged("from 59-79 % water, 77-94 % starch on dry basis")}, given{.59, .66, .79, cassavaRoots},
		given{.018, .021, .025, ashRead}, given{52, 58, 64, gelTable}, StapleFood, HoldsCyanide),
	flour(MaizeStarch, .84, .87, .90, .003, given{62, 68, 74, gelTable}),
	flour(MaizeFlour, .62, .70, .75, .0125, given{62, 68, 75, gelTable.judged("starch to 74 C; meal is cooked above 85 C")}, StapleFood),
	fresh(Arrowroot, given{.12, .18, .23, handbookStarch}, given{.68, .72, .78, handbookStarch},
		given{.008, .01, .012, ashMemory}, given{66, 73, 80, gelMemory}),
	fresh(SweetPotato, given{.12, .18, .24, handbookStarch}, given{.70, .72, .80, hoover},
		given{.02, .025, .03, ashMemory}, given{58, 68, 78, gelMemory}, StapleFood),
	fresh(GreenBanana, given{.15, .17, .20, molecules.judged("fresh, from 0.695 on dry basis")}, given{.71, .74, .78, molecules.judged("fresh, from 0.695 of starch on dry basis")},
		given{.02, .03, .04, ashMemory}, given{65, 72, 80, gelMemory}, StapleFood),
	fresh(BananaPeel, given{.02, .025, .03, peelWater}, given{.87, .89, .91, peelWater},
		given{.08, .11, .14, ashMemory}, given{67, 74, 82, gelMemory}, WeakBinder),
	flour(WheatFlour, .62, .68, .72, .006, given{52, 58, 64, gelTable}, StapleFood),
	flour(RiceFlour, .72, .78, .82, .005, given{66, 72, 78, gelMemory}, StapleFood),
	binder(Molasses, Sets, given{.75, .77, .80, remembered}, given{.08, .11, .14, ashMemory},
		given{.077, .10, .19, practice.at("10 to 25 % as bought; a trial optimum of 10 %")}, given{.25, .6, 2, practice},
		SmokesInUse, TakesUpWater),
	binder(Clay, Packs, given{.90, .92, .95, practice}, given{.88, .90, .92, remembered},
		given{.05, .10, .15, Source{Title: "Trade copies of FAO Forestry Paper 41 ch. 11", At: "clay at most about 15 %; the rest judged", Standing: Derived}},
		given{.3, .5, 1, practice}, AddsAsh),
	binder(GumArabic, Sets, given{.85, .88, .90, remembered}, given{.03, .035, .04, ashMemory},
		given{.05, .08, .10, practice}, given{1.5, 2, 3, practice}, DearForItsHold),
	binder(Paper, Packs, given{.90, .93, .95, practice}, given{.05, .15, .25, practice.at("clay filler of printing paper")},
		given{.10, .15, .20, practice}, given{3, 4, 5, practice}, SoaksForDays, TakesUpWater),
	binder(CowDung, Packs, given{.15, .20, .25, dungMemory}, given{.20, .25, .30, dungMemory},
		given{.10, .12, .25, practice}, given{3, 4, 6, practice.at("as it falls")}, NeedsGloves, AddsAsh, SmokesInUse),
	{Starch: Aloe, Hold: Unproven, Cautions: []BinderCaution{WeakBinder}},
}

var binderOf = func() map[Starch]*Binder {
	of := make(map[Starch]*Binder, len(binders))
	for i := range binders {
		of[binders[i].Starch] = &binders[i]
	}
	return of
}()

// Starches returns the binders, in the order in which they are listed to people.
func Starches() []Starch {
	out := make([]Starch, len(binders))
	for i, b := range binders {
		out[i] = b.Starch
	}
	return out
}

// BinderOf returns the figures of a binder, cassava flour for the empty key, or
// Unknown.
func BinderOf(s Starch) (Binder, error) {
	b, err := binderFor(s)
	if err != nil {
		return Binder{}, err
	}
	return *b, nil
}

func binderFor(s Starch) (*Binder, error) {
	if s == "" {
		s = CassavaFlour
	}
	b, ok := binderOf[s]
	if !ok {
		return nil, Unknown{"starch", string(s)}
	}
	return b, nil
}

// perMatter is what comes with one kg of binding matter.
type perMatter struct {
	bought float64 // kg to buy
	water  float64 // kg of water in it
	other  float64 // kg of other dry matter in it: fibre, and starch that grating leaves bound
}

func (b *Binder) perMatter() perMatter {
	p := perMatter{bought: 1 / float64(b.Content.Likely)}
	if b.Freed.Likely != 0 {
		p.bought /= float64(b.Freed.Likely)
		p.other = p.bought*float64(1-b.Water.Likely) - 1
	}
	p.water = p.bought * float64(b.Water.Likely)
	return p
}

var (
	charAsBound = constant[WetBasis]("moisture of char as it is bound", .05, practice)
	wettestChar = constant[WetBasis]("wettest char the methods answer for", .60, judged)
	handMix     = newFigure[WetBasis]("moisture of a mix for a hand mould", .30, .35, .40,
		Source{Title: "Hand mould practice; roller presses take 28 to 32 %, Borowski et al., Int. Agrophysics", Standing: Practice})
	coldWater  = newFigure[Ratio]("cold water per flour to stir it smooth before it is cooked", 1, 1.5, 2, practice)
	cupOfFlour = newFigure[Kg]("flour in a level cup of 250 ml", .130, .140, .150, practice.at("weigh once"))
)

// BindInput asks for the binder of a heap of char.
type BindInput struct {
	Char         Range[Kg] // as weighed, with its moisture
	CharMoisture WetBasis  // up to 0.60; zero: 0.05
	Starch       Starch    // zero: cassava-flour
	Dose         Share     // binding matter per dry char; zero: the usual dose of the binder, 0.08 of starch
	MixMoisture  WetBasis  // of the mix to be pressed, 0.25 to 0.45; zero: 0.35
	Have         Kg        // of the binder as bought; zero: as much as is needed
}

// Reasons why a mix cannot be made, and their remedies.
var (
	// CharTooWet leaves too little room for the water that cooks the starch;
	// AddDryChar says how much dry char makes room.
	CharTooWet = Fault{"char-too-wet", "spread-in-sun-or-add-dry-char"}
	// BinderTooWet brings more water than the mix takes, even with dry char.
	BinderTooWet = Fault{"binder-too-wet", "use-flour-or-settled-starch"}
	// TooMuchStarch leaves too little room even on char as dry as it comes.
	TooMuchStarch = Fault{"too-much-starch", "less-starch-or-wetter-mix"}
	// TooLittleBinder would crumble.
	TooLittleBinder = Fault{"too-little-binder", "raise-the-dose"}
	// TooMuchBinder costs food, dries slowly, moulds, smokes and burns weakly.
	TooMuchBinder = Fault{"too-much-binder", "lower-the-dose"}
	// UnprovenBinder has no dose that anyone has published.
	UnprovenBinder = Fault{"unproven-binder", "choose-a-starch"}
)

// Short says what a stock of binder that does not suffice is good for: a weaker
// mix of all the char, or a good mix of a part of it.
type Short struct {
	DoseForAll Share // if all the char is bound with it
	TooWeak    bool  // that dose would crumble
	WellBound  Kg    // char, as weighed, that it binds at the wanted dose
	LeftOver   Kg    // char that then waits for more binder
}

// BindResult is the paste for a heap of char. Starch, water and mix scale with
// the char: they are one uncertain quantity, not several.
type BindResult struct {
	DryChar       Range[Kg]
	DryStarch     Range[Kg]    // binding matter
	Starch        Range[Kg]    // as bought
	Cups          Range[Count] // of 250 ml, for flours and dry starches
	Water         Range[Litre] // to add in all
	PasteWater    Range[Litre] // of that, to cook with the binder or to stir into it
	ColdWater     Range[Litre] // of that, to stir a flour smooth before it is cooked
	SprinkleWater Range[Litre] // of the whole, to sprinkle on the char
	PasteRatio    Ratio        // water to add per binding matter
	CookTo        Celsius      // zero for what is not cooked
	MixMoisture   WetBasis
	Solids        Range[Kg] // dry char, binding matter and what comes with it
	Mix           Range[Kg] // as it goes to the press
	Heavy         bool      // the dose is above what hand pressing gains from
	WettestChar   WetBasis  // wettest char of which this mix can be made
	AddDryChar    Range[Kg] // char of 5 % moisture that makes char too wet fit
	Short         *Short    // when Have does not suffice
	Cautions      []BinderCaution
	Infeasible    *Fault
	Assumed       []*Sourced
}

// Bind computes the binder and the water of a heap of char. The water follows
// from the moisture of the mix, not from a fixed paste:
//
//	W = (Dc + S + F) wm/(1 - wm) - Dc uc - water of the binder,
//
// with the dry char Dc and its moisture uc on dry basis, the binding matter S and
// the other dry matter F of the binder. A paste of less than 4 kg of water per kg
// of starch does not cook, so the char is too wet; above 10 the paste is cooked
// at 8 and the rest is sprinkled.
//
// Doses of starch lie between 0.04 and 0.15 and are heavy above 0.12; other
// binders have limits of their own.
func Bind(in BindInput) (BindResult, error) {
	assumed := make([]*Sourced, 0, 10)
	w := or(in.CharMoisture, charAsBound, &assumed)
	if err := cmp.Or(
		ranged("kilograms of char", in.Char, .01, mostWaste.Likely),
		within("moisture of the char", w, 0, wettestChar.Likely),
		within("kilograms of binder at hand", in.Have, 0, mostWaste.Likely),
	); err != nil {
		return BindResult{}, err
	}
	return bind(in.Char.Scale(float64(1-w)), w, in, assumed)
}

// bind works on dry char that holds moisture w.
func bind(char Range[Kg], w WetBasis, in BindInput, assumed []*Sourced) (BindResult, error) {
	b, err := binderFor(in.Starch)
	if err != nil {
		return BindResult{}, err
	}
	mix := or(in.MixMoisture, handMix, &assumed)
	dose := in.Dose
	if b.Hold != Unproven { // which has no usual one
		dose = or(in.Dose, b.Dose, &assumed)
	}
	if err := cmp.Or(
		within("moisture of the mix", mix, .25, .45),
		within("binder per char", dose, 0, 1),
	); err != nil {
		return BindResult{}, err
	}
	r := BindResult{
		DryChar: char, MixMoisture: mix, CookTo: b.CookTo(), Cautions: b.Cautions,
		Heavy: b.Hold == Gels && dose > heavyDose.Likely,
	}
	if r.Infeasible = b.refuses(dose); r.Infeasible != nil {
		r.Assumed = assumed
		return r, nil
	}
	r.Assumed = append(assumed, b.Content.Sourced(), b.Paste.Sourced())

	with, d := b.perMatter(), float64(dose)
	r.DryStarch = char.Scale(d)
	r.Solids = char.Scale(1 + d*(1+with.other))
	r.Mix = r.Solids.Scale(1 / float64(1-mix))
	r.Starch = r.DryStarch.Scale(with.bought)
	r.Short = short(in.Have, char.Likely, w, dose, b, with)
	room := (1 + d*(1+with.other)) * float64(mix.Dry())
	wettest := DryBasis(room - max(float64(b.Paste.Low), with.water)*d)
	r.WettestChar = max(wettest, 0).Wet()
	switch driest := charAsBound.Likely; {
	case r.WettestChar < min(w, driest):
		r.Infeasible = &TooMuchStarch
		if with.water > float64(b.Paste.Low) {
			r.Infeasible = &BinderTooWet
		}
		return r, nil
	case w > r.WettestChar:
		r.Infeasible = &CharTooWet
		if room := wettest - driest.Dry(); room > 0 {
			r.AddDryChar = char.Scale(float64((w.Dry() - wettest) / room / DryBasis(1-driest)))
		}
		return r, nil
	}
	add := room - d*with.water - float64(w.Dry())
	r.PasteRatio = Ratio(add / d)
	paste := r.PasteRatio
	if own := Ratio(with.water); paste+own > b.Paste.High {
		paste = max(b.Paste.Likely-own, 0)
	}
	r.Water = As[Litre](char.Scale(add))
	r.PasteWater = As[Litre](r.DryStarch.Scale(float64(paste)))
	r.SprinkleWater = As[Litre](r.DryStarch.Scale(float64(r.PasteRatio - paste)))
	if b.Hold == Gels && b.Freed.Likely == 0 {
		r.ColdWater = As[Litre](r.Starch.Scale(float64(coldWater.Likely)))
		r.Cups = Cups(r.Starch)
		r.Assumed = append(r.Assumed, cupOfFlour.Sourced())
	}
	return r, nil
}

// MixMoisture returns the moisture of a mix of char that holds moisture char,
// with dose kg of dry starch per kg of dry char, cooked in water kg of water per
// kg of starch: the water of both over all. It shows why a fixed paste overshoots.
// char lies in [0, 1), dose and water are not negative.
func MixMoisture(char WetBasis, dose Share, water Ratio) WetBasis {
	held := float64(char.Dry()) + float64(dose)*float64(water)
	return DryBasis(held / float64(1+dose)).Wet()
}

// refuses returns why a dose of the binder is refused, or nil.
func (b *Binder) refuses(dose Share) *Fault {
	switch {
	case b.Hold == Unproven:
		return &UnprovenBinder
	case dose < b.Dose.Low:
		return &TooLittleBinder
	case dose > b.Dose.High:
		return &TooMuchBinder
	default:
		return nil
	}
}

// short weighs a stock of binder against dry char of moisture w, or returns nil
// when the stock is unknown or suffices.
func short(have, char Kg, w WetBasis, dose Share, b *Binder, with perMatter) *Short {
	matter := have / Kg(with.bought)
	if have == 0 || matter >= char*Kg(dose) {
		return nil
	}
	well := matter / Kg(dose)
	s := &Short{
		DoseForAll: Share(matter / char),
		WellBound:  well / Kg(1-w),
		LeftOver:   (char - well) / Kg(1-w),
	}
	s.TooWeak = s.DoseForAll < b.Dose.Low
	return s
}

// Cups returns how many level cups of 250 ml a mass of flour fills, at 140 g each
// (practice). The cup itself is known to some 7 %; the range is that of the flour.
func Cups(flour Range[Kg]) Range[Count] {
	return As[Count](flour.Scale(1 / float64(cupOfFlour.Likely)))
}
