// Package sms counts and divides a text as a phone network will: in the GSM
// 7-bit default alphabet where every character has a place in it, else in UCS-2.
package sms

import (
	"strings"
	"unicode"
)

// Encoding is how a text goes over the air.
type Encoding uint8

// The encodings.
const (
	GSM7 Encoding = iota // one septet a character, two for those of the extension table
	UCS2                 // UTF-16: one unit a character, two outside the basic plane
)

// String returns the usual name.
func (e Encoding) String() string {
	if e == UCS2 {
		return "UCS-2"
	}
	return "GSM-7"
}

// MarshalText returns the usual name in lower case.
func (e Encoding) MarshalText() ([]byte, error) {
	return []byte(strings.ToLower(e.String())), nil
}

// Parts is a text divided into segments, which is what a network counts and
// charges. The segments joined are the text.
type Parts struct {
	Encoding Encoding
	Units    int // septets in GSM-7, UTF-16 code units in UCS-2, without headers
	Segments []string
}

// limits are the units of a text of one segment, and of each segment of a longer
// one beside its concatenation header.
type limits struct{ alone, each int }

// A segment carries 140 octets: 160 septets or 70 code units. The header of a
// divided text with an 8-bit reference takes 6 of them, which leaves 153 or 67.
// 3GPP TS 23.040 sections 9.2.3.16 and 9.2.3.24.1.
var sizes = [...]limits{GSM7: {160, 153}, UCS2: {70, 67}}

// Split divides a text into segments. A segment never ends inside an escape pair
// or a surrogate pair, nor inside what a reader sees as one character unless that
// alone is longer than a segment. The empty text is one empty segment.
func Split(text string) Parts { return split(text, sizes) }

// Measure returns the encoding of a text and its units in it.
func Measure(text string) (Encoding, int) {
	septets := 0
	for _, r := range text {
		n := gsmUnits(r)
		if n == 0 {
			return UCS2, ucsLength(text)
		}
		septets += n
	}
	return GSM7, septets
}

func split(text string, sizes [2]limits) Parts {
	encoding, units := Measure(text)
	p := Parts{Encoding: encoding, Units: units}
	size := sizes[encoding]
	if units <= size.alone {
		p.Segments = []string{text}
		return p
	}
	unit := gsmUnits
	if encoding == UCS2 {
		unit = ucsUnits
	}
	var start, used int        // of the segment being filled
	var whole, usedToWhole int // where the last whole character of it began
	var c cluster
	for i, r := range text {
		if !c.joins(r) {
			whole, usedToWhole = i, used
		}
		n := unit(r)
		if used+n > size.each {
			if whole == start {
				whole, usedToWhole = i, used
			}
			p.Segments = append(p.Segments, text[start:whole])
			start, used = whole, used-usedToWhole
			usedToWhole = 0
		}
		used += n
	}
	p.Segments = append(p.Segments, text[start:])
	return p
}

// alphabet is the GSM 7-bit default alphabet in the order of its codes; the
// escape stands where the table has it. extension holds what follows an escape.
// 3GPP TS 23.038 section 6.2.1.
const (
	escape   = 0x1b
	alphabet = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ" +
		" !\"#¤%&'()*+,-./0123456789:;<=>?" +
		"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§" +
		"¿abcdefghijklmnopqrstuvwxyzäöñüà"
	extension = "\f^{}\\[~]|€"
)

// widths holds the septets of each character up to the Greek capitals; the euro
// sign alone lies beyond.
var widths = func() (w ['Ω' + 1]uint8) {
	for _, r := range alphabet {
		w[r] = 1
	}
	for _, r := range extension {
		if int(r) < len(w) {
			w[r] = 2
		}
	}
	w[escape] = 0
	return w
}()

// gsmUnits returns the septets of a character, zero if the alphabet has none.
func gsmUnits(r rune) int {
	switch {
	case int(r) < len(widths):
		return int(widths[r])
	case r == '€':
		return 2
	}
	return 0
}

// ucsUnits returns the UTF-16 code units of a character.
func ucsUnits(r rune) int {
	if r > 0xffff {
		return 2
	}
	return 1
}

func ucsLength(text string) (n int) {
	for _, r := range text {
		n += ucsUnits(r)
	}
	return n
}

const (
	firstMark = '\u0300'
	joiner    = '\u200d'
)

// cluster follows a text through what a reader sees as one character: a letter
// with its marks, a joined emoji, a flag. It knows the rules of Unicode Standard
// Annex 29 that texts of these alphabets meet: GB3, GB9, GB9a, GB11 to GB13.
type cluster struct {
	last rune
	flag bool // last is the first letter of a flag
}

// joins reports whether r continues the character before it.
func (c *cluster) joins(r rune) bool {
	regional := r >= 0x1f1e6 && r <= 0x1f1ff
	joined := c.flag && regional ||
		c.last == '\r' && r == '\n' ||
		c.last == joiner ||
		r >= firstMark && (r == joiner || unicode.Is(unicode.M, r) || modifies(r))
	c.last, c.flag = r, regional && !joined
	return joined
}

// modifies reports whether r is a skin tone or a tag of an emoji.
func modifies(r rune) bool {
	return r >= 0x1f3fb && r <= 0x1f3ff || r >= 0xe0020 && r <= 0xe007f
}

// Plain returns a text fit to be sent. Control characters and symbols outside
// the basic plane, which networks cut or turn into question marks, are left out.
// What lies outside the GSM 7-bit alphabet is replaced by its substitute if that
// brings the whole text into the alphabet; if it does not, the text keeps its
// own letters, since substitutes would then cost meaning and save nothing.
func Plain(text string, subs map[rune]string) string {
	text = sendable(text)
	if encoding, _ := Measure(text); encoding == GSM7 {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		if s, ok := subs[r]; ok && gsmUnits(r) == 0 {
			b.WriteString(s)
		} else {
			b.WriteRune(r)
		}
	}
	if encoding, _ := Measure(b.String()); encoding == GSM7 {
		return b.String()
	}
	return text
}

// sendable leaves out what no phone network carries whole.
func sendable(text string) string {
	dropped := false
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
		case r == '\t':
			r = ' '
		case unicode.IsControl(r),
			r > 0xffff && !unicode.IsLetter(r) && !unicode.IsMark(r),
			dropped && (r == joiner || r == '\ufe0f'):
			dropped = true
			return -1
		}
		dropped = false
		return r
	}, text)
}
