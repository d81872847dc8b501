package dialog

import (
	"cobline/locales"
)

// Hear returns what the line understands of one text by itself: its language,
// topic, slots, emergency and opt-out. Without a session language the text
// decides.
func (e *Engine) Hear(session locales.Lang, text string) Heard {
	s := State{Met: true, Lang: session, Chosen: session != ""}
	return e.Step(s, Said{Text: text, Via: SMS}, World{Channel: Ability{Sends: true}}).Heard
}
