package dialog

import (
	"cmp"
	"maps"
	"slices"

	"cobline/locales"
)

// Lesson is a word or a spelling that officers taught the line.
type Lesson struct {
	Lang    locales.Lang
	Place   string // the key of the place where alone it holds; empty: everywhere
	Word    string // a word, or a phrase of at most ten
	Concept string // what it means, such as waste.maize-cob
}

// Written is an officer's written answer to a question that people ask often.
type Written struct {
	ID        string
	Lang      locales.Lang
	Place     string   // the key of the place where alone it holds; empty: everywhere
	Questions []string // the wordings it answers
	Text      string
	Stage     string // the stage of work it speaks of, whose caution the line adds; empty: none
}

// Overlay is what officers taught, made ready to be read beside the words of
// the catalogue. It is made once, whenever the facts are, and never changed.
type Overlay struct {
	words   map[scope]vocabulary
	layers  map[scope][]vocabulary // what holds in each scope: for everybody, then for the place
	asked   map[scope]*index       // the wordings of written answers: the concept is the answer's id
	written map[string]Written
}

// scope is whom something was taught for.
type scope struct {
	lang  locales.Lang
	place string
}

// NewOverlay returns the overlay of lessons and written answers. What was
// refused when it was taught is for the caller to leave out.
func NewOverlay(lessons []Lesson, answers []Written) *Overlay {
	o := &Overlay{words: map[scope]vocabulary{}, layers: map[scope][]vocabulary{}, asked: map[scope]*index{}, written: map[string]Written{}}
	for _, l := range lessons {
		s := scope{l.Lang, l.Place}
		v, ok := o.words[s]
		if !ok {
			v = vocabulary{main: emptyIndex(l.Lang), safety: emptyIndex(l.Lang)}
			o.words[s] = v
		}
		if slices.Contains(safetyFamilies, family(l.Concept)) {
			v.safety.add(l.Concept, l.Word, safetyLetters)
		} else {
			v.main.add(l.Concept, l.Word, fuzzyLetters)
		}
	}
	for _, a := range answers {
		s := scope{a.Lang, a.Place}
		if o.asked[s] == nil {
			o.asked[s] = emptyIndex(a.Lang)
		}
		for _, q := range a.Questions {
			o.asked[s].add(a.ID, q, fuzzyLetters)
		}
		o.written[a.ID] = a
	}
	for _, v := range o.words {
		v.main.sort()
		v.safety.sort()
	}
	for _, x := range o.asked {
		x.sort()
	}
	for s, v := range o.words {
		if everybody, ok := o.words[scope{s.lang, ""}]; ok && s.place != "" {
			o.layers[s] = append(o.layers[s], everybody)
		}
		o.layers[s] = append(o.layers[s], v)
	}
	return o
}

// sortedScopes returns whom something was taught for, in an order that does not
// hang on maps.
func sortedScopes[V any](m map[scope]V) []scope {
	return slices.SortedFunc(maps.Keys(m), func(a, b scope) int {
		return cmp.Or(cmp.Compare(a.lang, b.lang), cmp.Compare(a.place, b.place))
	})
}

// in returns what was taught in a language for people of a place: for everybody,
// and for the place.
func (o *Overlay) in(l locales.Lang, place string) []vocabulary {
	if o == nil || len(o.words) == 0 {
		return nil
	}
	if layers, ok := o.layers[scope{l, place}]; ok {
		return layers
	}
	return o.layers[scope{l, ""}]
}

// scopes returns what holds for a person of a place.
func scopes(l locales.Lang, place string) []scope {
	if place == "" {
		return []scope{{l, ""}}
	}
	return []scope{{l, ""}, {l, place}}
}

// touched reports whether a text holds a taught word, or a slip of one: only then
// is it read again.
func touched(ears []ear) bool {
	for i, e := range ears {
		for _, v := range e.taught {
			for _, t := range e.tokens {
				if v.main.words[t.word] || i == 0 && !e.knows(t.word) && v.main.guess(t.word, fuzzyLetters) != nil {
					return true
				}
			}
		}
	}
	return false
}

// taught returns what officers taught.
func (t *turn) taught() *Overlay {
	if t.w.Facts == nil {
		return nil
	}
	return t.w.Facts.Taught
}

// look looks at a text of this person, once: first for its language, then for
// what it says.
func (t *turn) look(text string) look {
	if t.looked.text != text || t.looked.lang != t.lang {
		t.looked = t.e.lexicons.look(t.lang, text)
	}
	return t.looked
}

// read reads a text of this person.
func (t *turn) read(text string) reading {
	r := t.e.readLook(t.look(text), t.languages(), t.taught(), t.place.Key)
	t.taughtHeard = len(r.spans) != len(r.plain) || len(r.spans) > 0 && &r.spans[0] != &r.plain[0]
	return r
}

// unlessHidden returns a turn that taught words had a part in, unless the text
// without them is an alarm, an opt-out or a report on a burn and was not answered as
// one: a text that is understood no longer reaches what hears a cry in another
// language.
func (e *Engine) unlessHidden(turn Turn, s State, ev Said, w World) Turn {
	facts := *w.Facts
	facts.Taught = nil
	w.Facts = &facts
	plain := e.Step(s, ev, w)
	a, b := plain.Heard, turn.Heard
	if (a.Tier != "" || a.OptOut || a.Report != "") && (a.Tier != b.Tier || a.Emergency != b.Emergency || a.OptOut != b.OptOut || a.Report != b.Report) {
		return plain
	}
	return turn
}

// wordMeans reports whether a word alone means a concept in the language of the
// person.
func (t *turn) wordMeans(word, concept string) bool {
	if slices.Contains(t.e.lexicons.words[t.lang].main.phrases[word].concepts, concept) {
		return true
	}
	return slices.ContainsFunc(t.taught().in(t.lang, t.place.Key), func(v vocabulary) bool { return slices.Contains(v.main.phrases[word].concepts, concept) })
}
