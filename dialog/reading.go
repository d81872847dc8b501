package dialog

import (
	"slices"
	"strings"

	"cobline/locales"
)

// reading is what a text says, before any topic looks at it.
type reading struct {
	text   string
	lang   locales.Lang // in which numbers are put together
	tokens []token
	spans  []span
	plain  []span // the spans without what officers taught: nothing taught makes an alarm ordinary
	safety []span
	parts  []part
	sums   []amount
	loud   bool // an exclamation mark ends it
}

// part is one piece of a reading in the order of the text: a number, a meaning,
// or a word without one.
type part struct {
	number   float64
	isNumber bool
	spelt    bool // in words
	times    bool // it was multiplied: "elfu moja" multiplies nothing more
	unsure   bool
	span     *span
	token    int
}

// readText reads a text for a person of a place who speaks l, where some languages
// are switched on; nil are all. What officers taught has the rank of the
// catalogue's own words, but is not looked at in a text that reports on a burn or
// asks for peace without it.
func (e *Engine) readText(l locales.Lang, on []locales.Lang, text string, taught *Overlay, place string) reading {
	return e.readLook(e.lexicons.look(l, text), on, taught, place)
}

// readLook is readText of a text that was looked at before.
func (e *Engine) readLook(l look, on []locales.Lang, taught *Overlay, place string) reading {
	r := reading{text: l.text, lang: l.lang, tokens: l.tokens, loud: strings.HasSuffix(strings.TrimSpace(l.text), "!")}
	ears := e.lexicons.ears(l, on, taught, place)
	r.plain = spans(ears, l.held, false)
	r.safety = harms(ears, l.held)
	if r.spans = r.plain; touched(ears) && !r.guarded() {
		if taught := spans(ears, l.held, true); r.keeps(taught) {
			r.spans = taught
		}
	}
	r.parts = r.cut()
	r.sums = r.measures()
	return r
}

// guarded reports whether the text, as the catalogue has it, speaks of a stage of
// a burn, or holds an opt-out.
func (r reading) guarded() bool {
	return slices.ContainsFunc(r.plain, func(s span) bool {
		return slices.ContainsFunc(s.concepts, func(c string) bool {
			return family(c) == "report" || family(c) == "question" || slices.Contains(leaving, c)
		})
	})
}

// keeps reports whether spans that were read beside taught words leave whole what a
// rule rests on: "almost dry" must not become a taught "cobs almost", and "dry".
func (r reading) keeps(spans []span) bool {
	return !slices.ContainsFunc(r.plain, func(s span) bool {
		return slices.ContainsFunc(s.concepts, func(c string) bool { return ruleOf(c) != "" }) &&
			!slices.ContainsFunc(spans, func(o span) bool { return o.from == s.from && o.to == s.to && slices.Equal(o.concepts, s.concepts) })
	})
}

// leaving are the words by which a person leaves the line, or is forgotten by it.
var leaving = []string{"word.stop", "word.stop-local", "word.forget-me", "word.not-me"}

// cut lays tokens and spans out in order and joins numbers written in words:
// "two and a half", "moja na nusu", "twenty five", "3 hundred".
func (r reading) cut() []part {
	out := make([]part, 0, len(r.tokens))
	next := 0
	for i := 0; i < len(r.tokens); {
		for next < len(r.spans) && r.spans[next].from < i {
			next++
		}
		t := r.tokens[i]
		switch {
		case t.isNumber:
			out = append(out, part{number: t.number, isNumber: true, unsure: t.middle || t.doubtful, token: i})
			i++
		case next < len(r.spans) && r.spans[next].from == i:
			s := &r.spans[next]
			if n := s.of("number"); len(n) == 1 && len(s.concepts) == 1 {
				out = append(out, part{number: parse(n[0]), isNumber: true, spelt: true, unsure: s.fuzzy, token: i})
			} else {
				out = append(out, part{span: s, token: i})
			}
			i = s.to
		default:
			out = append(out, part{token: i})
			i++
		}
	}
	return r.sum(r.join(out))
}

