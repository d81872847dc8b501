package dialog_test

import (
	"testing"

	"cobline/dialog"
)

// BenchmarkStep measures one step for texts of each kind. The drying topics
// reckon the coming weather hour by hour, and a plan its days; the others answer
// from what is known.
func BenchmarkStep(b *testing.B) {
	long := "good morning sir please i have two and a half drums of maize cobs and they snap but my neighbour says the husks of the groundnut bend so what do i do tomorrow"
	for name, text := range map[string]string{
		"recipe": "cobs 2 drums snaps", "question": "can i open", "emergency": "my child drank water and fainted near the kiln",
		"unknown": "qwerty zxcvb", "long": long, "swahili": "mahindi magunzi pipa 2 kavu",
		"binder": "9 kg charcoal 2 kg cassava root", "pressing": "press 12 kg", "weather": "weather", "fix": "my briquettes crumble",
		"check": "check", "batches": "my batches", "ask": "ask", "enrol": "i want to join",
		"plan": "plan 100 kg cobs in 14 days", "drying": "drying", "waste-drying": "how to dry wet cobs",
	} {
		b.Run(name, func(b *testing.B) {
			p := newPhone(b)
			p.forecast("fair")
			p.says("LIT")
			for range 12 {
				p.state.Batches = append(p.state.Batches, dialog.Batch{At: p.now, Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 6, Minutes: 40, Ash: "grey"})
			}
			w := p.world()
			b.ReportAllocs()
			for b.Loop() {
				p.e.Step(p.state, dialog.Said{Text: text, Via: dialog.SMS}, w)
			}
		})
	}
	// A first recipe, before there is a record to weigh in.
	for name, text := range map[string]string{"first-recipe": "cobs 2 drums snaps", "first-swahili": "mahindi magunzi pipa 2 kavu"} {
		b.Run(name, func(b *testing.B) {
			p := newPhone(b)
			w := p.world()
			b.ReportAllocs()
			for b.Loop() {
				p.e.Step(p.state, dialog.Said{Text: text, Via: dialog.SMS}, w)
			}
		})
	}
	b.Run("price", func(b *testing.B) {
		p := newPhone(b)
		p.says("price 60")
		w := p.world()
		b.ReportAllocs()
		for b.Loop() {
			p.e.Step(p.state, dialog.Said{Text: "90", Via: dialog.SMS}, w)
		}
	})
}
