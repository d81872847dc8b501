package calc_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

// Yields measured in drums and drum-like kilns, on dry feed. None was fitted, but
// those marked told the burn-off of such kilns, so the others are the outside
// check of the level. The bias and the coverage stand in the comment of Carbonise.
func TestBiasAndCoverageOnDrumRuns(t *testing.T) {
	const asFed = 1 - .12 // shell as fed, air dry
	rows := []struct {
		waste  calc.Waste
		yield  float64
		told   bool // the burn-off
		source string
	}{
		{calc.MaizeStalk, .23, true, "metal drum, Bioresour. Bioprocess. 2023, table 4"},
		{calc.WoodyStalk, .28, true, "pigeonpea in a metal drum, same table"},
		{calc.CottonStalk, .17, false, "single barrel, low end, Venkatesh et al. 2013, Indian J. Dryland Agric. 28(1):48"},
		{calc.CottonStalk, .30, false, "single barrel, high end, same paper"},
		{calc.CoconutShell, .27 / asFed, false, "drum with three rows of holes, low end, trade notes of a shell-char maker"},
		{calc.CoconutShell, .30 / asFed, false, "same, high end"},
		{calc.GroundnutShell, .3219, true, "low-cost kiln, 450 C, Sawargaonkar et al. 2024, Front. Sustain. 1417207"},
		{calc.GroundnutShell, .2913, true, "500 C, same paper"},
		{calc.GroundnutShell, .218, true, "550 C, same paper"},
		{calc.GroundnutShell, .1943, true, "600 C, same paper"},
	}
	type score struct {
		rows, inside int
		bias         float64
	}
	var all, outside score
	for _, v := range rows {
		y := carbonise(t, v.waste, .123).Yield
		log := math.Log(v.yield / float64(y.Likely))
		in := v.yield >= float64(y.Low) && v.yield <= float64(y.High)
		t.Logf("%-16s measured %.3f  default %.3f  inside %-5t  %+3.0f %%  %s", v.waste, v.yield, y, in, 100*math.Expm1(log), v.source)
		for _, s := range []*score{&all, &outside} {
			if s == &outside && v.told {
				continue
			}
			s.rows++
			s.bias += log
			if in {
				s.inside++
			}
		}
	}
	for _, s := range []*score{&all, &outside} {
		s.bias = math.Expm1(s.bias / float64(s.rows))
		t.Logf("bias %+.1f %%, coverage %d of %d", 100*s.bias, s.inside, s.rows)
	}
	require.Equal(t, []int{8, 10, 3, 4}, []int{all.inside, all.rows, outside.inside, outside.rows}, "the comment of Carbonise")
	require.InDelta(t, -.01, all.bias, .005, "the comment of Carbonise")
	require.InDelta(t, .04, outside.bias, .005, "the comment of Carbonise")
}

func anyCharge(t *rapid.T) calc.CarboniseInput {
	in := calc.CarboniseInput{LoadInput: calc.LoadInput{
		Waste:    rapid.SampledFrom(calc.Wastes()).Draw(t, "waste"),
		Drums:    calc.Count(rapid.IntRange(1, 5).Draw(t, "drums")),
		Moisture: calc.Exactly(calc.WetBasis(rapid.Float64Range(.05, .30).Draw(t, "moisture"))),
	}}
	if rapid.Bool().Draw(t, "mixture") {
		share := calc.Share(rapid.Float64Range(.1, .9).Draw(t, "share"))
		in.Fills = []calc.Fill{
			{Waste: in.Waste, Share: share},
			{Waste: rapid.SampledFrom(calc.Wastes()).Draw(t, "other"), Share: 1 - share},
		}
	}
	if rapid.Bool().Draw(t, "bed known") {
		in.BedTemperature = calc.Celsius(rapid.Float64Range(350, 650).Draw(t, "bed"))
		in.BurnOff = calc.Share(rapid.Float64Range(.05, .40).Draw(t, "burn-off"))
	}
	in.Late = calc.Minutes(rapid.SampledFrom([]int{-30, -10, 0, 0, 10, 45, 120}).Draw(t, "late"))
	return in
}

