package calc_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
)

var methods = []calc.Method{
	calc.HammerMould, calc.HandBalls, calc.LeverPress, calc.ScrewJack, calc.HandScrew, calc.MotorScrew,
}

func press(t require.TestingT, in calc.PressInput) calc.PressResult {
	r, err := calc.Press(in)
	require.NoError(t, err)
	return r
}

// Own reference computation: a person on a piston of 60 mm, and a lever of five
// to one. The 50 to 150 kPa of Aransiola et al. 2019, Energy Rep. 5:909, are
// within reach of body weight.
func TestForceOfBodyWeight(t *testing.T) {
	for _, row := range []struct {
		in  calc.ForceInput
		kPa float64
	}{
		{calc.ForceInput{Load: 70, Piston: .060}, 243},
		{calc.ForceInput{Load: 30, Piston: .060, Lever: 5}, 520},
		{calc.ForceInput{Load: 70, Piston: .060, Lever: 2, Moulds: 2}, 243},
	} {
		got, err := calc.Force(row.in)
		require.NoError(t, err)
		require.InDelta(t, row.kPa, float64(got), .5)
		require.Greater(t, float64(got), 150.0)
	}
	_, err := calc.Force(calc.ForceInput{Load: -1})
	require.ErrorAs(t, err, new(calc.OutOfRange))
	_, err = calc.Force(calc.ForceInput{Load: 70, Lever: .5})
	require.ErrorAs(t, err, new(calc.OutOfRange))
}

// Own reference computation: 60/15 by 50 mm, 1000 kg/m3 at 37 %, dried to 8 %.
func TestDriedDensity(t *testing.T) {
	r := press(t, calc.PressInput{
		Solids: kilograms(10.8), MixMoisture: .37, Density: calc.Exactly[calc.KgPerCubicMetre](1000),
	})
	require.InDelta(t, 684.8/.92, float64(r.DriedDensity.Likely), .1)
	require.Less(t, float64(r.DriedDensity.Low), 684.8/.95)
	require.Greater(t, float64(r.DriedDensity.High), 760.9)
}

// Own reference computation: a piece is dry at about two thirds of its wet weight.
func TestReadyRatio(t *testing.T) {
	for mix, ratio := range map[calc.WetBasis]float64{.35: .707, .37: .685, .40: .652} {
		r := press(t, calc.PressInput{Solids: kilograms(10), MixMoisture: mix})
		require.InDelta(t, ratio, float64(r.ReadyRatio), .0005)
	}
}

func TestHarderPressingIsDenser(t *testing.T) {
	density := func(m calc.Method) calc.KgPerCubicMetre {
		p, err := calc.PressingOf(m)
		require.NoError(t, err)
		r := press(t, calc.PressInput{Solids: kilograms(20), Method: m, MixMoisture: p.MixMoisture.Likely})
		// The density that drying leaves and the published dried densities overlap.
		require.Less(t, r.DriedDensity.Low, p.DriedDensity.High, m)
		require.Greater(t, r.DriedDensity.High, p.DriedDensity.Low, m)
		return r.DriedDensity.Likely
	}
	require.Less(t, density(calc.HandBalls), density(calc.HammerMould))
	require.Less(t, density(calc.HammerMould), density(calc.ScrewJack))
	require.Less(t, density(calc.HandScrew), density(calc.MotorScrew))
	_, err := calc.PressingOf(0)
	require.ErrorAs(t, err, new(calc.Unknown))
	_, err = calc.Press(calc.PressInput{Solids: kilograms(1), Method: 99})
	require.ErrorAs(t, err, new(calc.Unknown))
}

// Hours times people are person-hours, more hands are never slower, and hands
// beyond the presses do not help.
func TestPeopleAndHours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := calc.PressInput{
			Solids:  kilograms(calc.Kg(rapid.Float64Range(1, 200).Draw(t, "solids"))),
			Method:  rapid.SampledFrom(methods).Draw(t, "method"),
			People:  calc.Count(rapid.IntRange(1, 12).Draw(t, "people")),
			Presses: calc.Count(rapid.IntRange(0, 4).Draw(t, "presses")),
		}
		r := press(t, in)
		require.InEpsilon(t, float64(r.PersonHours.Likely), float64(r.Hours.Likely*calc.Hours(r.Pressing)), 1e-9)
		require.LessOrEqual(t, r.Pressing, in.People)
		require.True(t, r.Hours.Ordered())
		in.People += 2
		require.LessOrEqual(t, press(t, in).Hours.Likely, r.Hours.Likely+1e-9)
		in.People, in.Presses = 100, 1
		crew, err := calc.PressingOf(in.Method)
		require.NoError(t, err)
		require.Equal(t, crew.Crew.Likely, press(t, in).Pressing)
	})
}

// A hammer mould makes 60 pieces an hour, a hand screw 20 kg of mix.
func TestHoursFollowTheRate(t *testing.T) {
	r := press(t, calc.PressInput{Solids: kilograms(10.8), Method: calc.HammerMould, Density: calc.Exactly[calc.KgPerCubicMetre](1000), Loss: calc.Exactly[calc.Share](1e-9)})
	require.InDelta(t, float64(r.Briquettes.Likely)/60, float64(r.Hours.Likely), 1.0/60)
	r = press(t, calc.PressInput{Solids: kilograms(13), Method: calc.HandScrew, Loss: calc.Exactly[calc.Share](1e-9)})
	require.InDelta(t, 1, float64(r.Hours.Likely), 1e-6)
	require.InDelta(t, 13/.92, float64(r.Dried.Likely), 1e-4)
}

func ExamplePressingOf() {
	p, err := calc.PressingOf(calc.LeverPress)
	fmt.Printf("%v: %.0f to %.0f kPa, %.0f people press %.0f pieces an hour %v\n",
		p.Method, p.Pressure.Low, p.Pressure.High, p.Crew.Likely, p.Pieces.Likely, err)
	// Output: lever-press: 200 to 1000 kPa, 2 people press 120 pieces an hour <nil>
}

// A person of 70 kg stands on a plunger of 60 mm.
func ExampleForce() {
	p, err := calc.Force(calc.ForceInput{Load: 70, Piston: .060})
	fmt.Printf("%.0f kPa %v\n", p, err)
	// Output: 243 kPa <nil>
}

// Four people share two lever presses.
func ExamplePress_people() {
	r, err := calc.Press(calc.PressInput{Solids: calc.Exactly[calc.Kg](21.6), Method: calc.LeverPress, Presses: 2, People: 4})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f briquettes in %.1f hours (%.1f to %.1f) by %.0f people\n",
		r.Briquettes.Likely, r.Hours.Likely, r.Hours.Low, r.Hours.High, r.Pressing)
	// Output: 257 briquettes in 1.1 hours (0.5 to 2.2) by 4 people
}
