package main

import (
	"cmp"
	"errors"

	"cobline/calc"
)

// moistureInput is what a hand and a balance tell.
type moistureInput struct {
	Feel   calc.Feel     // of a crop waste, bent and knocked
	Before calc.Kg       // a sample of waste, 0.01 to 1000
	After  calc.Kg       // that sample, once the sun dries it no further
	Ratio  calc.Ratio    // of a piece's weight now to that as pressed, up to 1
	Mix    calc.WetBasis // of the piece as pressed, below 0.95; zero: 0.35
}

// moistureResult is what each of them says.
type moistureResult struct {
	ByFeel, ByWeight *wasteMoisture
	Piece            *calc.Range[calc.WetBasis]
}

// wasteMoisture is a waste's moisture and whether a drum of it may be lit.
type wasteMoisture struct {
	Moisture calc.Range[calc.WetBasis]
	Lighting calc.Lighting
	MayLight bool
}

func wasteOf(m calc.Range[calc.WetBasis]) *wasteMoisture {
	l := calc.LightingAt(m.Likely)
	return &wasteMoisture{m, l, l.MayLight()}
}

func moisture(in moistureInput) (moistureResult, error) {
	var out moistureResult
	if in.Feel != 0 {
		out.ByFeel = wasteOf(in.Feel.Moisture())
	}
	if in.Before != 0 || in.After != 0 {
		m, err := calc.WasteMoisture(in.Before, in.After)
		if err != nil {
			return out, err
		}
		out.ByWeight = wasteOf(m)
	}
	if in.Ratio != 0 {
		mix := cmp.Or(in.Mix, figure[calc.WetBasis]("moisture of a mix for a hand mould"))
		if err := cmp.Or(within("weight now over weight as pressed", in.Ratio, 0, 1), within("moisture as pressed", mix, 0, .95)); err != nil {
			return out, err
		}
		out.Piece = new(calc.MoistureByWeight(in.Ratio, mix))
	}
	if out == (moistureResult{}) {
		return out, errors.New("say what was felt or weighed: give a feel, the weights before and after, or the ratio of a piece")
	}
	return out, nil
}

// within returns an OutOfRange unless low <= got <= high, where a function of
// calc takes its arguments as they are.
func within[T ~float64](what string, got, low, high T) error {
	if got >= low && got <= high {
		return nil
	}
	return calc.OutOfRange{What: what, Got: float64(got), Low: float64(low), High: float64(high)}
}

// containersInput is a heap of waste and what it is carried in.
type containersInput struct {
	Waste     calc.Waste
	Mass      calc.Range[calc.Kg] // of loose, air-dry waste, 0.001 to 6000
	Container calc.Litre          // 0.1 to 1000; zero: a tin of 20
	Sack      calc.Kg             // a sack, by the maize it holds, 5 to 200, instead of litres
}

type containersResult struct {
	Container  calc.Litre
	Containers calc.Range[calc.Count]
}

func containers(in containersInput) (containersResult, error) {
	volume := cmp.Or(in.Container, calc.TinVolume())
	if in.Sack != 0 {
		if err := within("kilograms of maize in the sack", in.Sack, 5, 200); err != nil {
			return containersResult{}, err
		}
		volume = calc.SackVolumeOf(in.Sack)
	}
	n, err := calc.Containers(in.Waste, in.Mass, volume)
	return containersResult{volume, n}, err
}

// paceInput is a producer's record of drying.
type paceInput struct {
	Records []calc.DryingRecord // days forecast and days taken, the last batch last
}

type paceResult struct{ Pace calc.Ratio }

func pace(in paceInput) (paceResult, error) {
	if len(in.Records) == 0 {
		return paceResult{}, errors.New("say how batches have dried: give the days forecast and the days taken of each")
	}
	return paceResult{calc.LearnPace(in.Records)}, nil
}

// diffusionInput is a piece whose water comes out from the inside.
type diffusionInput struct {
	Piece       calc.Piece
	From        calc.WetBasis             // of the mix, up to 0.60; zero: 0.35
	To          calc.WetBasis             // zero: 0.08
	Equilibrium *calc.DryBasis            // kept in this air, dry basis, as reckon air tells; not given: 0.06
	Diffusivity calc.SquareMetrePerSecond // of water in the piece; zero: 1.9e-9
}

type diffusionResult struct {
	Volume calc.CubicMetre
	Area   calc.SquareMetre
	Drying calc.Hours // in good weather
}

func diffusion(in diffusionInput) (diffusionResult, error) {
	equilibrium := figure[calc.DryBasis]("moisture a briquette tends to at 60 % relative humidity")
	if in.Equilibrium != nil {
		equilibrium = *in.Equilibrium
	}
	hours, err := calc.DryingHours(in.Piece,
		cmp.Or(in.From, figure[calc.WetBasis]("moisture of a mix for a hand mould")),
		cmp.Or(in.To, figure[calc.WetBasis]("moisture of a finished briquette")), equilibrium,
		cmp.Or(in.Diffusivity, figure[calc.SquareMetrePerSecond]("diffusivity of the hours formula, for air of 30 C and a piece that the sun warms")))
	if err != nil {
		return diffusionResult{}, err
	}
	return diffusionResult{in.Piece.Volume(), in.Piece.Area(), hours}, nil
}

// mixInput is char and a paste of a fixed recipe.
type mixInput struct {
	Char  calc.WetBasis // moisture of the char, up to 0.60
	Dose  calc.Share    // dry starch per dry char, up to 0.50; zero: 0.08
	Water calc.Ratio    // cooked into a kg of starch, up to 30
}

type mixResult struct{ Moisture calc.WetBasis }

func mix(in mixInput) (mixResult, error) {
	dose := cmp.Or(in.Dose, figure[calc.Share]("dry starch per dry char"))
	err := cmp.Or(
		within("moisture of the char", in.Char, 0, .6), within("dry starch per dry char", dose, 0, .5),
		within("kg of water per kg of starch", in.Water, 0, 30),
	)
	if err != nil {
		return mixResult{}, err
	}
	return mixResult{calc.MixMoisture(in.Char, dose, in.Water)}, nil
}
