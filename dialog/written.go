package dialog

import "slices"

// slotWritten notes which written answer was given.
const slotWritten Slot = "written"

// written answers a question that an officer wrote an answer to. Mainly asks that
// the text says little else; else the wording may stand anywhere in it. What was
// being asked stays open.
func (t *turn) written(r reading, mainly bool) bool {
	if r.guarded() || t.taught() == nil || len(t.taught().asked) == 0 {
		return false
	}
	w, s, ok := t.answering(r)
	rest := r.besides(s)
	if !ok || mainly && rest > 0 && (s.to-s.from < askedWords || rest > s.to-s.from || r.hasNumber()) {
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
func (t *turn) answering(r reading) (w Written, best span, found bool) {
	o := t.taught()
	for _, s := range scopes(t.lang, t.place.Key) {
		x := o.asked[s]
		if x == nil {
			continue
		}
		guesses := t.e.lexicons.words[t.lang].guesser(x, r.tokens, fuzzyLetters)
		for from := range r.tokens {
			if s, ok := x.at(r.tokens, from, guesses); ok && (!found || s.to-s.from >= best.to-best.from) {
				best, found = s, true
			}
		}
	}
	if found {
		w = o.written[best.concepts[0]]
	}
	return w, best, found
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