// join adds up and multiplies neighbouring numbers, with an "and" between them
// or not. In Swahili the multiplier comes first: "mia tatu" is 300.
func (r reading) join(parts []part) []part {
	out := parts[:0] // what is joined never grows beyond what is read
	for i, p := range parts {
		n := len(out)
		if !p.isNumber || n == 0 {
			out = append(out, p)
			continue
		}
		if more, ok := r.andHalf(out, p, parts[i+1:]); ok {
			out = more
			continue
		}
		if before := out[n-1].span; before != nil && before.in("more") {
			p.number += parse(before.of("more")[0])
			out[n-1] = p
			continue
		}
		if n > 1 && out[n-1].span != nil && out[n-1].span.is("word.range") && out[n-2].isNumber && out[n-2].number < p.number {
			out[n-2].number, out[n-2].unsure = (out[n-2].number+p.number)/2, true // "3 or 4"
			out = out[:n-1]
			continue
		}
		at, between := n-1, false
		if !out[at].isNumber && (out[at].span == nil || out[at].span.is("word.filler")) && n > 1 && out[n-2].isNumber {
			at, between = n-2, true // "and", "na", "et"
		}
		before := out[at]
		if v, ok := before.with(p, between, locales.MultiplierFirst(r.lang)); ok {
			out = out[:at+1]
			out[at].times = before.spelt && multiplier(before.number) && !multiplier(p.number)
			out[at].number, out[at].spelt = v, out[at].spelt || p.spelt
			continue
		}
		out = append(out, p)
	}
	return out
}

// andHalf adds a fraction that follows a unit: "2 drums and a half", "un tambor y
// medio".
func (r reading) andHalf(out []part, p part, rest []part) ([]part, bool) {
	n := len(out)
	if p.number <= 0 || p.number >= 1 || !p.spelt || n < 2 || !slices.Contains(ands, r.tokens[out[n-1].token].word) ||
		out[n-2].span == nil || !out[n-2].span.in("unit") || len(rest) > 0 && rest[0].span != nil && rest[0].span.in("unit") {
		return out, false
	}
	if n > 2 && out[n-3].isNumber {
		out[n-3].number += p.number
		return out[:n-1], true
	}
	unit := out[n-2]
	return append(out[:n-2], part{number: 1 + p.number, isNumber: true, spelt: true, token: unit.token}, unit), true
}

// ands are the words for and between a unit and a fraction.
var ands = []string{"and", "na", "et", "e", "y", "ak", "da", "aur", "और"}

// with joins a number to the one before it, if the two are one.
func (p part) with(next part, between, multiplierFirst bool) (float64, bool) {
	switch a, b := p.number, next.number; {
	case !p.isNumber:
		return 0, false
	case b > 0 && b < 1 && a >= 1:
		return a + b, true
	case multiplierFirst && !between && p.spelt && !p.times && !next.spelt && (a == 1000 || a == 100000) && b < 1000 && b == float64(int(b)):
		return a * b, true // "elfu 5"
	case !next.spelt || !p.spelt && b < 100:
		return 0, false
	case !between && multiplier(b) && a < b:
		return a * b, true
	case multiplierFirst && !between && p.spelt && !p.times && multiplier(a) && b < a:
		return a * b, true
	case p.spelt && b < 10 && a >= 10 && a < 100 && int(a)%10 == 0 && a == float64(int(a)):
		return a + b, true
	case p.spelt && between && a >= 100 && b < 100:
		return a + b, true
	}
	return 0, false
}

// multiplier reports whether a number multiplies what stands beside it.
func multiplier(v float64) bool { return v == 100 || v == 1000 || v == 100000 || v == 1000000 }

// sum adds up what is left of one number: "two thousand | five hundred", "elfu moja
// | mia tano", "do lakh | pachas hazar", "5 mil | 500". Each is smaller than the
// last place of the one before it.
func (r reading) sum(parts []part) []part {
	out := parts[:0]
	for _, p := range parts {
		at := len(out) - 1
		if at > 0 && !out[at].isNumber && (out[at].span == nil || out[at].span.is("word.filler")) && out[at-1].isNumber {
			at-- // "elfu moja na mia tano"
		}
		if at >= 0 && p.isNumber && out[at].isNumber && out[at].spelt && p.number >= 1 && p.number < place(out[at].number) && (p.spelt || p.number >= 100) && !r.commas(out[at].token, p.token) {
			out[at].number += p.number
			out = out[:at+1]
			continue
		}
		out = append(out, p)
	}
	return out
}

// place is the last place of a number that is not zero, from a hundred; else zero.
func place(v float64) float64 {
	if v != float64(int(v)) {
		return 0
	}
	for _, p := range []float64{1000000, 100000, 1000, 100} {
		if v >= p && int(v)%int(p) == 0 {
			return p
		}
	}
	return 0
}

// commas reports whether punctuation stands between two tokens.
func (r reading) commas(from, to int) bool {
	return slices.ContainsFunc(r.tokens[from:to], func(t token) bool { return t.comma })
}

