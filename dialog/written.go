package dialog

import (
	"slices"

	"cobline/locales"
)

// slotWritten notes which written answer was given.
const slotWritten Slot = "written"

// written answers a question that an officer wrote an answer to. Whole asks that
// the text says nothing else; else the wording may stand anywhere in it. What
// was being asked stays open.
func (t *turn) written(r reading, whole bool) bool {
	if r.guarded() {
		return false
	}
	w, ok := t.taught().answering(r, t.lang, t.place.Key, whole)
	if !ok {
		return false
	}
	t.heard.Topic, t.heard.Understood = topicAsk, true
	t.note(slotWritten, Value{Key: w.ID})
	if f := t.top(); f != nil && f.Open == slotQuestion {
		t.close()
	}
	t.add(Reply{Key: "ask.written", Text: w.Text, Urgency: Answer})
	if w.Stage != "" {
		t.sayStage(w.Stage)
	}
	if t.asking() && len(t.out.Replies) < maxReplies {
		t.resume()
	}
	return true
}

// answering finds the written answer whose wording a text holds: the longest
// wording, and of two the one for the place.
func (o *Overlay) answering(r reading, l locales.Lang, place string, whole bool) (Written, bool) {
	if o == nil || len(o.asked) == 0 {
		return Written{}, false
	}
	best, found := span{}, false
	for _, s := range scopes(l, place) {
		x := o.asked[s]
		if x == nil {
			continue
		}
		for from := range r.tokens {
			if s, ok := x.at(r.tokens, from, nil); ok && (!whole || r.besides(s) == 0) && (!found || s.to-s.from >= best.to-best.from) {
				best, found = s, true
			}
		}
	}
	if !found {
		return Written{}, false
	}
	return o.written[best.concepts[0]], true
}

// besides counts the words of a text outside a span that are not mere politeness.
func (r reading) besides(s span) int {
	n := 0
	for i := range r.tokens {
		idle := slices.ContainsFunc(r.plain, func(o span) bool {
			return o.from <= i && i < o.to && (o.is("word.filler") || o.is("word.greeting") || o.is("word.ok"))
		})
		if !idle && (i < s.from || i >= s.to) {
			n++
		}
	}
	return n
}
