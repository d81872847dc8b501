package sms

import "strings"

// Decode returns the text of GSM 7-bit codes that came one in an octet. A code
// after an escape that the extension table does not have is read as if it stood
// alone, as 3GPP TS 23.038 section 6.2.1.1 asks; an escape at the end is a blank,
// and so is an octet that is no code.
func Decode(octets string) string {
	var b strings.Builder
	escaped := false
	for _, code := range []byte(octets) {
		switch {
		case escaped && extended[code] != 0:
			b.WriteRune(extended[code])
			escaped = false
		case code == escape:
			if escaped {
				b.WriteByte(' ')
			}
			escaped = !escaped
		case int(code) < len(letters):
			b.WriteRune(letters[code])
			escaped = false
		default:
			b.WriteByte(' ')
			escaped = false
		}
	}
	if escaped {
		b.WriteByte(' ')
	}
	return b.String()
}

var letters = []rune(alphabet)

// extended are the characters of the extension table by the code that follows
// the escape. 3GPP TS 23.038 section 6.2.1.1.
var extended = [256]rune{
	0x0a: '\f', 0x14: '^', 0x28: '{', 0x29: '}', 0x2f: '\\',
	0x3c: '[', 0x3d: '~', 0x3e: ']', 0x40: '|', 0x65: '€',
}
