package dialog

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"cobline/locales"
)

// maxTokens bounds the work one text can cause: a long text of ten parts holds
// fewer words than this.
const maxTokens = 400

// token is one word or number of a text.
type token struct {
	word     string  // folded; empty for a number
	raw      string  // as it was written
	number   float64 // of a number
	isNumber bool
	middle   bool // the middle of a range that was written, such as 5-6
	doubtful bool // 1.500: one and a half, or fifteen hundred
	kilo     bool // 3k: three kilograms, or three thousand
	question bool // a question mark follows
	comma    bool // punctuation follows
	colon    bool // a colon follows, as in 16:00
}

// reader cuts a text into tokens. A rule that does not fit puts the cursor back.
type reader struct {
	lang locales.Lang
	text string
	at   int
}

// read returns the tokens of a text.
func read(l locales.Lang, text string) []token {
	r := reader{lang: l, text: strings.ToValidUTF8(text, " ")}
	out := make([]token, 0, min(strings.Count(text, " ")+1, maxTokens)) // as many as words
	for len(out) < maxTokens {
		t, ok := r.next()
		if !ok {
			return out
		}
		if mark := t.mark(); mark {
			if len(out) > 0 {
				out[len(out)-1].question = out[len(out)-1].question || t.question
				out[len(out)-1].colon = t.colon && !out[len(out)-1].comma
				out[len(out)-1].comma = true
			}
			continue
		}
		if n := len(out); t.isNumber && n > 0 && out[n-1].isNumber && !out[n-1].comma && t.number < 1 && t.number > 0 && out[n-1].number >= 1 {
			out[n-1].number += t.number // 3 1/2
			continue
		}
		out = append(out, t)
	}
	return out
}

// mark reports whether the token is punctuation only.
func (t token) mark() bool { return !t.isNumber && t.word == "" }

// next reads one token; false at the end of the text.
func (r *reader) next() (token, bool) {
	for r.at < len(r.text) {
		c, size := r.peek()
		switch {
		case unicode.IsDigit(c) || fraction(c) > 0 || one(c) && r.digitAfter(size) && !r.letterBefore():
			return r.number(), true
		case unicode.IsLetter(c) || unicode.IsMark(c):
			return r.word(), true
		case c == '?' || c == '\u061f' || c == '፧':
			r.at += size
			return token{question: true}, true
		case strings.ContainsRune(",;:!.\n।॥።፣፤፥፦،؛", c):
			r.at += size
			return token{comma: true, colon: c == ':'}, true
		default:
			r.at += size
		}
	}
	return token{}, false
}

func (r *reader) peek() (rune, int) {
	if r.at >= len(r.text) {
		return 0, 0
	}
	return utf8.DecodeRuneInString(r.text[r.at:])
}

// number reads "3", "3.5", "3,5", "1/2", "3½", "5-6" and "1.500".
func (r *reader) number() token {
	t := token{isNumber: true}
	if c, size := r.peek(); fraction(c) > 0 {
		r.at += size
		t.number = fraction(c)
		return t
	}
	digits, doubtful := r.marked(r.digits())
	t.doubtful = doubtful
	t.number = parse(digits)
	mark := r.at
	switch c, size := r.peek(); {
	case (c == 'k' || c == 'K') && !r.letterAfter(size):
		r.at += size
		t.kilo = true
	case fraction(c) > 0:
		r.at += size
		t.number += fraction(c)
	case c == '/':
		r.at += size
		if below := parse(r.digits()); below > 0 {
			t.number /= below
		} else {
			r.at = mark
		}
	case c == '-' || c == '–':
		r.at += size
		if high := r.digits(); high != "" && parse(high) > t.number {
			t.number, t.middle = (t.number+parse(high))/2, true
		} else {
			r.at = mark
		}
	}
	return t
}

// marked reads what stands behind digits and a mark: "3.5", "3,5", "1.500.000",
// "1,25,000", "1.500,50". One mark with three digits behind it may be either, and
// is doubtful. Behind two of a kind it parts thousands; of two kinds the second is
// that of decimals.
func (r *reader) marked(digits string) (number string, doubtful bool) {
	var groups []string
	var marks []rune
	end := r.at
	for {
		c, size := r.peek()
		if c != '.' && c != ',' && c != '٫' && c != '٬' {
			break
		}
		r.at += size
		group := r.digits()
		if group == "" {
			r.at = end
			break
		}
		groups, marks, end = append(groups, group), append(marks, c), r.at
	}
	last := len(groups) - 1
	switch {
	case last < 0:
		return r.spaced(digits), false
	case last == 0:
		return digits + "." + groups[0], len(groups[0]) == 3 && strings.TrimLeft(digits, "0") != "" && len(digits) <= 3
	case marks[0] == marks[last] && len(groups[last]) == 3:
		return digits + strings.Join(groups, ""), false
	case marks[0] != marks[last] && len(groups[last-1]) == 3:
		return digits + strings.Join(groups[:last], "") + "." + groups[last], false
	}
	return digits + "." + groups[0], false
}

