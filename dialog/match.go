package dialog

import (
	"slices"
	"strings"
	"unicode/utf8"

	"cobline/locales"
)

// exactFamilies are meanings a misspelling must never reach: a report about a
// burn, an opt-out and a yes act at once, and numbers change amounts.
var exactFamilies = map[string]bool{
	"report": true, "question": true, "number": true, "person": true, "trade": true, "ordinal": true,
	"word.stop": true, "word.stop-local": true, "word.yes": true, "word.no": true, "word.ok": true, "word.not": true,
	"thing.plastic": true, "thing.cutting": true, "thing.indoors": true, "thing.moving": true,
	"word.forget-me": true, "word.not-me": true, "word.about": true,
}

// safetyFamilies are read apart from the others, so that a phrase of the trade
// cannot hide a hurt person, nor a caution hide an amount.
var safetyFamilies = []string{"emergency", "harm", "person", "body", "hazard"}

// tradeFamily holds the ordinary phrases that disarm a word of alarm.
const tradeFamily = "trade"

const (
	fuzzyLetters  = 5  // words at least this long may hold one slip
	safetyLetters = 6  // the same for words of the safety families
	longestWord   = 40 // letters beyond which nobody slipped
	maxPhrase     = 10 // words in one phrase
)

// index finds the meanings of one language's words: exactly by a map, with one
// slip by a map of deletions. Nothing is ever scanned.
type index struct {
	lang     locales.Lang
	meanings map[string][]string // folded phrase -> concepts
	begins   map[string]bool     // beginnings of longer phrases
	words    map[string]bool     // every word of every phrase
	near     map[string][]string // a word without one letter -> the words it may be
	firsts   [256]bool           // the octets with which those words begin: nobody slips on the first letter
}

// span is a run of tokens with a meaning. More than one concept is a tie.
type span struct {
	concepts []string
	from, to int
	fuzzy    bool
}

// newIndex indexes those families of a lexicon that keep reports true for.
func newIndex(l locales.Lang, words locales.Lexicon, keep func(concept string) bool, letters int) *index {
	x := emptyIndex(l)
	for concept, spellings := range words {
		if !keep(concept) {
			continue
		}
		for _, spelling := range spellings {
			x.add(concept, spelling, letters)
		}
	}
	x.sort()
	return x
}

func emptyIndex(l locales.Lang) *index {
	return &index{lang: l, meanings: map[string][]string{}, begins: map[string]bool{}, words: map[string]bool{}, near: map[string][]string{}}
}

// sort puts what was added in an order that does not hang on maps.
func (x *index) sort() {
	for _, concepts := range x.meanings {
		slices.Sort(concepts)
	}
	for _, words := range x.near {
		slices.Sort(words)
	}
}

func (x *index) add(concept, spelling string, letters int) {
	var words []string
	for _, t := range read(x.lang, spelling) {
		if t.isNumber {
			return // a spelling with a digit is read by the token reader
		}
		words = append(words, t.word)
	}
	if len(words) == 0 || len(words) > maxPhrase {
		return
	}
	phrase := ""
	for i, w := range words {
		if i > 0 {
			x.begins[phrase] = true
			phrase += " "
		}
		phrase += w
		x.words[w] = true
		if utf8.RuneCountInString(w) >= letters && !exactFamilies[family(concept)] && !exactFamilies[concept] {
			x.addNear(w)
		}
	}
	if !slices.Contains(x.meanings[phrase], concept) {
		x.meanings[phrase] = append(x.meanings[phrase], concept)
	}
}

func (x *index) addNear(word string) {
	x.firsts[word[0]] = true
	for _, d := range append(deletions(word), word) {
		if !slices.Contains(x.near[d], word) {
			x.near[d] = append(x.near[d], word)
		}
	}
}

// deletions returns the word without each of its letters in turn.
func deletions(word string) []string {
	out := make([]string, 0, len(word))
	for i, c := range word {
		out = append(out, word[:i]+word[i+utf8.RuneLen(c):])
	}
	return out
}

