package views

import (
	"strings"
	"unicode"

	"cobline/locales"
)

// word is one word of a text: where it stands, and what it is searched by.
type word struct {
	from, to int
	folded   []string
}

// inWord reports whether a rune belongs to a word. Vowel signs do; an apostrophe
// parts two words, for the sake of the elided article.
func inWord(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsNumber(r) || unicode.IsMark(r) || unicode.Is(unicode.Co, r)
}

// wordsOf returns the words of a text. They are folded in no language's own way,
// because one search goes through all languages.
func wordsOf(text string) (words []word) {
	from := -1
	end := func(to int) {
		if from < 0 {
			return
		}
		// A fraction folds to two numbers.
		if folded := strings.FieldsFunc(locales.Fold("", text[from:to]), func(r rune) bool { return !inWord(r) }); len(folded) > 0 {
			words = append(words, word{from, to, folded})
		}
		from = -1
	}
	for i, r := range text {
		switch {
		case !inWord(r):
			end(i)
		case from < 0:
			from = i
		}
	}
	end(len(text))
	return words
}

// indexed returns a text as the index of words takes it.
func indexed(text string) string {
	var all []string
	for _, w := range wordsOf(text) {
		all = append(all, w.folded...)
	}
	return strings.Join(all, " ")
}

// beginsFrom is the length from which a searched word also finds longer ones
// that begin with it: many languages put endings on words.
const beginsFrom = 4

// sought is a search for words.
type sought []string

// seek reads what an officer typed as words alone: whatever signs it holds, none
// of them reaches the index.
func seek(typed string) (s sought) {
	for _, w := range wordsOf(typed) {
		s = append(s, w.folded...)
	}
	const most = 12 // nobody remembers more of a text
	return s[:min(len(s), most)]
}

// match returns the search as the index takes it: each word in quotes, so that
// none is an operator.
func (s sought) match() string {
	var b strings.Builder
	for _, w := range s {
		b.WriteString(`"` + w + `" `)
		if len([]rune(w)) >= beginsFrom {
			b.WriteString("* ")
		}
	}
	return b.String()
}

func (s sought) finds(folded string) bool {
	for _, w := range s {
		if folded == w || len([]rune(w)) >= beginsFrom && strings.HasPrefix(folded, w) {
			return true
		}
	}
	return false
}

// maxSnippet is how many letters of a text a list shows.
const maxSnippet = 160

// snippet returns a part of a text around the first word found, and where in it
// the words found stand.
func (s sought) snippet(text string) (snippet string, marks [][2]int) {
	var found []word
	for _, w := range wordsOf(text) {
		for _, folded := range w.folded {
			if s.finds(folded) {
				found = append(found, w)
				break
			}
		}
	}
	from, to := 0, len(text)
	if runes := []rune(text); len(runes) > maxSnippet {
		start := 0
		if len(found) > 0 {
			start = max(0, min(len([]rune(text[:found[0].from]))-maxSnippet/4, len(runes)-maxSnippet))
		}
		from = len(string(runes[:start]))
		to = from + len(string(runes[start:start+maxSnippet]))
	}
	for _, w := range found {
		if w.from >= from && w.to <= to {
			marks = append(marks, [2]int{w.from - from, w.to - from})
		}
	}
	return text[from:to], marks
}

// maxNorm bounds the form by which texts that were not understood are compared.
const maxNorm = 160

// normal returns what two likely spellings of one text have in common: folded
// words in their order, every number as one sign. A text of signs alone is its
// own form.
func normal(lang, text string) string {
	folded := locales.Fold(locales.Lang(lang), text)
	words := strings.FieldsFunc(folded, func(r rune) bool { return !inWord(r) })
	for i, w := range words {
		if strings.IndexFunc(w, unicode.IsDigit) == 0 && strings.IndexFunc(w, unicode.IsLetter) < 0 {
			words[i] = "#"
		}
	}
	norm := strings.Join(words, " ")
	if norm == "" {
		norm = folded
	}
	if runes := []rune(norm); len(runes) > maxNorm {
		norm = string(runes[:maxNorm])
	}
	return norm
}