// Mass in is mass out, class by class; nothing is made but out of the feed.
func TestMassCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyCharge(t)
		r, err := calc.Carbonise(in)
		require.NoError(t, err)
		m := r.Mass
		require.InEpsilon(t, float64(r.Load.Feed.Likely), float64(m.Feed.Total()), 1e-9)
		require.InEpsilon(t, float64(r.Load.Dry.Likely), float64(m.Feed.Total()-m.Feed.Water), 1e-9)
		require.InEpsilon(t, float64(r.Char.Likely), float64(m.Char.Total()), 1e-9)
		require.InEpsilon(t, float64(m.Feed.Total()), float64(m.Char.Total()+m.HalfCharred.Total()+m.Away.Total()), 1e-9)
		require.Equal(t, m.Feed.Water, m.Away.Water)
		require.InDelta(t, 0, float64(m.Away.Ash), 1e-9*float64(m.Feed.Ash)+1e-12)
		require.Greater(t, m.Away.Volatile, calc.Kg(0))
		require.GreaterOrEqual(t, m.Away.FixedCarbon, -1e-9*m.Feed.FixedCarbon)
		require.True(t, r.Char.Ordered() && r.Ash.Ordered() && r.HeatingValue.Ordered() && r.Yield.Ordered() && r.Unburnt.Ordered())
	})
}

func TestEnergyCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, err := calc.Carbonise(anyCharge(t))
		require.NoError(t, err)
		e := r.Energy
		require.InEpsilon(t, float64(e.Feed), float64(e.Char+e.HalfCharred+e.Drying+e.Warming+e.Shell+e.Smoke), 1e-9)
		require.True(t, e.DryingFeed.Ordered())
	})
}

// Own reference computations: char keeps 33 to 41 % of the energy of dry cobs
// and shell, and there is energy to spare for the rest.
func TestEnergyOfDryWastes(t *testing.T) {
	for w, want := range map[calc.Waste]float64{calc.MaizeCob: 6.7 / 18.5, calc.CoconutShell: 8.2 / 20} {
		e := carbonise(t, w, .12).Energy
		require.InDelta(t, want, float64(e.Char/e.Feed), .02, w)
		require.Greater(t, float64(e.Smoke/e.Feed), .4, w)
	}
}

// Own reference computation: dry feed burnt to drive the water off.
func TestFeedBurntForDrying(t *testing.T) {
	for moisture, want := range map[calc.WetBasis]float64{.10: .06, .15: .09, .20: .13, .25: .17, .30: .21, .40: .33} {
		require.InDelta(t, want, float64(carbonise(t, calc.MaizeCob, moisture).Energy.DryingFeed.Likely), .006, moisture)
	}
}

// Own reference computation: ten minutes late cost 0.15 to 0.4 kg of the char
// of one drum, 2 to 6 % of 7 kg.
func TestCoveringLate(t *testing.T) {
	onTime := carbonise(t, calc.MaizeCob, .12)
	require.InDelta(t, .25, float64(onTime.TenMinutesLate.Likely), .01)
	require.InDelta(t, .15, float64(onTime.TenMinutesLate.Low), .01)
	require.InDelta(t, .39, float64(onTime.TenMinutesLate.High), .01)
	lost := float64(onTime.TenMinutesLate.Likely / onTime.Char.Likely)
	require.True(t, lost > .02 && lost < .06)

	late, err := calc.Carbonise(calc.CarboniseInput{
		LoadInput: calc.LoadInput{Waste: calc.MaizeCob, Moisture: calc.Exactly[calc.WetBasis](.12)}, Late: 10,
	})
	require.NoError(t, err)
	require.InDelta(t, float64(onTime.Char.Likely-onTime.TenMinutesLate.Likely), float64(late.Char.Likely), 1e-9)
	// The ash stays: its share rises as the char goes.
	require.InEpsilon(t, float64(onTime.Mass.Char.Ash), float64(late.Mass.Char.Ash), 1e-9)
	require.Less(t, late.HeatingValue.Likely, onTime.HeatingValue.Likely)
}

func TestCoveringEarly(t *testing.T) {
	onTime := carbonise(t, calc.MaizeCob, .12)
	early, err := calc.Carbonise(calc.CarboniseInput{
		LoadInput: calc.LoadInput{Waste: calc.MaizeCob, Moisture: calc.Exactly[calc.WetBasis](.12)}, Late: -10,
	})
	require.NoError(t, err)
	require.InDelta(t, float64(onTime.Char.Likely-onTime.TenMinutesEarly.Likely), float64(early.Char.Likely), 1e-9)
	require.Greater(t, early.Unburnt.Likely, onTime.Unburnt.Likely)
	require.InDelta(t, float64(early.Mass.HalfCharred.Total()),
		float64(early.Unburnt.Likely)-float64(onTime.Unburnt.Likely)*float64(early.Char.Likely/onTime.Char.Likely), 1e-9)
}

