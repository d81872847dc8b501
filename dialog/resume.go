package dialog

import (
	"slices"
	"strings"
	"unicode"
)

const (
	topicResume      = "resume"
	slotResume  Slot = "resume"
)

// begin answers the first request of a dialled session, unless it says something
// in words. No screen has been shown, so a digit answers no question, and nothing
// of an older conversation may be shown before the person has said that it is
// theirs to go on with.
func (t *turn) begin(ev Said) bool {
	if !ev.Begins || strings.ContainsFunc(ev.Text, unicode.IsLetter) {
		return false
	}
	t.s.Frames = slices.DeleteFunc(t.s.Frames, func(f Frame) bool { return f.Topic == topicResume })
	switch {
	case ev.Dropped && t.asking():
		t.aside(topicResume, Slots{})
	default:
		if t.burning() {
			t.burnStatus(nil)
		}
		t.menu() // a digit answers what is on the screen, and nothing older
	}
	t.heard.Understood = true
	return true
}

// goOn answers whether to go on where the session before broke off.
func (t *turn) goOn(yes bool) {
	t.close()
	if yes {
		t.resume()
		return
	}
	t.s.Frames = nil
	t.menu()
}

// endResume takes away the question whether to go on, once the person has gone
// on with something else.
func (t *turn) endResume() {
	last := len(t.s.Frames) - 1
	for i := last - 1; i >= 0; i-- {
		if t.s.Frames[i].Topic == topicResume {
			t.s.Frames = slices.Delete(t.s.Frames, i, i+1)
		}
	}
}
