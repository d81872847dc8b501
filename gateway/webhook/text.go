package webhook

import (
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"net/url"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/htmlindex"
	utf16text "golang.org/x/text/encoding/unicode"

	"cobline/gateway/sms"
)

// step is one thing to do with a value on its way from its place. It reports
// false if nothing is left that counts as a value.
type step func(value) (value, bool, error)

// steps are those with a name of their own; a /pattern/ and the name of a
// charset are steps too.
var steps = map[string]func(string) (string, error){
	"trim":       plainly(strings.TrimSpace),
	"lower":      plainly(strings.ToLower),
	"hex":        hexOctets,
	"base64":     base64Octets,
	"percent":    or("is not percent-encoded", url.PathUnescape),
	"query":      or("is not encoded as in a query", url.QueryUnescape),
	"number":     func(s string) (string, error) { return number(s, 10) },
	"hex-number": func(s string) (string, error) { return number(s, 16) },
}

func plainly(f func(string) string) func(string) (string, error) {
	return func(s string) (string, error) { return f(s), nil }
}

func or(why string, f func(string) (string, error)) func(string) (string, error) {
	return func(s string) (string, error) {
		out, err := f(s)
		if err != nil {
			return "", errors.New(why)
		}
		return out, nil
	}
}

var blanks = strings.NewReplacer(" ", "", "\t", "", "\r", "", "\n", "")

func hexOctets(s string) (string, error) {
	b, err := hex.DecodeString(blanks.Replace(s))
	if err != nil {
		return "", errors.New("is not hexadecimal")
	}
	return string(b), nil
}

// base64Octets reads either alphabet of RFC 4648, padded or not.
func base64Octets(s string) (string, error) {
	s = strings.TrimRight(strings.NewReplacer("-", "+", "_", "/").Replace(blanks.Replace(s)), "=")
	b, err := base64.RawStdEncoding.DecodeString(s)
	if err != nil {
		return "", errors.New("is not base64")
	}
	return string(b), nil
}

// number returns a number in decimal without leading zeros: gateways write one
// id now in this way, now in that.
func number(s string, base int) (string, error) {
	n, ok := new(big.Int).SetString(strings.TrimSpace(s), base)
	if !ok || len(s) > 64 {
		return "", errors.New("is not a number")
	}
	return n.String(), nil
}

// add appends a step to those of a place.
func (p *place) add(name string) error {
	p.text += " > " + name
	if f, ok := steps[name]; ok {
		p.steps = append(p.steps, func(v value) (value, bool, error) {
			octets, err := f(v.octets)
			v.octets = octets
			return v, err == nil, err
		})
		return nil
	}
	if strings.HasPrefix(name, "/") {
		pattern, err := regexp.Compile(name[1 : len(name)-1])
		if err != nil {
			return fmt.Errorf("%s is not a regular expression: %w", name, err)
		}
		p.steps = append(p.steps, func(v value) (value, bool, error) {
			m := pattern.FindStringSubmatch(v.octets)
			if m == nil {
				return value{}, false, nil
			}
			v.octets = m[min(1, len(m)-1)]
			return v, true, nil
		})
		return nil
	}
	if !knownCharset(name) {
		return fmt.Errorf("%q is no step; write trim, lower, hex, base64, percent, query, number, hex-number, a /pattern/ or a charset such as utf-16be", name)
	}
	p.steps = append(p.steps, func(v value) (value, bool, error) {
		return value{octets: v.octets, charset: name, certain: true}, true, nil
	})
	return nil
}

// charsets are those that the index of the Web does not know, or knows
// otherwise: to a phone network UTF-16 is big-endian, and "8-bit" says that
// nobody knows.
var charsets = map[string]encoding.Encoding{
	"utf-16": utf16BE, "utf-16be": utf16BE, "ucs-2": utf16BE, "ucs2": utf16BE,
	"8-bit": nil, "8bit": nil, "binary": nil,
}

var (
	utf16BE     = utf16text.UTF16(utf16text.BigEndian, utf16text.UseBOM)
	utf16BEBare = utf16text.UTF16(utf16text.BigEndian, utf16text.IgnoreBOM)
)

