package locales

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// The words of a sentence: the limit of each, and of their mean in a language.
// Guides for print ask for 15 to 20; a small screen wants less.
const (
	sentenceWords = 15
	meanWords     = 10
)

// Sentences cuts a text where a voice would pause: at a full stop, a question
// or exclamation mark and a colon, before a space or the end.
func Sentences(text string) []string {
	var all []string
	for text != "" {
		end := len(text)
		if at := pause.FindStringIndex(text); at != nil {
			end = at[1]
		}
		if s := strings.TrimSpace(text[:end]); strings.Trim(s, ".!?:। ") != "" {
			all = append(all, s)
		}
		text = text[end:]
	}
	return all
}

var pause = regexp.MustCompile(`[.!?:।]+(?:\s|$)|\n`)

// costly are signs that cost two characters, or a sum to do.
var costly = regexp.MustCompile(`[%{}\[\]\\~^|€]`)

// shortened is a word cut short: a stop and no new sentence, or a stroke.
var shortened = regexp.MustCompile(`(\p{L}+\.) \p{Ll}|\b([a-z]/[a-z]?)(?:\s|$)`)

// sixHours are hours that a clock of six would tell otherwise.
var sixHours = regexp.MustCompile(`\bsaa [0-9]{2}:`)

// Plain tells where a language is not worded for people who read little and
// slowly: long sentences, two questions at once, a question that is not last, a
// second name for a thing, a sum, a word cut short. The fixed lines are exempt,
// because nobody rewords them, and the messages the words file excepts.
func (c *Catalog) Plain(l Lang) (faults []Fault) {
	fixed, excepted := c.Fixed(), map[ID]bool{}
	for id := range c.rules[l].Except {
		excepted[id] = false // until it is met
	}
	avoid := make([]*regexp.Regexp, len(c.rules[l].Avoid))
	for i, a := range c.rules[l].Avoid {
		avoid[i] = regexp.MustCompile(`(?i)\b` + regexp.QuoteMeta(a.Word) + `\b`)
	}
	for _, id := range IDs() {
		if slices.Contains(fixed, id) {
			continue
		}
		for _, why := range c.unplain(l, id, avoid) {
			if _, ok := excepted[id]; ok {
				excepted[id] = true
				continue
			}
			faults = append(faults, c.fault("active", l, string(id), "%s", why))
		}
	}
	if mean := c.MeanWords(l); mean > meanWords {
		faults = append(faults, Fault{File: file("active", l), Why: fmt.Sprintf("a sentence has %.1f words on the mean, more than %d", mean, meanWords)})
	}
	for _, id := range IDs() {
		if met, ok := excepted[id]; ok && !met {
			faults = append(faults, c.fault("words", l, "rule.except", "excepts %q, which is worded plainly", id))
		}
	}
	return faults
}

// plainForms returns a message with one word in each slot, or one sentence where
// it is filled with whole ones.
func (c *Catalog) plainForms(l Lang, id ID) []string {
	sample := message(id).Sample
	return c.Forms(l, id, func(slot string) string {
		if s, ok := sample[slot].(string); ok && strings.HasPrefix(s, " ") {
			return " 0."
		}
		return "0"
	})
}

// countWords counts what has a letter or a digit: in French a space stands
// before a question mark.
func countWords(s string) (n int) {
	for word := range strings.FieldsSeq(s) {
		if strings.ContainsFunc(word, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) {
			n++
		}
	}
	return n
}

// unplain says what is wrong with one message.
func (c *Catalog) unplain(l Lang, id ID, avoid []*regexp.Regexp) (why []string) {
	tell := func(format string, args ...any) {
		if s := fmt.Sprintf(format, args...); !slices.Contains(why, s) {
			why = append(why, s)
		}
	}
	for _, form := range c.plainForms(l, id) {
		sentences := Sentences(form)
		questions := 0
		for i, s := range sentences {
			if n := countWords(s); n > sentenceWords {
				tell("has a sentence of %d words, more than %d: %s", n, sentenceWords, s)
			}
			// "Different? Text ..." asks nothing: it says when to do what follows.
			if strings.HasSuffix(s, "?") && (i == len(sentences)-1 || countWords(s) > conditionWords) {
				questions++
				if i < len(sentences)-1 {
					tell("goes on after its question: %s", s)
				}
			}
		}
		if questions > 1 {
			tell("asks %d questions", questions)
		}
		if sign := costly.FindString(form); sign != "" {
			tell("holds %s, a sum to do or a sign that costs two", sign)
		}
		if m := shortened.FindStringSubmatch(form); m != nil {
			tell("cuts a word short: %s", m[1]+m[2])
		}
		if l == "sw" && sixHours.MatchString(form) {
			tell("says saa before an hour: the Swahili clock counts from six")
		}
		for i, pattern := range avoid {
			if word := pattern.FindString(form); word != "" {
				tell("says %q: say %q", word, c.rules[l].Avoid[i].Say)
			}
		}
	}
	return why
}

// conditionWords is the longest condition written as a question: "Still wet?".
const conditionWords = 5

// MeanWords returns how many words a sentence of a language has on the mean,
// names of things and other fragments left out.
func (c *Catalog) MeanWords(l Lang) float64 {
	var words, sentences float64
	for _, id := range IDs() {
		for _, form := range c.plainForms(l, id) {
			if !pause.MatchString(form) {
				continue
			}
			for _, s := range Sentences(form) {
				words += float64(countWords(s))
				sentences++
			}
		}
	}
	return words / math.Max(sentences, 1)
}
