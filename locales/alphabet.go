package locales

import (
	"maps"
	"math"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// Substitutions returns what readers of a language accept in place of the runes
// that would turn a whole message into the alphabet of 70 characters. The
// caller must not change it.
func Substitutions(l Lang) map[rune]string {
	if subs, ok := substitutions[l]; ok {
		return subs
	}
	return punctuation
}

// punctuation is outside the GSM 7-bit alphabet and has a plain form that every
// reader knows.
var punctuation = runes(map[string]string{
	"‘’‚‛ʼʻ′´`": "'", "“”„‟«»″": `"`, "‐‑‒–—―−→": "-", "•‣·": "-", "×": "x", "÷⁄": "/", "≤": "<", "≥": ">",
	"…": "...", "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "²": "2", "³": "3", "°º": "",
	"\t\u00a0\u2009\u202f": " ", "\u200b\u200c\u200d\ufeff": "", "\u0300\u0301\u0302\u0303\u0308\u0323\u0327": "",
})

// marked lists the letters of each alphabet that people text without their
// mark. What the GSM 7-bit alphabet has keeps it.
var marked = map[Lang]string{
	"en": "àâäçéèêëîïñôöûü", "es": "áéíñóúü", "fr": "àâæçéèêëîïôœùûüÿ", "ha": "ɓɗƙƴ", "hi-Latn": "āīūñ", "ht": "àçèéò",
	"lg": "ŋ", "ny": "ŵ", "pt": "àáâãçéêíóôõúü", "rw": "", "sw": "", "wo": "àéëñóŋ", "yo": "áàéèẹíìóòọúùṣńǹ",
}

// gsmLetters are the marked letters of the GSM 7-bit default alphabet, 3GPP
// TS 23.038 section 6.2.1.
const gsmLetters = "èéùìòÇØøÅåÆæßÉÄÖÑÜäöñüà"

var substitutions = func() map[Lang]map[rune]string {
	all := map[Lang]map[rune]string{}
	for l, letters := range marked {
		all[l] = maps.Clone(punctuation)
		for _, r := range letters + strings.ToUpper(letters) {
			if !strings.ContainsRune(gsmLetters, r) {
				all[l][r] = unmarked(r)
			}
		}
	}
	return all
}()

// unmarked returns a letter without its mark, in its own case.
func unmarked(r rune) string {
	if r == 'ŋ' {
		return "ng'" // Luganda and Wolof readers write it so
	}
	s, ok := replaced[r]
	if !ok {
		s = norm.NFKD.String(string(r))[:1]
	}
	if unicode.IsUpper(r) {
		return strings.ToUpper(s)
	}
	return s
}

// MultiplierFirst reports whether a language says what a number is multiplied with
// before it: "mia tatu" is a hundred three, 300.
func MultiplierFirst(l Lang) bool {
	switch l {
	case "ha", "lg", "ny", "rw", "sw":
		return true
	}
	return false
}

// Number formats a number for a message: ASCII digits, no grouping, the decimal
// mark of the language, at most one decimal and none that is zero.
func Number(l Lang, v float64, decimals int) string {
	scale := 1.0
	if decimals > 0 {
		scale = 10
	}
	s := strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64) // +0 turns -0 into 0
	switch l {
	case "fr", "ht", "pt", "rw", "wo":
		return strings.Replace(s, ".", ",", 1)
	}
	return s
}