var (
	utf8Names = []string{"utf-8", "utf8", "us-ascii", "ascii"}
	gsmNames  = []string{"gsm", "gsm7", "gsm-7", "gsm-7bit", "gsm03.38"}
)

func named(names []string, label string) bool {
	for _, n := range names {
		if strings.EqualFold(n, label) {
			return true
		}
	}
	return false
}

func isUTF8(label string) bool { return named(utf8Names, label) }

// lookup returns the encoding of a charset, nil if that is UTF-8 or unknown.
func lookup(label string) (e encoding.Encoding, known bool) {
	label = strings.ToLower(strings.TrimSpace(label))
	if isUTF8(label) {
		return nil, true
	}
	if e, known = charsets[label]; known {
		return e, true
	}
	e, err := htmlindex.Get(label)
	return e, err == nil
}

func knownCharset(label string) bool {
	label = strings.TrimPrefix(label, hexPrefix)
	_, known := lookup(label)
	return known || named(gsmNames, label)
}

// hexPrefix before the name of a charset says that its octets came in
// hexadecimal.
const hexPrefix = "hex-"

// decode returns octets as text, without what no phone can have meant. What is
// not declared, or wrongly so, is UTF-8 if it can be, else windows-1252.
func decode(octets, label string) string {
	if rest, ok := strings.CutPrefix(label, hexPrefix); ok {
		if raw, err := hexOctets(octets); err == nil {
			octets, label = raw, rest
		}
	}
	if named(gsmNames, label) {
		return clean(sms.Decode(octets))
	}
	if e, _ := lookup(label); e != nil {
		if s, err := e.NewDecoder().String(octets); err == nil {
			return clean(s)
		}
	}
	octets = joinHalves(octets)
	if !utf8.ValidString(octets) {
		if s, err := charmap.Windows1252.NewDecoder().String(octets); err == nil {
			octets = s
		}
	}
	return clean(octets)
}

// joinHalves makes one character of the halves of a surrogate pair, which some
// programs write as three octets each. A half alone is no character.
func joinHalves(s string) string {
	if !strings.Contains(s, "\xed") {
		return s
	}
	var b strings.Builder
	for s != "" {
		high := half(s)
		if high == 0 {
			b.WriteByte(s[0])
			s = s[1:]
			continue
		}
		s = s[3:]
		r := utf16.DecodeRune(high, half(s))
		if r != unicode.ReplacementChar {
			s = s[3:]
		}
		b.WriteRune(r)
	}
	return b.String()
}

// half returns the surrogate that three octets at the front of s stand for, or
// zero.
func half(s string) rune {
	if len(s) < 3 || s[0] != 0xed || s[1]&0xe0 != 0xa0 || s[2]&0xc0 != 0x80 {
		return 0
	}
	return 0xd000 | rune(s[1]&0x3f)<<6 | rune(s[2]&0x3f)
}

// clean drops what no phone can have meant: octets that are no UTF-8, control
// characters and byte order marks.
func clean(s string) string {
	s = strings.ToValidUTF8(s, string(unicode.ReplacementChar))
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case unicode.IsControl(r), r == '\ufeff':
			return -1
		default:
			return r
		}
	}, s)
}

// encode returns a text in the charset that a content type declares; what the
// charset lacks becomes a question mark.
func encode(text, contentType string) []byte {
	label := charsetOf(contentType)
	e, _ := lookup(label)
	switch {
	case e == nil:
		return []byte(text)
	case e == utf16BE:
		e = utf16BEBare
	case e == charmap.Windows1252 && strings.EqualFold(label, "iso-8859-1"):
		e = charmap.ISO8859_1 // the Web reads the one as the other, phones do not
	}
	var out []byte
	for _, r := range text {
		b, err := e.NewEncoder().Bytes([]byte(string(r)))
		if err != nil {
			b = []byte("?")
		}
		out = append(out, b...)
	}
	return out
}

// hexUTF16 returns a text as the hexadecimal digits of its UTF-16BE code units.
func hexUTF16(text string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(text)) {
		b = append(b, byte(u>>8), byte(u))
	}
	return strings.ToUpper(hex.EncodeToString(b))
}