// The later the worse, and the sooner the worse.
func TestCoveringHasAnOptimum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyCharge(t)
		minutes := rapid.IntRange(1, 20).Draw(t, "minutes")
		char := func(late int) float64 {
			in.Late = calc.Minutes(late)
			r, err := calc.Carbonise(in)
			require.NoError(t, err)
			return float64(r.Char.Likely)
		}
		require.Less(t, char(minutes), char(0))
		require.Less(t, char(-minutes), char(0))
		require.Less(t, char(minutes+10), char(minutes))
		require.Less(t, char(-minutes-10), char(-minutes))
	})
}

// A hotter bed gives less char with less volatile matter; more burn-off gives
// less char with more ash. At the default of both nothing moves.
func TestBedTemperatureAndBurnOff(t *testing.T) {
	at := func(bed calc.Celsius, burnt calc.Share) calc.CarboniseResult {
		r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Waste: calc.MaizeStalk}, BedTemperature: bed, BurnOff: burnt})
		require.NoError(t, err)
		return r
	}
	base, hot, burnt := at(0, 0), at(550, 0), at(0, .40)
	same := at(430, .20)
	require.InEpsilon(t, float64(base.Char.Likely), float64(same.Char.Likely), 1e-9)
	require.InEpsilon(t, float64(base.FixedCarbon.Low), float64(same.FixedCarbon.Low), 1e-9)
	require.Less(t, hot.Char.Likely, base.Char.Likely)
	require.Less(t, hot.Volatile.Likely, base.Volatile.Likely)
	require.InEpsilon(t, float64(550-25)/(430-25), float64(hot.Energy.Warming/base.Energy.Warming), 1e-9)
	require.Less(t, burnt.Char.Likely, base.Char.Likely)
	require.Greater(t, burnt.Ash.Likely, base.Ash.Likely)

	for _, in := range []calc.CarboniseInput{
		{BedTemperature: 200}, {BedTemperature: 900}, {BurnOff: .8}, {Late: 500}, {Late: -60},
	} {
		in.Waste = calc.MaizeCob
		_, err := calc.Carbonise(in)
		require.ErrorAs(t, err, new(calc.OutOfRange))
	}
}

// A yield beyond what the fixed carbon of cobs allows is char that was not
// heated through: 34 % at nominally 500 C held 36 % of volatile matter, dry and
// ash-free (Rattanaphaiboon et al. 2022). The fixed carbon of cobs was set from
// the same run, so this is a check of the rule and not of the figure.
func TestHighOwnYieldIsUnderCharred(t *testing.T) {
	r, err := calc.Carbonise(calc.CarboniseInput{
		LoadInput: calc.LoadInput{Waste: calc.MaizeCob, Moisture: calc.Exactly(calc.DryBasis(.14).Wet())},
		Yield:     calc.Exactly[calc.Share](.34),
	})
	require.NoError(t, err)
	require.InDelta(t, .36, float64(r.Volatile.Likely/(1-r.Ash.Likely)), .02)
	require.GreaterOrEqual(t, r.Mass.Away.FixedCarbon, calc.Kg(-1e-9))
}

// A mixture of one waste with itself is that waste.
func TestMixtureOfOneWasteWithItself(t *testing.T) {
	one, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Waste: calc.MaizeCob, Drums: 2}})
	require.NoError(t, err)
	both, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Drums: 2, Fills: []calc.Fill{
		{Waste: calc.MaizeCob, Share: .5}, {Waste: calc.MaizeCob, Share: .5},
	}}})
	require.NoError(t, err)
	require.InEpsilon(t, float64(one.Char.Likely), float64(both.Char.Likely), 1e-9)
	require.InEpsilon(t, float64(one.Ash.Likely), float64(both.Ash.Likely), 1e-9)
	require.InEpsilon(t, float64(one.HeatingValue.Likely), float64(both.HeatingValue.Likely), 1e-9)
	require.InEpsilon(t, float64(one.Load.Feed.Likely), float64(both.Load.Feed.Likely), 1e-9)
	require.Equal(t, one.Mass.Char.Total(), both.Mass.Char.Total())
	// Two densities that are not known apart are known a little better together.
	require.InEpsilon(t, float64(one.Char.Low), float64(both.Char.Low), .15)
	require.InEpsilon(t, float64(one.Char.High), float64(both.Char.High), .15)
}