// spaced reads three digits behind a space, where people part thousands so: "5 000"
// everywhere, "12 500" where the comma is the mark of decimals.
func (r *reader) spaced(digits string) string {
	for n := len(digits); n > 0 && n <= 3 && len(digits) <= 9 && digits[0] != '0'; {
		start := r.at
		c, size := r.peek()
		if c != ' ' && c != '\u00a0' && c != '\u202f' {
			return digits
		}
		r.at += size
		group := r.digits()
		c, _ = r.peek()
		comma := locales.Number(r.lang, 0.5, 1) == "0,5"
		if len(group) != 3 || !comma && group != "000" || c == '/' || c == '.' || c == ',' || unicode.IsDigit(c) {
			r.at = start
			return digits
		}
		digits += group
	}
	return digits
}

// digits reads decimal digits of any script. Between or behind digits an O
// stands for a zero: phones and hands mix them up.
func (r *reader) digits() string {
	start := r.at
	for {
		c, size := r.peek()
		slip := r.at > start && ((c == 'O' || c == 'o') && r.zero() || one(c) && r.digitAfter(size))
		if size == 0 || !unicode.IsDigit(c) && !slip && !(one(c) && r.at == start && r.digitAfter(size)) {
			break
		}
		r.at += size
	}
	return locales.Fold(r.lang, zeros.Replace(r.text[start:r.at]))
}

var zeros = strings.NewReplacer("o", "0", "O", "0", "l", "1", "I", "1", "|", "1")

// zero reports whether nothing but more of them stands between an O and what is no
// letter.
func (r *reader) zero() bool {
	rest := strings.TrimLeft(r.text[r.at:], "Oo")
	c, _ := utf8.DecodeRuneInString(rest)
	return !unicode.IsLetter(c)
}

// one reports whether a letter is written for the digit 1 beside other digits.
func one(c rune) bool { return c == 'l' || c == 'I' || c == '|' }

// digitAfter reports whether a digit follows what has this size.
func (r *reader) digitAfter(size int) bool {
	c, _ := utf8.DecodeRuneInString(r.text[min(r.at+size, len(r.text)):])
	return unicode.IsDigit(c)
}

// word reads letters with inner apostrophes. In "x2" the x is a sign, not a word.
func (r *reader) word() token {
	start := r.at
	for {
		c, size := r.peek()
		if size == 0 || !unicode.IsLetter(c) && !unicode.IsMark(c) && !joiner(c) && !(apostrophe(c) && r.letterAfter(size) && !locales.Elides(r.lang)) {
			break
		}
		r.at += size
	}
	raw := r.text[start:r.at]
	if c, _ := r.peek(); (raw == "x" || raw == "X") && unicode.IsDigit(c) {
		return r.number()
	}
	word := locales.Fold(r.lang, raw)
	if word == "x" && start > 0 {
		return token{comma: true}
	}
	if word == "" {
		return token{comma: true}
	}
	return token{word: word, raw: raw}
}

// letterBefore reports whether a letter stands before the cursor.
func (r *reader) letterBefore() bool {
	c, _ := utf8.DecodeLastRuneInString(r.text[:r.at])
	return unicode.IsLetter(c)
}

// letterAfter reports whether a letter follows the apostrophe of this size.
func (r *reader) letterAfter(size int) bool {
	c, _ := utf8.DecodeRuneInString(r.text[r.at+size:])
	return unicode.IsLetter(c)
}

// joiner reports whether a rune stands within a word of an Indic script, unseen.
func joiner(c rune) bool { return c == '\u200c' || c == '\u200d' }

func apostrophe(c rune) bool { return c == '\'' || c == '’' || c == '‘' || c == '`' || c == 'ʼ' }

// fraction returns the value of a one-character fraction, or zero.
func fraction(c rune) float64 {
	switch c {
	case '½':
		return 0.5
	case '¼':
		return 0.25
	case '¾':
		return 0.75
	case '⅓':
		return 1.0 / 3
	case '⅔':
		return 2.0 / 3
	}
	return 0
}

// parse returns the value of digits; a number too long to be meant is huge, so
// that every limit catches it.
func parse(digits string) float64 {
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return 1e9
	}
	return min(v, 1e9)
}
