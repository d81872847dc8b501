package locales

import (
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/language"
)

// scripts are the letters outside the GSM 7-bit alphabet that a language may be
// written in, by their code of ISO 15924.
var scripts = map[string]*unicode.RangeTable{
	"Arab": unicode.Arabic, "Beng": unicode.Bengali, "Cyrl": unicode.Cyrillic, "Deva": unicode.Devanagari, "Ethi": unicode.Ethiopic,
	"Gujr": unicode.Gujarati, "Guru": unicode.Gurmukhi, "Khmr": unicode.Khmer, "Knda": unicode.Kannada, "Laoo": unicode.Lao,
	"Mlym": unicode.Malayalam, "Mymr": unicode.Myanmar, "Nkoo": unicode.Nko, "Orya": unicode.Oriya, "Sinh": unicode.Sinhala,
	"Taml": unicode.Tamil, "Telu": unicode.Telugu, "Thai": unicode.Thai,
}

// Script returns the letters of a language that are outside the GSM 7-bit
// alphabet, nil if it is written in Latin ones.
func Script(l Lang) *unicode.RangeTable {
	if known, ok := scriptOf.Load(l); ok {
		return known.(*unicode.RangeTable)
	}
	script, _ := language.Make(string(l)).Script()
	scriptOf.Store(l, scripts[script.String()])
	return scripts[script.String()]
}

// scriptOf keeps what Script found: a tag takes long to read.
var scriptOf sync.Map

// Wide reports whether the script of a language is outside the GSM 7-bit
// alphabet. A message may take three segments for one there: 67 characters for
// 153.
func Wide(l Lang) bool { return Script(l) != nil }

// Kin reports whether two tags are one language, perhaps in two scripts.
func Kin(a, b Lang) bool {
	base := func(l Lang) string { s, _, _ := strings.Cut(string(l), "-"); return s }
	return base(a) == base(b)
}

// Written returns the script, outside the Latin one, that all letters of a text
// belong to; nil if there is none, or a text has no letter.
func Written(text string) *unicode.RangeTable {
	i := strings.IndexFunc(text, unicode.IsLetter)
	if i < 0 || text[i] < utf8.RuneSelf {
		return nil
	}
	r, _ := utf8.DecodeRuneInString(text[i:])
	for _, table := range scripts {
		if !unicode.Is(table, r) {
			continue
		}
		if strings.ContainsFunc(text, func(r rune) bool { return unicode.IsLetter(r) && !unicode.Is(table, r) }) {
			return nil
		}
		return table
	}
	return nil
}

// RowName returns a language's own name in letters that every phone shows and no
// message pays for: in a row of languages it must not turn all of them into the
// dear alphabet.
func (c *Catalog) RowName(l Lang) string {
	if !Wide(l) {
		return c.Name(l)
	}
	for _, o := range c.langs {
		if Kin(o, l) && !Wide(o) {
			return c.Name(o)
		}
	}
	return c.Name(l)
}

// Called returns the language that some language has this name for, in any
// spelling its words file lists, or that has it as a tag; false if there is none,
// or are several that are not one in two scripts. Of those in two scripts it is
// the one of the letters the name is in.
func (c *Catalog) Called(name string) (Lang, bool) {
	var found []Lang
	for _, l := range c.heard {
		folded := spoken(l, name)
		for concept, spellings := range c.words[l] {
			tag, ok := strings.CutPrefix(concept, "lang.")
			if ok && slices.ContainsFunc(spellings, func(s string) bool { return spoken(l, s) == folded }) {
				found = append(found, Lang(tag))
			}
		}
	}
	for _, l := range c.langs {
		if strings.EqualFold(string(l), strings.TrimSpace(name)) {
			return l, true
		}
	}
	slices.Sort(found)
	found = slices.Compact(found)
	if len(found) > 1 {
		script := Written(name)
		found = slices.DeleteFunc(found, func(l Lang) bool { return Script(l) != script })
	}
	if len(found) != 1 {
		return "", false
	}
	return found[0], true
}
