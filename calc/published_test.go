package calc_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/calc"
)

// The recipes of this file were published for crop-char briquettes; most were
// read as an abstract or an excerpt. Each test says what is predicted from which
// inputs and how closely. A recipe that contradicts itself is a trap: the test
// shows by what, so that nobody fits a figure to it.

func carbonised(t *testing.T, w calc.Waste) calc.CarboniseResult {
	r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Waste: w}})
	require.NoError(t, err)
	return r
}

func briquetteOf(t *testing.T, w calc.Waste, dose calc.Share) calc.FuelResult {
	burnt := carbonised(t, w)
	return fuel(t, calc.FuelInput{
		Ash: burnt.Ash, FixedCarbon: burnt.FixedCarbon, HeatingValue: burnt.HeatingValue, Dose: dose,
	})
}

// driedAs is the density of dried pieces of a method at its own mix moisture.
func driedAs(t *testing.T, m calc.Method) calc.Range[calc.KgPerCubicMetre] {
	p, err := calc.PressingOf(m)
	require.NoError(t, err)
	return press(t, calc.PressInput{Solids: kilograms(10), Method: m, MixMoisture: p.MixMoisture.Likely}).DriedDensity
}

// requireOverlap holds a prediction against a published range.
func requireOverlap[T ~float64](t *testing.T, r calc.Range[T], low, high T) {
	t.Helper()
	require.LessOrEqual(t, r.Low, high)
	require.GreaterOrEqual(t, r.High, low)
}

// Aransiola et al. 2019, Energy Rep. 5:909: cob char, 10, 20 and 30 % binder by
// mass at 50 to 150 kPa, 729 to 987 kg/m3, moisture 4.43 to 7.62 %. Predicted:
// the density of a lever press overlaps. Not followed: 20 and 30 % are refused.
func TestPublishedCobCharAransiola(t *testing.T) {
	requireOverlap(t, driedAs(t, calc.LeverPress), 729, 987)
	dose := func(ofMix calc.Share) calc.Share { return ofMix / (1 - ofMix) }
	require.Nil(t, bind(t, calc.BindInput{Char: kilograms(10), Dose: dose(.10)}).Infeasible)
	for _, ofMix := range []calc.Share{.20, .30} {
		r := bind(t, calc.BindInput{Char: kilograms(10), Dose: dose(ofMix)})
		require.Equal(t, &calc.TooMuchBinder, r.Infeasible)
	}
}

// The same design in means, J. Renew. Energy Environ. 154837: 28.85 to 32.36
// MJ/kg. Predicted at 10 %: 28.85 within 8 %. Trap: with 30 % of starch at 17.5,
// 32.36 is more than a char without any ash makes.
func TestPublishedCobCharHeatIsATrap(t *testing.T) {
	r := briquetteOf(t, calc.MaizeCob, .10/.90)
	require.InEpsilon(t, 28.85, float64(r.Higher.Likely), .08)
	pure := fuel(t, calc.FuelInput{Ash: calc.Exactly[calc.Share](.001), Dose: .30 / .70})
	require.Less(t, float64(pure.Higher.High), 32.36)
}

// Heliyon 10 (2024) e40991: acacia char dust, 10 to 30 % starch, by hand machine:
// 571.5 to 678.1 kg/m3; 10 to 30 % paper: 495.8 to 534.4 kg/m3. Predicted from the
// density as ejected, the water lost and the shrinkage: within 30 %, always too
// dense, because real pieces spring back and crack.
func TestPublishedHandMachineDensities(t *testing.T) {
	for m, published := range map[calc.Method]float64{
		calc.HammerMould: (571.5 + 678.1) / 2, calc.HandBalls: (495.8 + 534.4) / 2,
	} {
		predicted := float64(driedAs(t, m).Likely)
		require.InEpsilon(t, published, predicted, .30, m)
		require.Greater(t, predicted, published, m)
	}
}

// Borowski et al., Int. Agrophysics (2017, year from memory): charcoal fines 92,
// wheat starch 8, mix of 28 to 32 %, roller press. Predicted: a paste that cooks
// at every moisture of that range from char of 5 %, and a dose without warning.
func TestPublishedRollerPressMix(t *testing.T) {
	for _, mix := range []calc.WetBasis{.28, .30, .32} {
		r := bind(t, calc.BindInput{Char: kilograms(92), Dose: 8.0 / 92, MixMoisture: mix})
		require.Nil(t, r.Infeasible)
		require.False(t, r.Heavy)
		require.True(t, 4 <= r.PasteRatio && r.PasteRatio <= 10)
	}
}

