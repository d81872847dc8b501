package gateway

import (
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"strings"
	"unicode"

	"github.com/nyaruka/phonenumbers"
)

// ErrNotNumber says that a sender is not a phone number: a short code, a name,
// or digits no country could have given out. It has no conversation.
var ErrNotNumber = errors.New("not a phone number")

// Number is a phone number in the international form of ITU-T E.164. It is a
// comparable value; the zero Number is invalid. Printing or logging one shows it
// masked: Digits and National are the only ways to the real one.
type Number struct{ digits string }

// E.164 numbers have at most 15 digits; no country gives out international
// numbers of fewer than 7, and anything shorter is a short code.
const minDigits, maxDigits = 7, 15

// NumberOf returns the number with the given international digits, as Digits
// wrote them. It checks the shape alone.
func NumberOf(digits string) (Number, error) {
	if len(digits) < minDigits || len(digits) > maxDigits || digits[0] == '0' {
		return Number{}, ErrNotNumber
	}
	for i := range len(digits) {
		if digits[i] < '0' || digits[i] > '9' {
			return Number{}, ErrNotNumber
		}
	}
	return Number{digits}, nil
}

// ParseNumber reads a number as gateways write it: with a plus sign or the space
// a plus sign becomes in a URL, with 00 or 000 before the country code, with
// bare international digits, or in the national form of country (two letters,
// ISO 3166; empty if unknown). A number that is merely possible is accepted: a
// person must not be turned away because a numbering plan changed. The error is
// ErrNotNumber.
func ParseNumber(s, country string) (Number, error) {
	digits, international, err := dialled(s)
	if err != nil {
		return Number{}, err
	}
	var candidates []*phonenumbers.PhoneNumber
	if !international && country != "" {
		if p, err := phonenumbers.Parse(digits, country); err == nil {
			candidates = append(candidates, p)
		}
	}
	if digits[0] != '0' {
		if p, err := phonenumbers.Parse("+"+digits, ""); err == nil {
			candidates = append(candidates, p)
		}
	}
	for _, accept := range []func(*phonenumbers.PhoneNumber) bool{phonenumbers.IsValidNumber, possible} {
		for _, p := range candidates {
			if accept(p) {
				return NumberOf(phonenumbers.Format(p, phonenumbers.E164)[1:])
			}
		}
	}
	return Number{}, ErrNotNumber
}

// possible reports whether a number has a length that its country gives out, and
// reads back as itself: of zeros, which are dialled before a number, a parser
// takes away some each time.
func possible(p *phonenumbers.PhoneNumber) bool {
	if !phonenumbers.IsPossibleNumber(p) {
		return false
	}
	written := phonenumbers.Format(p, phonenumbers.E164)
	again, err := phonenumbers.Parse(written, "")
	return err == nil && phonenumbers.Format(again, phonenumbers.E164) == written
}

// dialled returns the digits of s and whether they begin with a country code.
func dialled(s string) (digits string, international bool, err error) {
	international = strings.HasPrefix(s, " ") || strings.HasPrefix(s, "+")
	body := strings.TrimPrefix(strings.TrimSpace(s), "+")
	if strings.ContainsFunc(body, func(r rune) bool { return !unicode.IsDigit(r) && !strings.ContainsRune(" -().\u00a0", r) }) {
		return "", false, ErrNotNumber
	}
	digits = phonenumbers.NormalizeDigitsOnly(body)
	for _, exit := range []string{"000", "00"} {
		if rest, ok := strings.CutPrefix(digits, exit); ok && rest != "" && rest[0] != '0' {
			digits, international = rest, true
			break
		}
	}
	if len(digits) < minDigits {
		return "", false, ErrNotNumber
	}
	return digits, international, nil
}

// Digits returns the real number, international digits without the plus sign.
func (n Number) Digits() string { return n.digits }

// National returns the real number as people of its country dial it, such as
// 0700000001; of a country that is not known, the international digits.
func (n Number) National() string {
	p, err := phonenumbers.Parse("+"+n.digits, "")
	if err != nil {
		return n.digits
	}
	return phonenumbers.NormalizeDigitsOnly(phonenumbers.Format(p, phonenumbers.NATIONAL))
}

// IsZero reports whether n is the invalid zero Number.
func (n Number) IsZero() bool { return n.digits == "" }

// String returns the masked number: its first three digits and its last two.
func (n Number) String() string {
	if n.IsZero() {
		return "no number"
	}
	return fmt.Sprintf("+%s…%s", n.digits[:3], n.digits[len(n.digits)-2:])
}

// GoString returns the masked number, so that %#v does not leak it.
func (n Number) GoString() string { return n.String() }

// MarshalText returns the masked number, so that no encoder leaks it.
func (n Number) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// LogValue returns the masked number.
func (n Number) LogValue() slog.Value { return slog.StringValue(n.String()) }

// inText finds what may be a phone number in a text: no amount of the trade has
// as many digits.
var inText = regexp.MustCompile(`\+[0-9][0-9 ().-]{5,18}[0-9]|[0-9]{7,}`)

// Mask returns a text with the phone numbers in it masked, as far as that can be
// told: for logs.
func Mask(text string) string {
	return inText.ReplaceAllStringFunc(text, func(s string) string {
		plus := ""
		if s[0] == '+' {
			plus, s = "+", s[1:]
		}
		return plus + s[:3] + "…" + s[len(s)-2:]
	})
}