// guess returns the known words that are one slip away from an unknown word.
func (x *index) guess(word string, letters int) []string {
	if n := utf8.RuneCountInString(word); n < letters || n > longestWord || !x.firsts[word[0]] {
		return nil
	}
	var out []string
	collect := func(candidates []string) {
		for _, c := range candidates {
			if c[0] == word[0] && !slices.Contains(out, c) && oneSlip(word, c) {
				out = append(out, c)
			}
		}
	}
	collect(x.near[word])
	var stack [4 * longestWord]byte
	for i, c := range word {
		shorter := append(append(stack[:0], word[:i]...), word[i+utf8.RuneLen(c):]...)
		collect(x.near[string(shorter)])
	}
	slices.Sort(out)
	return out
}

// oneSlip reports whether two different words differ by one letter left out,
// added, changed, or by two neighbours swapped.
func oneSlip(a, b string) bool {
	ra, rb := []rune(a), []rune(b)
	if len(ra) > len(rb) {
		ra, rb = rb, ra
	}
	if len(rb)-len(ra) > 1 {
		return false
	}
	i := 0
	for i < len(ra) && ra[i] == rb[i] {
		i++
	}
	if len(ra) < len(rb) {
		return slices.Equal(ra[i:], rb[i+1:])
	}
	if i == len(ra) {
		return false
	}
	if slices.Equal(ra[i+1:], rb[i+1:]) {
		return true
	}
	return i+1 < len(ra) && ra[i] == rb[i+1] && ra[i+1] == rb[i] && slices.Equal(ra[i+2:], rb[i+2:])
}

// at returns the longest phrase that starts at a token, exact words before
// guessed ones.
func (x *index) at(tokens []token, from int, guesses func(int) []string) (span, bool) {
	best, found := span{}, false
	var walk func(phrase string, at int, fuzzy bool)
	walk = func(phrase string, at int, fuzzy bool) {
		if at >= len(tokens) || tokens[at].isNumber || at-from >= maxPhrase {
			return
		}
		if at > from && tokens[at-1].comma && tokens[at-1].question {
			return
		}
		try := func(word string, fuzzy bool) {
			p := word
			if phrase != "" {
				p = phrase + " " + word
			}
			if concepts := x.meanings[p]; len(concepts) > 0 {
				if fuzzy {
					concepts = slices.DeleteFunc(slices.Clone(concepts), func(c string) bool { return exactFamilies[family(c)] || exactFamilies[c] })
				}
				best, found = better(best, found, span{concepts: concepts, from: from, to: at + 1, fuzzy: fuzzy})
			}
			if x.begins[p] {
				walk(p, at+1, fuzzy)
			}
		}
		word := tokens[at].word
		if x.words[word] {
			try(word, fuzzy)
			return
		}
		if guesses != nil {
			for _, g := range guesses(at) {
				try(g, true)
			}
		}
	}
	walk("", from, false)
	return best, found
}

// better keeps the longer span; of two equally long guesses it joins the
// meanings, which makes a tie to ask about.
func better(old span, found bool, next span) (span, bool) {
	switch {
	case len(next.concepts) == 0:
		return old, found
	case !found || next.to > old.to:
		return next, true
	case next.to == old.to && old.fuzzy && next.fuzzy:
		for _, c := range next.concepts {
			if !slices.Contains(old.concepts, c) {
				old.concepts = append(slices.Clone(old.concepts), c)
			}
		}
		slices.Sort(old.concepts)
	}
	return old, found
}

// family returns the part of a concept before the first dot.
func family(concept string) string {
	if i := strings.IndexByte(concept, '.'); i >= 0 {
		return concept[:i]
	}
	return concept
}

// name returns the part of a concept after the first dot.
func name(concept string) string {
	_, n, _ := strings.Cut(concept, ".")
	return n
}

// of returns the names of a span's concepts in one family.
func (s span) of(f string) []string {
	var out []string
	for _, c := range s.concepts {
		if n, ok := strings.CutPrefix(c, f); ok && n != "" && n[0] == '.' {
			out = append(out, n[1:])
		}
	}
	return out
}

