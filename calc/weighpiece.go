package calc

import (
	"cmp"
	"slices"
)

var (
	paceBatches  = constant[Count]("last batches that tell a producer's pace of drying", 5, judged)
	paceBelieved = newFigure[Ratio]("believable pace of drying against the model, least and most", .5, 1, 2, judged)
)

// WeighPieceInput is one marked piece, weighed when it left the mould and again.
type WeighPieceInput struct {
	Wet, Now Kg
	Mix      Range[WetBasis] // moisture at the mould; zero: 0.30, 0.35, 0.40
	Target   WetBasis        // zero: 0.08
}

// WeighPieceResult is what the two weights say.
type WeighPieceResult struct {
	Moisture   Range[WetBasis] // of the piece now
	Lost       Share           // of its wet mass
	ReadyRatio Ratio           // of Now to Wet at which it is dry
	ReadyMass  Kg              // the mass at which it is dry
	Ready      bool
	Assumed    []*Sourced
}

// WeighPiece tells the moisture of a briquette from its weight: the dry mass
// stays, so it is 1 - (1-mix) Wet/Now. Ready is judged at the likely moisture of
// the mix; a piece is dry at about two thirds (0.71) of its wet weight. Wet 5 g to
// 5 kg; Now from the dry mass of the likely mix to 1.3 times Wet.
func WeighPiece(in WeighPieceInput) (WeighPieceResult, error) {
	var out WeighPieceResult
	mix := either(in.Mix, handMix, &out.Assumed)
	target := or(in.Target, readyPiece, &out.Assumed)
	err := cmp.Or(
		within("wet mass of the piece", in.Wet, 0.005, 5),
		ranged("moisture of the mix (wet basis)", mix, 0.1, 0.75),
		within("target moisture (wet basis)", target, 0.01, mix.Likely),
		within("mass of the piece now", in.Now, mix.Likely.DryOf(in.Wet), 1.3*in.Wet),
	)
	if err != nil {
		return out, err
	}
	out.Moisture = reweighed(Ratio(in.Now/in.Wet), mix)
	out.Lost = Share(1 - in.Now/in.Wet)
	out.ReadyRatio = mix.Likely.massAt(target)
	out.ReadyMass = Kg(out.ReadyRatio) * in.Wet
	out.Ready = in.Now <= out.ReadyMass
	return out, nil
}

// DryingRecord is one batch as it was forecast and as it came out.
type DryingRecord struct{ Forecast, Taken Days }

// LearnPace finds how fast a producer's briquettes dry against the model: the
// median, over the last five batches, of the days forecast over the days taken,
// each kept between 0.5 and 2. It is the Pace of DryInput; 1 without a record.
// Records without positive days teach nothing.
func LearnPace(records []DryingRecord) Ratio {
	var paces []Ratio
	for _, r := range slices.Backward(records) {
		if r.Forecast > 0 && r.Taken > 0 && len(paces) < int(paceBatches.Likely) {
			paces = append(paces, min(max(Ratio(r.Forecast/r.Taken), paceBelieved.Low), paceBelieved.High))
		}
	}
	if len(paces) == 0 {
		return 1
	}
	slices.Sort(paces)
	middle := len(paces) / 2
	if len(paces)%2 == 0 {
		return (paces[middle-1] + paces[middle]) / 2
	}
	return paces[middle]
}
