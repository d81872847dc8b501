package sms

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The codes of some characters, and what a receiver makes of those it does not
// know: 3GPP TS 23.038 section 6.2.1.
func TestDecode(t *testing.T) {
	for octets, want := range map[string]string{
		"":                          "",
		"hi":                        "hi",
		"\x00\x02\x05\x7f":          "@$éà",
		"5 \x1be \x1b(x\x1b) \x1b<": "5 € {x} [",
		"a\x1b":                     "a ",
		"\x1b\x1ba":                 " a",
		"\x1ba":                     "a",
		"\x80\xff":                  "  ",
	} {
		require.Equal(t, want, Decode(octets), "%q", octets)
	}
}

// Each character that is counted has a code, and no other.
func TestDecodeKnowsWhatIsCounted(t *testing.T) {
	seen := map[string]bool{}
	for code := range 128 {
		for n, octets := range []string{string(rune(code)), "\x1b" + string(rune(code))} {
			if code == escape || n == 1 && extended[code] == 0 {
				continue
			}
			text := Decode(octets)
			encoding, units := Measure(text)
			require.Equal(t, GSM7, encoding)
			require.Equal(t, n+1, units, "%q", text)
			require.False(t, seen[text], "%q has two codes", text)
			seen[text] = true
		}
	}
	for _, r := range strings.ReplaceAll(alphabet, "\x1b", "") + extension {
		require.True(t, seen[string(r)], "%q has no code", r)
	}
}