// courtesy reports whether the text is nothing but a greeting or thanks, and
// whether it thanks.
func (r reading) courtesy() (courteous, thanks bool) {
	covered := 0
	for _, s := range r.spans {
		switch {
		case s.is("word.ok"):
			courteous, thanks = true, true
		case s.is("word.greeting"):
			courteous = true
		case !s.is("word.filler"):
			continue
		}
		covered += s.to - s.from
	}
	courteous = courteous && covered == len(r.tokens)
	return courteous, courteous && thanks
}

// has reports whether some span means the concept.
func (r reading) has(concept string) bool {
	return slices.ContainsFunc(r.spans, func(s span) bool { return s.is(concept) })
}

// wasteAt reports whether a waste is named at one of two tokens.
func (r reading) wasteAt(a, b int) bool {
	return slices.ContainsFunc(r.spans, func(s span) bool { return (s.from == a || s.from == b) && s.in("waste") })
}

// hasFamily reports whether some span has a meaning of the family.
func (r reading) hasFamily(f string) bool {
	return slices.ContainsFunc(r.spans, func(s span) bool { return s.in(f) })
}

// ofDrum reports whether a text can tell what a drum held: it names a drum, or
// says little beside what was in it. "Too much water" and "I am new" do not.
func (r reading) ofDrum() bool {
	if r.has("unit.drum") || r.has("word.held") {
		return true
	}
	covered := 0
	for _, s := range r.spans {
		if s.to-s.from > 1 && s.in("drum-past") {
			return true // a phrase of its own, such as "new drum"
		}
		if s.in("drum-past") || s.is("word.filler") || s.is("word.yes") || s.is("word.no") || s.is("word.ok") || s.is("word.not") || s.in("number") {
			covered += s.to - s.from
		}
	}
	return covered == len(r.tokens)
}

// namesWaste reports whether the text names a waste that is no starch too.
func (r reading) namesWaste() bool {
	return slices.ContainsFunc(r.spans, func(s span) bool { return s.in("waste") && !s.in("starch") })
}

// whole reports whether the text is nothing but one span meaning the concept
// (and numbers and names, if loose).
func (r reading) whole(concept string) bool {
	return len(r.spans) == 1 && r.spans[0].is(concept) && !r.spans[0].fuzzy &&
		r.spans[0].from == 0 && r.spans[0].to == len(r.tokens)
}

// digit returns the key, if the text is a single digit.
func (r reading) digit() (int, bool) {
	if len(r.tokens) != 1 || !r.tokens[0].isNumber || r.tokens[0].number != float64(int(r.tokens[0].number)) {
		return 0, false
	}
	n := int(r.tokens[0].number)
	return n, n >= 0 && n <= 9
}

// pointed is the place in a list that the text points at and says nothing else:
// "2", "two", "number 2", "the second", "no 3".
func (r reading) pointed() (int, bool) {
	at := 0.0
	for _, p := range r.parts {
		ordinal := []string{}
		if p.span != nil {
			ordinal = p.span.of("ordinal")
		}
		switch {
		case p.isNumber && at == 0:
			at = p.number
		case len(ordinal) == 1 && at == 0:
			at = parse(ordinal[0])
		case p.spelt && p.number == 1: // "the 2nd one"
		case p.span != nil && (p.span.is("word.number") || p.span.is("word.filler") || p.span.is("word.no")):
		default:
			return 0, false
		}
	}
	return int(at), at == float64(int(at))
}

// amount is a number with the unit it was given in; the unit is empty for a
// bare number.
type amount struct {
	number float64
	unit   string
	unsure bool
	token  int
	other  float64 // what else was meant, if it can be read in two ways: 1.500
}

// unitKilo is the unit of "3k": kilograms, or thousands where nothing is weighed.
const unitKilo = "k"

// converted are the units that are counted in another one.
var converted = map[string]struct {
	factor float64
	unit   string
}{"week": {7, "day"}, "tonne": {1000, "kg"}, "gram": {0.001, "kg"}}