// in reports whether the span can mean a concept of a family.
func (s span) in(f string) bool {
	return slices.ContainsFunc(s.concepts, func(c string) bool { return len(c) > len(f) && c[len(f)] == '.' && c[:len(f)] == f })
}

// is reports whether the span can mean a concept.
func (s span) is(concept string) bool { return slices.Contains(s.concepts, concept) }

// lexicons holds the compiled words of all languages the line can hear.
type lexicons struct {
	order []locales.Lang // of the catalogue
	words map[locales.Lang]vocabulary
}

// vocabulary is the words of one language: of the topics, of harm, and of the
// trade where they sound like harm.
type vocabulary struct {
	main, safety, trade *index
	holders             map[string]holder // of every word of the three
	taught              []vocabulary      // what officers taught beside them
}

// holder says which indexes of a vocabulary hold a word. Most words of a text are
// in one of them or in none, so one look spares three.
type holder uint8

const (
	inMain holder = 1 << iota
	inSafety
	inTrade
)

// beside returns the vocabulary with what officers taught.
func (v vocabulary) beside(taught []vocabulary) vocabulary {
	v.taught = taught
	return v
}

// knows reports whether the language has the word at all; such a word is never
// taken for a slip of another.
func (v vocabulary) knows(word string) bool {
	return v.holders[word] != 0 ||
		slices.ContainsFunc(v.taught, func(t vocabulary) bool { return t.main.words[word] })
}

func compile(c *locales.Catalog) lexicons {
	out := lexicons{order: c.Heard(), words: map[locales.Lang]vocabulary{}}
	for _, l := range out.order {
		safe := func(concept string) bool { return slices.Contains(safetyFamilies, family(concept)) }
		trade := func(concept string) bool { return family(concept) == tradeFamily }
		v := vocabulary{
			main: newIndex(l, c.Words(l), func(concept string) bool {
				return !safe(concept) && !trade(concept) && family(concept) != subjectFamily && concept != officeWord
			}, fuzzyLetters),
			safety: newIndex(l, c.Words(l), safe, safetyLetters),
			trade:  newIndex(l, c.Words(l), trade, safetyLetters),

			holders: map[string]holder{},
		}
		for h, x := range map[holder]*index{inMain: v.main, inSafety: v.safety, inTrade: v.trade} {
			for word := range x.words {
				v.holders[word] |= h
			}
		}
		out.words[l] = v
	}
	return out
}

// first returns the languages with l in front.
func (x lexicons) first(l locales.Lang) []locales.Lang {
	out := make([]locales.Lang, 0, len(x.order))
	if _, ok := x.words[l]; ok {
		out = append(out, l)
	}
	for _, o := range x.order {
		if o != l {
			out = append(out, o)
		}
	}
	return out
}

// guesser returns the guesses for a token in one language, each worked out
// once. A word the language knows is not guessed at.
func (v vocabulary) guesser(x *index, tokens []token, letters int) func(int) []string {
	type guessed struct {
		at    int
		words []string
	}
	var made []guessed
	return func(at int) []string {
		word := tokens[at].word
		if v.knows(word) {
			return nil
		}
		i := slices.IndexFunc(made, func(g guessed) bool { return g.at == at })
		if i < 0 {
			i, made = len(made), append(made, guessed{at, x.guess(word, letters)})
		}
		return made[i].words
	}
}

// spans reads the meanings of a text, given as each language folds it, one after
// the other: the session language first, then words of the other languages, and
// guesses in the session language only. What officers taught of a language ranks
// with its words.
func (x lexicons) spans(order []locales.Lang, views [][]token, taught lessons) []span {
	tokens := views[0]
	out := make([]span, 0, len(tokens)/2+1)
	first := x.words[order[0]].beside(taught.of(0))
	guesses := first.guesser(first.main, tokens, fuzzyLetters)
	taughtGuesses := make([]func(int) []string, len(taught.of(0)))
	for k, v := range taught.of(0) {
		taughtGuesses[k] = first.guesser(v.main, tokens, fuzzyLetters)
	}
	for from := 0; from < len(tokens); {
		best, found := span{}, false
		for i, l := range order {
			var g func(int) []string
			if i == 0 {
				g = guesses
			}
			s, ok := x.words[l].main.at(views[i], from, g)
			for k, v := range taught.of(i) {
				if i == 0 {
					g = taughtGuesses[k]
				}
				if o, known := v.main.at(views[i], from, g); known {
					s, ok = joined(s, ok, o), true
				}
			}
			if ok && (!found || s.to > best.to || best.fuzzy && !s.fuzzy && s.to == best.to) {
				best, found = s, true
			}
		}
		if !found {
			from++
			continue
		}
		out = append(out, best)
		from = best.to
	}
	return out
}

