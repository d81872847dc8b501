package webhook

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDecode(t *testing.T) {
	for name, c := range map[string]struct{ octets, charset, want string }{
		"UTF-8":                               {"caf\xc3\xa9 \xf0\x9f\x98\x80", "utf-8", "café 😀"},
		"undeclared":                          {"caf\xc3\xa9", "", "café"},
		"undeclared and no UTF-8":             {"caf\xe9 \x80", "", "café €"},
		"declared UTF-8 and none":             {"caf\xe9", "UTF-8", "café"},
		"declared as something nobody knows":  {"caf\xc3\xa9", "x-phone", "café"},
		"Latin-1":                             {"caf\xe9 \x80", "ISO-8859-1", "café €"},
		"Latin-1 that looks like UTF-8":       {"\xc3\xa9", "latin1", "Ã©"},
		"UCS-2":                               {"\x02\x53\x00a\xd8\x3d\xde\x00", "UCS-2", "ɓa😀"},
		"UTF-16 with its order":               {"\xff\xfea\x00", "utf-16", "a"},
		"a surrogate alone":                   {"\xd8\x3d\x00a", "utf-16be", "\ufffda"},
		"half a code unit":                    {"\x00a\x00", "utf-16be", "a\ufffd"},
		"GSM codes":                           {"\x05\x1b\x65\x00\x0d", "gsm-7", "é€@"},
		"an escape at the end":                {"a\x1b", "gsm-7", "a "},
		"an escape twice":                     {"\x1b\x1ba", "gsm-7", " a"},
		"an escape before an ordinary letter": {"\x1ba", "gsm-7", "a"},
		"an octet that is no GSM code":        {"a\x80", "gsm-7", "a "},
		"hexadecimal":                         {"00E900 2b", "hex-utf-16be", "é+"},
		"declared hexadecimal and none":       {"hello", "hex-utf-16be", "hello"},
		"a pair of three octets each":         {"\xed\xa0\xbd\xed\xb8\x80!", "", "😀!"},
		"halves in the wrong order":           {"\xed\xb8\x80\xed\xa0\xbd", "", "\ufffd\ufffd"},
		"a letter that begins alike":          {"\xed\x95\x9c", "", "한"},
		"zeros and controls":                  {"a\x00\x01b\tc\r\nd\x7f\x1be", "", "ab c\nde"},
		"controls of Latin-1":                 {"a\xc2\x85b", "", "ab"},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, c.want, decode(c.octets, c.charset)) })
	}
}

// FuzzDecode: whatever a gateway sends becomes text that is fit to be stored and
// repeated, and text stays as it is.
func FuzzDecode(f *testing.F) {
	for _, label := range []string{"", "utf-8", "gsm", "ucs-2", "hex-gsm", "iso-8859-5", "8-bit", "shift_jis", "nonsense"} {
		f.Add("caf\xe9\x00\xed\xa0\xbd 0041", label)
	}
	f.Fuzz(func(t *testing.T, octets, label string) {
		got := decode(octets, label)
		require.True(t, utf8.ValidString(got))
		require.False(t, strings.ContainsFunc(got, func(r rune) bool { return unicode.IsControl(r) && r != '\n' }))
		if utf8.ValidString(octets) && label == "" {
			require.Equal(t, clean(octets), got)
		}
	})
}

// What is sent in a charset reads the same in it, or shows where it cannot.
func TestEncode(t *testing.T) {
	require.Equal(t, "caf\xe9 ? ?", string(encode("café € ɓ", "text/plain; charset=iso-8859-1")))
	require.Equal(t, "caf\xe9 \x80 ?", string(encode("café € ɓ", "text/plain; charset=windows-1252")))
	require.Equal(t, "café", string(encode("café", "text/plain")))
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		charset := rapid.SampledFrom([]string{"utf-8", "utf-16be"}).Draw(t, "charset")
		octets := encode(text, "text/plain; charset="+charset)
		require.Equal(t, clean(text), decode(string(octets), charset))
		require.Equal(t, clean(text), decode(hexUTF16(text), "hex-utf-16be"))
	})
}

// The charsets of a few scripts are known by the names gateways use.
func TestCharsetNames(t *testing.T) {
	for _, name := range []string{"UTF-8", "utf8", "ISO-8859-1", "latin1", "windows-1252", "UCS-2", "UTF-16BE", "GSM", "gsm-7", "8-BIT", "hex-ucs-2", "KOI8-R", "Big5"} {
		require.True(t, knownCharset(name), name)
	}
	for _, name := range []string{"", "utf-99", "hex", "gsm-8"} {
		require.False(t, knownCharset(name), name)
	}
}