// measures reads the numbers of a text with their units, written before or
// after. Before a waste a unit alone counts
// one: "a drum of cobs".
func (r reading) measures() []amount {
	parts, used := r.parts, make([]bool, len(r.parts))
	unit := func(i int) string {
		if i < 0 || i >= len(parts) || parts[i].span == nil || used[i] {
			return ""
		}
		if u := parts[i].span.of("unit"); len(u) == 1 && len(parts[i].span.concepts) == 1 {
			return u[0]
		}
		if parts[i].span.is("unit.drum") {
			return "drum"
		}
		return ""
	}
	var out []amount
	for i, p := range parts {
		if !p.isNumber {
			continue
		}
		before, after := unit(i-1), unit(i+1)
		if n := len(out); n > 0 && p.spelt && p.number < 1 && after == "" && i > 1 && used[i-1] && parts[i-2].isNumber && out[n-1].number >= 1 {
			out[n-1].number += p.number // "a drum and a half"
			continue
		}
		nextNumber := i+2 < len(parts) && parts[i+2].isNumber
		switch {
		case before != "" && (after == "" || nextNumber):
			used[i-1] = true
			out = append(out, amount{number: p.number, unit: before, unsure: p.unsure, token: p.token})
		case after != "":
			used[i+1] = true
			out = append(out, amount{number: p.number, unit: after, unsure: p.unsure, token: p.token})
		default:
			out = append(out, amount{number: p.number, unsure: p.unsure, token: p.token})
		}
		a, tok := &out[len(out)-1], r.tokens[p.token]
		if tok.doubtful {
			a.other = 1000 * a.number
		}
		if tok.kilo && a.unit == "" {
			a.unit = unitKilo
		}
	}
	for i, p := range parts {
		letter := p.token > 0 && (r.tokens[p.token-1].word == "i" || r.tokens[p.token-1].word == "l") // a 1 that looks like it
		if u := unit(i); (u == "drum" || u == "sack") && (letter || r.wasteAt(p.span.to, p.span.to+1)) {
			out = append(out, amount{number: 1, unit: u, token: p.token})
		}
	}
	for i, a := range out {
		if as, ok := converted[a.unit]; ok {
			out[i].number, out[i].unit = a.number*as.factor, as.unit
		}
	}
	return out
}

// hasWeight reports whether the text gives kilograms or tins.
func (r reading) hasWeight() bool {
	return slices.ContainsFunc(r.sums, func(a amount) bool { return a.unit == "kg" || a.unit == "tin" || a.unit == "bucket" })
}

// weighsStarch reports whether the kilograms of a text stand at its starch: "2 kg
// of roots", "unga kilo 2". Behind a comma they are of something else.
func (r reading) weighsStarch() bool {
	for _, a := range r.sums {
		from, to := a.token, a.token+1
		for _, s := range r.spans {
			switch unit := s.is("unit.kg"); {
			case unit && s.to == from:
				from = s.from
			case unit && s.from == to, s.from == to && s.is("word.filler"):
				to = s.to
			}
		}
		if a.unit != "kg" && a.unit != unitKilo {
			continue
		}
		for _, s := range r.spans {
			if s.in("starch") && (s.from == to && !r.tokens[to-1].comma || s.to == from && !r.tokens[from-1].comma) {
				return true
			}
		}
	}
	return false
}

// parted reports whether a comma stands between an amount and the word of a
// family behind it: "6 kg, maize flour" are two things.
func (r reading) parted(a amount, family string) bool {
	for _, s := range r.spans {
		if s.from > a.token && s.in(family) {
			return slices.ContainsFunc(r.tokens[a.token:s.from], func(t token) bool { return t.comma })
		}
	}
	return false
}

// nearer returns the family of the two whose word an amount belongs to. Where
// the words come first ("charcoal 10 kg, flour 1 kg", "mkaa kilo 9") it is the
// word right before; else the nearest, with a leaning to the one behind, and
// a single amount with the other family behind it is of that ("clay 15 kg charcoal").
func (r reading) nearer(token int, one, other string) string {
	begin, end := token, 0
	for _, s := range r.spans {
		switch {
		case s.to == token && s.in("unit"):
			begin = s.from
		case s.from == token+1 && s.in("unit"):
			end = s.to
		case end > 0 && begin == token && len(r.sums) == 1 && s.from <= end+1: // "15 kg of charcoal"
			if s.in(other) && s.from >= end {
				return other
			}
		}
	}
	best, at, wordsFirst := "", 1000, true
	for _, s := range r.spans {
		for _, f := range []string{one, other} {
			if !s.in(f) {
				continue
			}
			if at == 1000 {
				wordsFirst = len(r.sums) > 0 && s.from < r.sums[0].token
			}
			distance := s.from - token
			switch {
			case wordsFirst && s.to == begin && !r.tokens[begin-1].comma:
				distance = 0
			case s.from < token:
				distance = 2*(token-s.to) + 3
			}
			if distance < at {
				best, at = f, distance
			}
		}
	}
	return best
}