// Anis et al. 2024, J. Renew. Mater. 12(2):381: coconut char 95, tapioca 5, motor
// screw. Jani, J. Trop. Agric. Food Sci. 44(2): 7 % best of 5, 7 and 9. Coconut
// char with 9 % tapioca (abstract). All lie inside the limits without warning.
func TestPublishedLowDosesAreAllowed(t *testing.T) {
	for _, dose := range []calc.Share{5.0 / 95, .05, .07, .09} {
		r := bind(t, calc.BindInput{Char: kilograms(95), Dose: dose, Starch: calc.CassavaStarch, MixMoisture: .33})
		require.Nil(t, r.Infeasible)
		require.False(t, r.Heavy)
	}
}

// Yiga et al. 2023, Energy Rep. 9:5977: carbonised rice husk, moisture 7.2,
// volatile 16.6, ash 47.4, fixed carbon 28.8, which add up to 100: as received,
// not dry. Predicted ash of the dry mix: 51.1 % within 4 points, and never the
// charcoal standard; 548 kg/m3 as from hand balls.
func TestPublishedRiceHuskYiga(t *testing.T) {
	r := briquetteOf(t, calc.RiceHusk, .08)
	require.InDelta(t, 47.4/(100-7.2), float64(r.Ash.Likely), .04)
	require.Equal(t, calc.BeyondLimit, r.Aims.Ash)
	requireOverlap(t, driedAs(t, calc.HandBalls), 548, 548)
}

// Lubwama and Yiga 2018, Renew. Energy, doi 10.1016/j.renene.2017.11.003: coffee
// husk char 21.9 to 23.0 and rice husk char 15.9 to 16.6 MJ/kg with cassava
// starch, basis not seen. Predicted: within 20 % of the middle, between net as
// sold and higher dry; no closer, because char ash differs from kiln to kiln.
func TestPublishedHuskBriquettesLubwama(t *testing.T) {
	for w, published := range map[calc.Waste]float64{calc.CoffeeHusk: 22.45, calc.RiceHusk: 16.25} {
		r := briquetteOf(t, w, .08)
		require.InEpsilon(t, published, float64(r.Net.Likely+r.Higher.Likely)/2, .20, w)
	}
}

// Onchieku 2012: bagasse char 40, clay 1, molasses 1, at 0.5 MPa: ash 36.4 %,
// 18.4 MJ/kg. Predicted from the published ash alone: 18.4 within 12 %. Trap: one
// part of clay in 42 brings 2 points of ash, so the char itself was full of soil.
func TestPublishedBagasseOnchieku(t *testing.T) {
	clay, err := calc.BinderOf(calc.Clay)
	require.NoError(t, err)
	fromClay := float64(clay.Ash.Likely) / 42
	require.Less(t, fromClay, .025)
	require.Greater(t, .364-fromClay, 2*float64(carbonised(t, calc.Bagasse).Ash.Likely))
	r := fuel(t, calc.FuelInput{Ash: calc.Exactly[calc.Share](.364), Starch: calc.Molasses, Dose: .01})
	require.InEpsilon(t, 18.4, float64(r.Higher.Likely), .12)
}

// J. Energy Res. Rev. 95076: husk and cob char 20:80 with starch: ash 3.17 %,
// 26.75 MJ/kg. Trap: a fifth of husk and four fifths of cob hold more ash before
// they are charred than that, and charring cannot remove it.
func TestPublishedHuskAndCobAshIsATrap(t *testing.T) {
	ash := func(w calc.Waste) float64 {
		f, err := calc.Feed(w)
		require.NoError(t, err)
		return float64(f.Ash.Likely)
	}
	feed := .2*ash(calc.MaizeHusk) + .8*ash(calc.MaizeCob)
	require.Greater(t, feed, .0317)
}

// Sotannde et al. 2010, J. For. Res. 21:63: neem, 100 to 25 of starch: ash 3.35 %,
// fixed carbon 84.7 %, 33.09 MJ/kg at 1.05 MPa, 546 kg/m3; 100 to 35 of gum. Trap:
// with a fifth of starch the mix cannot hold 84.7 % of fixed carbon even if the
// char were carbon alone. From its own proximate analysis the heating value
// follows within 5 % (Parikh et al. 2005, Fuel 84:487).
func TestPublishedNeemSotannde(t *testing.T) {
	pure := fuel(t, calc.FuelInput{Ash: calc.Exactly[calc.Share](.001), FixedCarbon: calc.Exactly[calc.Share](.99), Dose: .25})
	require.Less(t, float64(pure.FixedCarbon.High), .847)
	p := calc.Proximate{FixedCarbon: .847, Volatile: 1 - .847 - .0335, Ash: .0335}
	heat, err := p.HeatingValue()
	require.NoError(t, err)
	require.InEpsilon(t, 33.09, float64(heat), .05)
	r := bind(t, calc.BindInput{Char: kilograms(10), Starch: calc.GumArabic, Dose: .35})
	require.Equal(t, &calc.TooMuchBinder, r.Infeasible)
}