func TestMixture(t *testing.T) {
	mix := func(coarse calc.Share, wet calc.Feel) calc.CarboniseResult {
		r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Fills: []calc.Fill{
			{Waste: calc.MaizeCob, Share: coarse}, {Waste: calc.RiceHusk, Share: 1 - coarse, Moisture: wet.Moisture()},
		}}})
		require.NoError(t, err)
		return r
	}
	open, choked, wet := mix(.6, calc.Dry), mix(.3, calc.Dry), mix(.6, calc.TooWet)
	require.Equal(t, calc.Layered, open.Suitability)
	require.Equal(t, calc.Chokes, choked.Suitability)
	require.Equal(t, calc.Hours(24), open.Wait)
	require.Equal(t, calc.LightNow, open.Lighting)
	require.Equal(t, calc.DoNotLight, wet.Lighting, "the wetter part decides")

	cob, husk := carbonise(t, calc.MaizeCob, .12), carbonise(t, calc.RiceHusk, .12)
	require.InEpsilon(t, .6*float64(cob.Char.Likely)+.4*float64(husk.Char.Likely), float64(open.Char.Likely), 1e-9)
	require.Greater(t, open.Ash.Likely, cob.Ash.Likely)
	require.Less(t, open.Ash.Likely, husk.Ash.Likely)
}

// The same mixture, weighed, fills the same drum.
func TestMixtureByMass(t *testing.T) {
	in := calc.LoadInput{Fills: []calc.Fill{{Waste: calc.CoconutShell, Share: .7}, {Waste: calc.MaizeHusk, Share: .3}}}
	byDrum, err := calc.Load(in)
	require.NoError(t, err)
	in.Mass = calc.Exactly(byDrum.Feed.Likely)
	byMass, err := calc.Load(in)
	require.NoError(t, err)
	require.Equal(t, calc.Count(1), byMass.Drums)
	require.InEpsilon(t, float64(byDrum.Volume.Likely), float64(byMass.Volume.Likely), 1e-9)
	require.InEpsilon(t, float64(byDrum.Dry.Likely), float64(byMass.Dry.Likely), 1e-9)
}

func TestMixtureRefusesNonsense(t *testing.T) {
	for name, fills := range map[string][]calc.Fill{
		"one":      {{Waste: calc.MaizeCob, Share: 1}},
		"not one":  {{Waste: calc.MaizeCob, Share: .5}, {Waste: calc.RiceHusk, Share: .2}},
		"negative": {{Waste: calc.MaizeCob, Share: 1.2}, {Waste: calc.RiceHusk, Share: -.2}},
		"unknown":  {{Waste: calc.MaizeCob, Share: .5}, {Waste: "glass", Share: .5}},
	} {
		_, err := calc.Load(calc.LoadInput{Fills: fills})
		require.Error(t, err, name)
	}
}

func ExampleClasses_Total() {
	r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{
		Waste: calc.MaizeCob, Mass: calc.Exactly[calc.Kg](33), Moisture: calc.Exactly[calc.WetBasis](.15),
	}})
	m := r.Mass
	fmt.Printf("%.1f kg of feed: %.1f kg of char, %.1f kg of steam, %.1f kg of smoke and flame %v\n",
		m.Feed.Total(), m.Char.Total(), m.Away.Water, m.Away.Total()-m.Away.Water, err)
	// Output: 33.0 kg of feed: 6.3 kg of char, 4.9 kg of steam, 21.8 kg of smoke and flame <nil>
}

// What ten minutes cost, and what a mixture is.
func ExampleCarbonise_mixture() {
	r, err := calc.Carbonise(calc.CarboniseInput{LoadInput: calc.LoadInput{Fills: []calc.Fill{
		{Waste: calc.MaizeCob, Share: .6}, {Waste: calc.RiceHusk, Share: .4},
	}}})
	fmt.Printf("%v: %.0f kg of char with %.2f of ash, open after %.0f hours %v\n", r.Suitability, r.Char, r.Ash, r.Wait, err)
	fmt.Printf("ten minutes late cost %.1f kg, ten minutes early %.1f kg\n", r.TenMinutesLate, r.TenMinutesEarly)
	// Output:
	// layered: {5 7 9} kg of char with {0.21 0.28 0.36} of ash, open after 24 hours <nil>
	// ten minutes late cost {0.1 0.2 0.4} kg, ten minutes early {0.3 0.5 1.1} kg
}
