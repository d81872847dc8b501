package dialog

import (
	"cobline/locales"
)

// Hear returns what the line understands of one text by itself: its language,
// topic, slots, emergency and opt-out. Without a session language the text
// decides. A session in a language that waits for its reviewer is heard as if it
// were switched on.
func (e *Engine) Hear(session locales.Lang, text string) Heard {
	s := State{Met: true, Lang: session, Chosen: session != ""}
	w := World{Channel: Ability{Sends: true}}
	if e.catalog.NeedsReviewer(session) {
		w.Facts = &Facts{Langs: append(e.catalog.Free(), session)}
	}
	return e.Step(s, Said{Text: text, Via: SMS}, w).Heard
}