// Coir char 55, paste 50 (tci scidru 1724): with a paste of one part flour in
// eight to ten of water, the dose is 7 to 11 % of starch and the mix as wet as
// hand balls take it. Trap: 160 kg/m3 is far below every way of pressing.
func TestPublishedCoirCharAndPaste(t *testing.T) {
	flour, err := calc.BinderOf(calc.CassavaFlour)
	require.NoError(t, err)
	balls, err := calc.PressingOf(calc.HandBalls)
	require.NoError(t, err)
	for _, water := range []calc.Ratio{8, 10} {
		dose := calc.Share(50/(1+water)/55) * flour.Content.Likely
		require.True(t, .06 < dose && dose < .12, dose)
		mix := calc.MixMoisture(0, dose, water/calc.Ratio(flour.Content.Likely))
		require.True(t, balls.MixMoisture.Low < mix && mix < balls.MixMoisture.High+.02, mix)
	}
	require.Greater(t, float64(driedAs(t, calc.HandBalls).Low), 160.0)
}

// Masthura: banana midrib char 60, tapioca 40: 14.6 MJ/kg. Trap: a paste or an
// overdose; as dry starch it is five times the limit and is refused.
func TestPublishedMidribOverdoseIsATrap(t *testing.T) {
	r := bind(t, calc.BindInput{Char: kilograms(60), Starch: calc.CassavaStarch, Dose: 40.0 / 60})
	require.Equal(t, &calc.TooMuchBinder, r.Infeasible)
}

// Practical Action, Fuel from the Fields, p. 8: a drum of char, one large grated
// root, 1.5 litres of hot water, hammer mould. With a peeled root of 0.5 to 1 kg
// and 5 to 8 kg of char (both common practice) the dose is 1.5 to 4.5 %: below or
// at the lower limit, which is why such pieces crumble without hard pressing.
func TestPublishedOneRootToADrum(t *testing.T) {
	for _, row := range []struct {
		root, char calc.Kg
		tooWeak    bool
	}{{.5, 8, true}, {1, 8, true}, {1, 5, false}} {
		r := bind(t, calc.BindInput{Char: kilograms(row.char), Starch: calc.CassavaRoot, Have: row.root})
		require.NotNil(t, r.Short)
		require.Equal(t, row.tooWeak, r.Short.TooWeak, "%+v", row)
		require.True(t, .014 < r.Short.DoseForAll && r.Short.DoseForAll < .05, "%+v", r.Short)
	}
}

// Njenga et al.: charcoal dust 80, soil 20, which burns four hours against two and
// a half of lump, at 14 to 25 MJ/kg. Predicted from dust of 20 % ash: inside that
// range, beyond the charcoal standard, and more soil than is advised.
func TestPublishedDustAndSoil(t *testing.T) {
	r := bind(t, calc.BindInput{Char: kilograms(80), Starch: calc.Clay, Dose: 20.0 / 80})
	require.Equal(t, &calc.TooMuchBinder, r.Infeasible)
	f := fuel(t, calc.FuelInput{Ash: calc.Exactly[calc.Share](.20), Starch: calc.Clay, Dose: 20.0 / 80})
	require.True(t, 14 < f.Higher.Likely && f.Higher.Likely < 25, f.Higher)
	require.Equal(t, calc.BeyondLimit, f.Aims.Ash)
}

// FPRDI: cacao-husk char, extruder: volatile 33.7, fixed carbon 42.9, ash 23.3,
// which add up to 100 dry; 19.6 MJ/kg, 522 to 525 kg/m3. Predicted: 19.6 within
// 5 % from its proximate analysis. Not predicted: a char lighter than any
// extruder of the table makes.
func TestPublishedCacaoHusk(t *testing.T) {
	p := calc.Proximate{FixedCarbon: .429, Volatile: .337, Ash: .233}
	heat, err := p.HeatingValue()
	require.NoError(t, err)
	require.InEpsilon(t, 19.6, float64(heat), .05)
	require.Greater(t, float64(driedAs(t, calc.HandScrew).Low), 525.0)
}

// Palm-kernel char: 50 g of flour in 500 ml (excerpt without title). One part of
// flour in ten is the thinnest paste that still holds: 13 per starch of the
// flour, beyond the 10 this package cooks, so a part of it would be sprinkled.
func TestPublishedThinPaste(t *testing.T) {
	r := bind(t, calc.BindInput{Char: kilograms(10), Dose: .04})
	flour, err := calc.BinderOf(calc.CassavaFlour)
	require.NoError(t, err)
	require.Greater(t, calc.Ratio(500/(50*flour.Content.Likely)), flour.Paste.High)
	require.Less(t, float64(r.PasteWater.Likely)/float64(r.Starch.Likely), 10.0)
	require.Positive(t, r.SprinkleWater.Likely)
}
