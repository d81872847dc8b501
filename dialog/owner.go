package dialog

import (
	"regexp"

	"cobline/locales"
)

// A number is not a person: after a long absence it may have another owner, and
// the phone of a group speaks for several.

// away forgets what was open before a long absence. Whoever writes is greeted as
// a person never met, and the record stays shut until they say that they wrote
// before.
func (t *turn) away() {
	t.fresh = true
	t.s.Frames, t.s.Drums, t.s.Timers, t.s.More = nil, nil, nil, nil
	t.forgetPast()
	t.s.Stranger, t.s.PasteKg, t.s.Waste, t.s.Wet, t.s.Fills = Unasked, 0, "", false, nil
}

// shut reports whether there is a record that may be somebody else's.
func (t *turn) shut() bool {
	return t.s.Stranger != 0 && len(t.s.Batches)+len(t.s.Sales) > 0
}

// named finds the name a text begins with: a word, then a colon or a dash.
var named = regexp.MustCompile(`^\s*(\pL[\pL\pM'’]{1,11})\s*[:–-]\s*(\S.*)$`)

// whoSpeaks takes the name off the beginning of a text, on the phone of a group.
// A word with a meaning is no name.
func (t *turn) whoSpeaks(text string) string {
	m := named.FindStringSubmatch(text)
	if t.s.Profile.Group == "" || m == nil {
		return text
	}
	for l, v := range t.e.lexicons.words {
		if v.beside(t.taught().in(l, t.place.Key)).knows(locales.Fold(l, m[1])) {
			return text
		}
	}
	t.who = locales.Fold(locales.Default, m[1]) // which respells no name
	return m[2]
}

// speakersDrum is the drum of the name a text began with: an open one, or one
// that is lit now.
func (t *turn) speakersDrum(report string) string {
	if name := t.drumNamed(t.who); name != "" || report != reportLit {
		return name
	}
	return t.who
}

// forAll says of whom a word holds that is about the whole number: on the phone
// of a group, of all who use it.
func (t *turn) forAll() {
	if n := len(t.out.Replies); n > 0 && t.s.Profile.Group != "" {
		t.out.Replies[n-1].Text += " " + t.text("consent.for-all", locales.Args{"Group": t.s.Profile.Group})
	}
}
