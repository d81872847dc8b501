package dialog

import "math"

// What a drum held before is asked once of each drum: the answer to a recipe is
// about all the drums of that recipe, and more drums are asked about again.

// firstDrum is the letter of the first drum.
const firstDrum = 'A'

// drums is how many drums a recipe fills. Where the waste was measured otherwise
// it may be one drum that is filled again and again.
func (f *Frame) drums() int {
	return int(min(max(1, math.Ceil(f.Slots[slotDrums].Number)), maxDrums))
}

// goodPast reports whether a drum of that past may be lit.
func goodPast(past string) bool { return past == "new" || past == "food" }

// badPast reports whether a drum of that past waits for somebody who knows drums.
func badPast(past string) bool { return past == "oil" || past == "unknown" }

// keepPast keeps what the drums of a recipe held.
func (t *turn) keepPast(f *Frame, past string) {
	t.s.DrumPast, t.s.PastDrums = past, max(t.s.PastDrums, f.drums())
}

// forgetPast lets another drum be asked about.
func (t *turn) forgetPast() { t.s.DrumPast, t.s.PastDrums = "", 0 }

// knowsPast reports whether the past of so many drums is known. A conversation that
// kept no number was asked of all.
func (t *turn) knowsPast(drums int) bool {
	return t.s.DrumPast != "" && (t.s.PastDrums == 0 || drums <= t.s.PastDrums)
}

// goodDrum reports whether a drum that is lit is known to have held nothing bad.
func (t *turn) goodDrum(name string) bool {
	at := len(t.s.Drums)
	if len(name) == 1 {
		at = int(name[0]-firstDrum) + 1
	}
	return goodPast(t.s.DrumPast) && t.knowsPast(at)
}

// drumPastQuestion asks what the drums of a recipe held.
func drumPastQuestion(f *Frame) question {
	q := question{slot: slotDrumPast, id: "ask.drum-past", options: []option{
		{key: "food", label: "drum-past.food"}, {key: "oil", label: "drum-past.oil"}, {key: "poison", label: "drum-past.poison"}, {key: "unknown", label: "drum-past.unknown"},
	}}
	if f.drums() > 1 {
		q.id = "ask.drums-past"
	}
	return q
}
