package dialog

import (
	"cobline/calc"
	"cobline/locales"
)

const (
	topicPressing = "pressing"

	slotPeople Slot = "people"
)

// pressingTopic answers how many briquettes and how much work.
var pressingTopic = topic{
	key:      topicPressing,
	units:    map[string]Slot{"kg": slotCharKg, "tin": slotCharTins, "bucket": slotCharTins, "person": slotPeople},
	families: map[string]Slot{"mould": slotMould},
	bare:     slotCharKg,
	next:     (*turn).askNothing,
	answer:   (*turn).pressing,
}

const (
	usualPeople = 2
	pressHours  = 6 // of a day, as in a plan
)

// pressing says the pieces and the hours for the charcoal that is known, or
// what hands press in a day, then how to press, and the caution.
func (t *turn) pressing(f *Frame) {
	key, piece := f.piece()
	people := f.Slots[slotPeople].Number
	if people == 0 {
		people = usualPeople
	}
	args := locales.Args{"Size": t.text(locales.ID("size."+key), nil), "People": t.count("measure.people", int(people), nil)}
	char := t.charAtHand(f)
	in := calc.PressInput{Piece: piece, People: calc.Count(people)}
	if mix, err := calc.Bind(calc.BindInput{Char: calc.Exactly(calc.Kg(char)), Starch: calc.Starch(f.Slots[slotStarch].Key)}); err == nil {
		in.Solids = mix.Solids
	}
	if r, err := calc.Press(in); err == nil && char > 0 {
		args["Char"] = t.number(round(char))
		args["Pieces"] = t.rangeOf(float64(r.Briquettes.Low), float64(r.Briquettes.High))
		args["Hours"] = t.rangeOf(float64(r.Hours.Low), float64(r.Hours.High))
		t.say2("press.pieces", args)
	} else if way, err := calc.PressingOf(calc.HammerMould); err == nil {
		day := people / float64(way.Crew.Likely) * pressHours
		args["Pieces"] = t.rangeOf(day*float64(way.Pieces.Low), day*float64(way.Pieces.High))
		t.say2("press.day", args)
	}
	t.later("press.more", nil)
	t.say("caution.pressing", Answer, nil)
	t.say("press.how", Answer, nil)
	t.appendText("next.pressing")
}

// charAtHand is the charcoal a frame speaks of: what was said, or what the last
// paste was made for.
func (t *turn) charAtHand(f *Frame) float64 {
	if char := t.charOf(f); char > 0 {
		return char
	}
	return t.s.PasteKg
}
