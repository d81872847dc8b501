package dialog_test

import (
	"testing"

	"cobline/dialog"
)

// BenchmarkStep measures one step for texts of each kind.
func BenchmarkStep(b *testing.B) {
	long := "good morning sir please i have two and a half drums of maize cobs and they snap but my neighbour says the husks of the groundnut bend so what do i do tomorrow"
	for name, text := range map[string]string{
		"recipe": "cobs 2 drums snaps", "question": "can i open", "emergency": "my child drank water and fainted near the kiln",
		"unknown": "qwerty zxcvb", "long": long, "swahili": "mahindi magunzi pipa 2 kavu",
	} {
		b.Run(name, func(b *testing.B) {
			p := newPhone(b)
			p.says("LIT")
			w := p.world()
			b.ReportAllocs()
			for b.Loop() {
				p.e.Step(p.state, dialog.Said{Text: text, Via: dialog.SMS}, w)
			}
		})
	}
}
