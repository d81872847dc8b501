// Package ussd lays a text out on the small screens of a dialled session and
// turns its pages, so that reading on needs no step of the dialogue.
package ussd

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"unicode"
)

// Key is a digit that turns pages and the word shown beside it.
type Key struct{ Press, Label string }

// Keys are the two page keys of a channel, labelled in the reader's language, and
// the key that goes on in a list that has more choices; none if Press is empty.
type Keys struct{ Back, More, Next Key }

// Screen is a text laid out on pages, and the page that is shown. It is stored
// with the conversation; integer keys are never reused.
type Screen struct {
	Pages   []string `cbor:"1,keyasint,omitempty"`
	At      int      `cbor:"2,keyasint,omitempty"`
	Options int      `cbor:"3,keyasint,omitempty"` // how many digits answer the question
}

// Pages lays out a text and its numbered choices on pages of at most limit
// units, as count counts them; count is given whole pages, because one letter
// outside the alphabet changes what all the others cost. Choices stay together
// where one page can hold them.
//
// The last page of a text without choices offers no page key: it may end in a
// question for a number, and then every digit is an answer.
func Pages(text string, choices []string, k Keys, limit int, count func(string) int) Screen {
	s := Screen{Options: len(choices)}
	l := layout{limit: limit, count: count}
	more, both, back := footer(k.More), footer(k.Back, k.More), ""
	if len(choices) > 0 {
		back = footer(k.Back)
	}
	rest := parts(text, choices, k.Next)
	middle, last := more, ""
	for {
		if page := join(rest); l.fits(page + last) {
			s.Pages = append(s.Pages, page+last)
			return s
		}
		var page string
		page, rest = l.fill(rest, middle)
		s.Pages = append(s.Pages, page+middle)
		middle, last = both, back
	}
}

// Text returns the page that is shown.
func (s Screen) Text() string {
	if s.At >= len(s.Pages) {
		return ""
	}
	return s.Pages[s.At]
}

// Press returns the screen after a key. It reports false if the key does not
// turn a page here, so that it belongs to the dialogue. The digit of a choice that
// was not shown yet is no answer to it: it turns to the next page.
func (s Screen) Press(in string, k Keys) (Screen, bool) {
	last := len(s.Pages) - 1
	switch in = strings.TrimSpace(in); {
	case in == k.More.Press && s.At < last:
		s.At++
	case in == k.Back.Press && s.At > 0 && (s.At < last || s.Options > 0):
		s.At--
	case s.At < last && s.unseen(in):
		s.At++
	default:
		return s, false
	}
	return s, true
}

// unseen reports whether an input is the digit of a choice that stands on a page
// after the one that is shown.
func (s Screen) unseen(in string) bool {
	n, err := strconv.Atoi(in)
	if err != nil || n < 1 || n > s.Options {
		return false
	}
	return !strings.Contains("\n"+strings.Join(s.Pages[:s.At+1], "\n"), "\n"+in+" ")
}

func footer(keys ...Key) string {
	words := make([]string, len(keys))
	for i, k := range keys {
		words[i] = k.Press + " " + k.Label
	}
	return "\n" + strings.Join(words, "  ")
}

// part is a piece of text that is not cut unless no page can hold it, and what
// stands between it and the piece before.
type part struct{ before, text string }

func parts(text string, choices []string, next Key) []part {
	var out []part
	for i, line := range strings.Split(text, "\n") {
		before := "\n"
		if i == 0 {
			before = ""
		}
		for word := range strings.SplitSeq(line, " ") {
			out = append(out, part{before, word})
			before = " "
		}
	}
	if len(choices) > 0 {
		lines := make([]string, len(choices))
		for i, c := range choices {
			lines[i] = fmt.Sprintf("%d %s", i+1, c)
		}
		if next.Press != "" {
			lines = append(lines, next.Press+" "+next.Label)
		}
		out = append(out, part{"\n", strings.Join(lines, "\n")})
	}
	return out
}

func join(ps []part) string {
	var b strings.Builder
	for _, p := range ps {
		b.WriteString(p.before)
		b.WriteString(p.text)
	}
	return strings.TrimLeft(b.String(), " \n")
}

type layout struct {
	limit int
	count func(string) int
}

func (l layout) fits(page string) bool { return l.count(page) <= l.limit }

// fill takes as many parts as a page with this footer holds, at least a letter
// of the first one.
func (l layout) fill(ps []part, foot string) (page string, rest []part) {
	n := 0
	for n < len(ps) && l.fits(join(ps[:n+1])+foot) {
		n++
	}
	if page = join(ps[:n]); page != "" {
		for m := n; m > 0 && m < len(ps); m-- {
			// Where a message ends, the page ends with it, if it is half full.
			if line := join(ps[:m]); ps[m].before == "\n" && 2*l.count(line) >= l.limit {
				return line, ps[m:]
			}
		}
		return page, ps[n:]
	}
	head, tail := l.cut(ps[n].text, foot)
	return head, append([]part{{"", tail}}, ps[n+1:]...)
}

// cut divides a text no page can hold: after a line, else after a word, else
// after a letter with the marks that belong to it.
func (l layout) cut(text, foot string) (head, tail string) {
	var line, word, letter int
	for i, r := range text {
		if i == 0 || unicode.Is(unicode.M, r) {
			continue
		}
		if letter > 0 && !l.fits(text[:i]+foot) {
			break
		}
		letter = i
		switch r {
		case '\n':
			line = i
		case ' ':
			word = i
		}
	}
	at := cmp.Or(line, word, letter, len(text))
	return text[:at], strings.TrimLeft(text[at:], " \n")
}
