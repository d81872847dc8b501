package dialog

import (
	"math/bits"
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
	lang    locales.Lang
	phrases map[string]phrase   // folded, and what they begin with
	words   map[string]bool     // every word of every phrase
	near    map[string][]string // a word without one letter -> the words it may be
	firsts  [256]bool           // the octets with which those words begin: nobody slips on the first letter
}

// phrase is what is known of some words in a row.
type phrase struct {
	concepts []string // what they mean, if anything
	begins   bool     // a longer phrase begins with them
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
	return &index{lang: l, phrases: map[string]phrase{}, words: map[string]bool{}, near: map[string][]string{}}
}

// sort puts what was added in an order that does not hang on maps.
func (x *index) sort() {
	for _, p := range x.phrases {
		slices.Sort(p.concepts)
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
	joined := ""
	for i, w := range words {
		if i > 0 {
			p := x.phrases[joined]
			p.begins = true
			x.phrases[joined] = p
			joined += " "
		}
		joined += w
		x.words[w] = true
		if utf8.RuneCountInString(w) >= letters && !exactFamilies[family(concept)] && !exactFamilies[concept] {
			x.addNear(w)
		}
	}
	if p := x.phrases[joined]; !slices.Contains(p.concepts, concept) {
		p.concepts = append(p.concepts, concept)
		x.phrases[joined] = p
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
			if first(c) == first(word) && !slices.Contains(out, c) && oneSlip(word, c) {
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

// first returns the first letter of a word.
func first(word string) rune {
	r, _ := utf8.DecodeRuneInString(word)
	return r
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
	return x.follow(trail{from: from, at: from}, tokens, guesses)
}

// trail is how far a phrase was followed, and the longest span on the way.
type trail struct {
	from, at int // the tokens it begins with and goes on with
	begun    string
	fuzzy    bool
	best     span
	found    bool
}

// follow goes on with a phrase as far as there is one.
func (x *index) follow(w trail, tokens []token, guesses func(int) []string) (span, bool) {
	var room [64]byte // most phrases are shorter
	begun := append(room[:0], w.begun...)
	for ; w.at < len(tokens) && !tokens[w.at].isNumber && w.at-w.from < maxPhrase; w.at++ {
		if w.at > w.from && tokens[w.at-1].comma && tokens[w.at-1].question {
			break
		}
		word, before := tokens[w.at].word, len(begun)
		begun = extend(begun, word)
		p, ok := x.phrases[string(begun)]
		if !ok {
			if guesses != nil && !x.words[word] {
				w.begun = string(begun[:before])
				return x.slipped(w, tokens, guesses)
			}
			break
		}
		w.meet(p)
		if !p.begins {
			break
		}
	}
	return w.best, w.found
}

// slipped goes on with each word that the next token may be a slip of.
func (x *index) slipped(w trail, tokens []token, guesses func(int) []string) (span, bool) {
	begun := w.begun
	for _, word := range guesses(w.at) {
		w.begun, w.fuzzy = string(extend([]byte(begun), word)), true
		p := x.phrases[w.begun]
		w.meet(p)
		if p.begins {
			longer := w
			longer.at++
			w.best, w.found = x.follow(longer, tokens, guesses)
		}
	}
	return w.best, w.found
}

// meet takes what a phrase means that ends with the token the trail is at.
func (w *trail) meet(p phrase) {
	if len(p.concepts) == 0 {
		return
	}
	concepts := p.concepts
	if w.fuzzy {
		concepts = slices.DeleteFunc(slices.Clone(concepts), func(c string) bool { return exactFamilies[family(c)] || exactFamilies[c] })
	}
	w.best, w.found = better(w.best, w.found, span{concepts: concepts, from: w.from, to: w.at + 1, fuzzy: w.fuzzy})
}

// extend joins a word to a phrase.
func extend(begun []byte, word string) []byte {
	if len(begun) > 0 {
		begun = append(begun, ' ')
	}
	return append(begun, word...)
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
	folds []folding
	langs []locales.Lang      // one of each folding
	alike map[string]presence // of all foldings together, for a word that is the same in each
}

// langset is a set of languages: the bit of each is its place in the order.
type langset uint64

// presence says which languages have a word, and in which of them it begins a
// phrase of the topics, of harm, of the trade. Most words of a text begin none, so
// one look spares many.
type presence struct{ held, main, safety, trade langset }

// or joins the presence of two words.
func (p presence) or(o presence) presence {
	return presence{p.held | o.held, p.main | o.main, p.safety | o.safety, p.trade | o.trade}
}

// of is the presence in some languages alone.
func (p presence) of(l langset) presence {
	return presence{p.held & l, p.main & l, p.safety & l, p.trade & l}
}

// folding is languages that fold a text alike, and what is known there of a word.
type folding struct {
	of    langset
	words map[string]presence
}

// vocabulary is the words of one language: of the topics, of harm, and of the
// trade where they sound like harm.
type vocabulary struct {
	main, safety, trade *index
	abroad              *index       // of main, what is heard where the language is off
	taught              []vocabulary // what officers taught beside them
	bit, kin            langset      // of the language; of it in all its scripts
	fold                int          // which folding it has
}

// beside returns the vocabulary with what officers taught.
func (v vocabulary) beside(taught []vocabulary) vocabulary {
	v.taught = taught
	return v
}

// knows reports whether the language has the word at all; such a word is never
// taken for a slip of another.
func (v vocabulary) knows(word string) bool {
	return v.main.words[word] || v.safety.words[word] || v.trade.words[word] ||
		slices.ContainsFunc(v.taught, func(t vocabulary) bool { return t.main.words[word] })
}

func compile(c *locales.Catalog) lexicons {
	out := lexicons{order: c.Heard(), words: map[locales.Lang]vocabulary{}, alike: map[string]presence{}}
	for i, l := range out.order {
		safe := func(concept string) bool { return slices.Contains(safetyFamilies, family(concept)) }
		trade := func(concept string) bool { return family(concept) == tradeFamily }
		v := vocabulary{
			main: newIndex(l, c.Words(l), func(concept string) bool {
				return !safe(concept) && !trade(concept) && family(concept) != subjectFamily && concept != officeWord
			}, fuzzyLetters),
			abroad: newIndex(l, c.Words(l), func(concept string) bool {
				return family(concept) == "lang" || slices.Contains(heardAbroad, concept)
			}, fuzzyLetters),
			safety: newIndex(l, c.Words(l), safe, safetyLetters),
			trade:  newIndex(l, c.Words(l), trade, safetyLetters),
			bit:    1 << i,
		}
		for j, o := range out.order {
			if locales.Kin(l, o) {
				v.kin |= 1 << j
			}
		}
		if !slices.Contains(c.Langs(), l) {
			v.abroad = v.main // it is made of such words alone
		}
		v.fold = out.folding(l)
		f := &out.folds[v.fold]
		f.of |= v.bit
		for _, x := range []*index{v.main, v.safety, v.trade} {
			for word := range x.words {
				p := v.presence(word)
				f.words[word], out.alike[word] = f.words[word].or(p), out.alike[word].or(p)
			}
		}
		out.words[l] = v
	}
	return out
}

// presence is that of a word the language has.
func (v vocabulary) presence(word string) presence {
	begins := func(x *index) langset {
		if _, ok := x.phrases[word]; ok {
			return v.bit
		}
		return 0
	}
	return presence{v.bit, begins(v.main), begins(v.safety), begins(v.trade)}
}

// heardAbroad are the meanings that count in every language, whether the operator
// has switched it on or not, beside the names of languages and all that tells of
// harm.
var heardAbroad = []string{"word.stop", "word.help", "word.hurt", "word.language"}

// folding returns the place of how a language folds.
func (x *lexicons) folding(l locales.Lang) int {
	i := slices.IndexFunc(x.langs, func(o locales.Lang) bool { return locales.Folding(o) == locales.Folding(l) })
	if i < 0 {
		i = len(x.folds)
		x.folds, x.langs = append(x.folds, folding{words: map[string]presence{}}), append(x.langs, l)
	}
	return i
}

// ear is one language as a text is read in it.
type ear struct {
	vocabulary
	lang   locales.Lang
	main   *index // its words of the topics; where it is off, those that are heard all the same
	tokens []token
	taught []vocabulary // what officers taught, for everybody and for the place
}

// ears returns the languages in which a text means something, that of the session
// first and the others in their order. On are the languages switched on; nil are
// all.
func (x lexicons) ears(l look, on []locales.Lang, taught *Overlay, place string) []ear {
	session, views := l.lang, l.views
	own, known := x.words[session]
	all := langset(0)
	for _, p := range l.held {
		all |= p.held
	}
	switched := langset(0) // with the other script of each
	for _, l := range on {
		switched |= x.words[l].kin
	}
	out := make([]ear, 0, bits.OnesCount64(uint64(all))+1)
	add := func(l locales.Lang, v vocabulary) {
		e := ear{vocabulary: v, lang: l, main: v.main, tokens: views[v.fold], taught: taught.in(l, place)}
		if all&v.bit == 0 && len(e.taught) == 0 && l != session {
			return
		}
		if on != nil && l != session && switched&v.bit == 0 {
			e.main = v.abroad
		}
		out = append(out, e)
	}
	if known {
		add(session, own)
	}
	for _, l := range x.order {
		if l != session {
			add(l, x.words[l])
		}
	}
	return out
}

// look is a text with its words looked up, before they mean anything together.
type look struct {
	lang   locales.Lang // of the session it was read in
	text   string
	tokens []token
	views  [][]token  // the tokens as each folding has them: "bleeding" in English is "bleding" in Swahili
	held   []presence // of each token
}

func (x lexicons) look(l locales.Lang, text string) look {
	tokens := read(l, text)
	views, held := make([][]token, len(x.folds)), make([]presence, len(tokens))
	for i := range views {
		views[i] = tokens
	}
	folded := make([]string, len(x.folds))
	for j, t := range tokens {
		if t.raw == "" {
			continue
		}
		held[j] = x.presence(t.raw, folded)
		for i, word := range folded {
			if word == t.word {
				continue
			}
			if &views[i][0] == &tokens[0] {
				views[i] = slices.Clone(tokens)
			}
			views[i][j].word = word
		}
	}
	return look{l, text, tokens, views, held}
}

// presence folds a word in every way there is, and says which languages have it,
// or a part of it where their folding parts it.
func (x lexicons) presence(raw string, folded []string) presence {
	locales.FoldEach(x.langs, raw, folded)
	others, apart := presence{}, langset(0)
	for i, word := range folded {
		if word == folded[0] {
			continue
		}
		f := x.folds[i]
		apart |= f.of
		for part := range strings.SplitSeq(word, " ") {
			others = others.or(f.words[part])
		}
	}
	return x.alike[folded[0]].of(^apart).or(others)
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

// shortAbroad is how many Latin letters a word of another language than the
// session's has at least to mean something alone: shorter ones are other words
// everywhere.
const shortAbroad = 3

// small reports whether a span is one such short word.
func (e *ear) small(s span) bool {
	word := e.tokens[s.from].word
	return s.to-s.from == 1 && len(word) < shortAbroad && word[0] < utf8.RuneSelf
}

// spans reads the meanings of a text in each of its languages, one after the
// other: the session language first, then words of the other languages, and
// guesses in the session language only. With what officers taught of a language it
// ranks with its words.
func spans(ears []ear, held []presence, taught bool) []span {
	if len(ears) == 0 {
		return nil
	}
	tokens := ears[0].tokens
	out := make([]span, 0, len(tokens)/2+1)
	first := ears[0]
	var lessons []vocabulary
	if taught {
		lessons = first.taught
	}
	guesses := first.beside(lessons).guesser(first.main, tokens, fuzzyLetters)
	taughtGuesses := make([]func(int) []string, len(lessons))
	for k, v := range lessons {
		taughtGuesses[k] = first.beside(lessons).guesser(v.main, tokens, fuzzyLetters)
	}
	for from := 0; from < len(tokens); {
		best, found := span{}, false
		for i := range ears {
			e := &ears[i]
			var g func(int) []string
			if i == 0 {
				g = guesses
			}
			var s span
			ok := false
			if h := held[from]; h.main&e.bit != 0 || h.held&e.bit == 0 && g != nil {
				s, ok = e.main.at(e.tokens, from, g)
			}
			if ok && i > 0 && e.small(s) {
				ok = false
			}
			if taught {
				for k, v := range e.taught {
					if i == 0 {
						g = taughtGuesses[k]
					}
					if o, known := v.main.at(e.tokens, from, g); known {
						s, ok = joined(s, ok, o), true
					}
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

// loud reports whether a word of another language than the session's raises an
// alarm alone: a long one does, and one in letters that no other language has.
func (e *ear) loud(word string) bool {
	return utf8.RuneCountInString(word) >= shortForeign || word[0] >= utf8.RuneSelf && locales.Wide(e.lang)
}

// parted returns the words of a text, and the place of each among its tokens. What
// a language folds to two words, as French does at an apostrophe, is one token to a
// session in another. Nil are places that are the same.
func (e *ear) parted() (words []token, places []int) {
	if !locales.Elides(e.lang) || !slices.ContainsFunc(e.tokens, func(t token) bool { return strings.Contains(t.word, " ") }) {
		return e.tokens, nil
	}
	for i, t := range e.tokens {
		for word := range strings.SplitSeq(t.word, " ") {
			t.word = word
			words, places = append(words, t), append(places, i)
		}
	}
	return words, places
}

// among returns a span of words as one of the tokens where they stand.
func (s span) among(places []int) span {
	if places != nil {
		s.from, s.to = places[s.from], places[s.to-1]+1
	}
	return s
}

// harms reads every phrase of harm that starts at any word, in each language as
// that folds it, but for those that lie within an ordinary phrase of the trade or a
// longer phrase of harm: "the goats are dead" is not "dead". What officers taught
// adds to them and takes none away.
func harms(ears []ear, held []presence) []span {
	var out, trade, added []span
	speaks := langset(0)
	for _, p := range held {
		speaks |= p.safety | p.trade
	}
	for i := range ears {
		e := &ears[i]
		if i > 0 && speaks&e.bit == 0 && len(e.taught) == 0 {
			continue
		}
		words, places := e.parted()
		var g func(int) []string
		if i == 0 && !locales.Agglutinative(e.lang) {
			g = e.guesser(e.safety, words, safetyLetters)
		}
		var found []span
		alarming, harmed := i == 0, e.main != e.abroad
		for from := range words {
			at := from
			if places != nil {
				at = places[from]
			}
			known := held[at].held&e.bit != 0
			if held[at].trade&e.bit != 0 {
				if s, ok := e.trade.at(words, from, nil); ok {
					trade = append(trade, s.among(places))
				}
			}
			if held[at].safety&e.bit == 0 && (known || g == nil) {
				continue
			}
			if s, ok := e.safety.at(words, from, g); ok {
				harmed = harmed || s.in("emergency") || s.in("harm") || s.in("hazard")
				alarming = alarming || len(found) > 0 || s.to-s.from > 1 || e.loud(words[from].word)
				found = append(found, s.among(places))
			}
		}
		if alarming && harmed { // of a language that is not sent a person alone says nothing
			out = append(out, found...)
		}
		for _, v := range e.taught {
			if len(v.safety.words) == 0 {
				continue
			}
			for from := range words {
				if s, ok := v.safety.at(words, from, nil); ok {
					added = append(added, s.among(places))
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

// language returns the language most words of a text belong to, and whether that
// is clear, among some; nil are all that are heard. Their order breaks no tie.
func (x lexicons) language(l look, among []locales.Lang) (best locales.Lang, clear bool) {
	asked := langset(0)
	for _, l := range among {
		asked |= x.words[l].bit
	}
	if among == nil {
		asked = ^asked
	}
	var votes [64]int
	for _, p := range l.held {
		for held := p.held & asked; held != 0; held &= held - 1 {
			votes[bits.TrailingZeros64(uint64(held))]++
		}
	}
	most := 0
	for i, l := range x.order {
		switch {
		case votes[i] > most:
			best, most, clear = l, votes[i], true
		case votes[i] == most:
			clear = false
		}
	}
	return best, clear
}