// joined is the longer of two spans that start at one word, a known one before a
// guess; two of equal standing may mean either.
func joined(a span, known bool, b span) span {
	switch {
	case !known, b.to > a.to, b.to == a.to && a.fuzzy && !b.fuzzy:
		return b
	case b.to < a.to, b.fuzzy && !a.fuzzy:
		return a
	}
	a.concepts = slices.Compact(slices.Sorted(slices.Values(append(slices.Clone(a.concepts), b.concepts...))))
	return a
}

// shortForeign is the length from which a single word of another language than
// the session's can raise an alarm: a short one means other things, unless
// another word of alarm in that language stands beside it ("burn on my hand").
const shortForeign = 5

// harms reads every phrase of harm that starts at any word, in each language as
// that folds it, but for those that
// lie within an ordinary phrase of the trade or a longer phrase of harm: "the
// goats are dead" is not "dead".
// What officers taught adds to them and takes none away.
func (x lexicons) harms(order []locales.Lang, views [][]token, taught lessons) []span {
	var out, trade, added []span
	for i, l := range order {
		v := x.words[l]
		var g func(int) []string
		if i == 0 && !locales.Agglutinative(l) {
			g = v.guesser(v.safety, views[0], safetyLetters)
		}
		words := views[i]
		var found []span
		alarming := i == 0
		for from := range words {
			held := v.holders[words[from].word]
			if held&inTrade != 0 {
				if s, ok := v.trade.at(words, from, nil); ok {
					trade = append(trade, s)
				}
			}
			if held&inSafety == 0 && (held != 0 || g == nil) {
				continue
			}
			if s, ok := v.safety.at(words, from, g); ok {
				alarming = alarming || len(found) > 0 || s.to-s.from > 1 || utf8.RuneCountInString(words[from].word) >= shortForeign
				found = append(found, s)
			}
		}
		if alarming {
			out = append(out, found...)
		}
		for _, v := range taught.of(i) {
			if len(v.safety.words) == 0 {
				continue
			}
			for from := range words {
				if s, ok := v.safety.at(words, from, nil); ok {
					added = append(added, s)
				}
			}
		}
	}
	whole := slices.Clone(out)
	return append(slices.DeleteFunc(out, func(s span) bool {
		return slices.ContainsFunc(trade, func(o span) bool { return o.from <= s.from && o.to >= s.to }) ||
			slices.ContainsFunc(whole, func(o span) bool {
				return o.from <= s.from && o.to >= s.to && o.to-o.from > s.to-s.from && o.in("emergency") && s.in("emergency")
			})
	}), added...)
}

// language returns the language most words of a text belong to, and whether
// that is clear. The order given breaks no tie.
func (x lexicons) language(text string) (locales.Lang, bool) {
	var best locales.Lang
	most, clear := 0, false
	words := make([]string, 0, maxTokens/8)
	for r := (reader{lang: x.order[0], text: strings.ToValidUTF8(text, " ")}); len(words) < maxTokens; {
		t, ok := r.next()
		if !ok {
			break
		}
		if t.raw != "" {
			words = append(words, t.raw)
		}
	}
	for _, l := range x.order {
		n := 0
		for _, word := range words {
			if x.words[l].knows(locales.Fold(l, word)) {
				n++
			}
		}
		if n > most {
			best, most, clear = l, n, true
		} else if n == most {
			clear = false
		}
	}
	return best, clear
}
