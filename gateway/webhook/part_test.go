package webhook

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/gateway"
)

// Headers as 3GPP TS 23.040 section 9.2.3.24 lays them out; those that make no
// sense are as if they were not there.
func TestParseHeader(t *testing.T) {
	for name, c := range map[string]struct {
		udh  string
		want gateway.Part
		ok   bool
	}{
		"8 bits":                     {"\x05\x00\x03\xab\x02\x01", gateway.Part{Ref: 0xab, Width: 8, Total: 2, Seq: 1}, true},
		"16 bits":                    {"\x06\x08\x04\x12\x34\x03\x03", gateway.Part{Ref: 0x1234, Width: 16, Total: 3, Seq: 3}, true},
		"reference zero":             {"\x05\x00\x03\x00\x02\x02", gateway.Part{Width: 8, Total: 2, Seq: 2}, true},
		"after another element":      {"\x0b\x05\x04\x0b\x84\x23\xf0\x00\x03\x07\x02\x01", gateway.Part{Ref: 7, Width: 8, Total: 2, Seq: 1}, true},
		"before one cut short":       {"\x07\x00\x03\x07\x02\x01\x24\x01", gateway.Part{Ref: 7, Width: 8, Total: 2, Seq: 1}, true},
		"no piece":                   {"\x05\x00\x03\xab\x02\x00", gateway.Part{}, false},
		"no pieces":                  {"\x05\x00\x03\xab\x00\x01", gateway.Part{}, false},
		"a piece beyond the last":    {"\x05\x00\x03\xab\x02\x03", gateway.Part{}, false},
		"the only piece":             {"\x05\x00\x03\xab\x01\x01", gateway.Part{}, false},
		"an element of wrong length": {"\x04\x00\x02\xab\x02", gateway.Part{}, false},
		"cut short":                  {"\x05\x00\x03\xab", gateway.Part{}, false},
		"none":                       {"", gateway.Part{}, false},
		"empty":                      {"\x00", gateway.Part{}, false},
		"only another element":       {"\x03\x24\x01\x01", gateway.Part{}, false},
	} {
		t.Run(name, func(t *testing.T) {
			got, ok := parseHeader(c.udh)
			require.Equal(t, c.ok, ok)
			require.Equal(t, c.want, got)
		})
	}
}

func FuzzParseHeader(f *testing.F) {
	f.Add("\x05\x00\x03\xab\x02\x01")
	f.Add("\x0b\x05\x04\x0b\x84\x23\xf0\x00\x03\x07\x02\x01")
	f.Fuzz(func(t *testing.T, udh string) {
		if p, ok := parseHeader(udh); ok {
			require.Greater(t, p.Total, 1)
			require.True(t, p.Seq >= 1 && p.Seq <= p.Total)
		}
	})
}

func TestJoinWhatCame(t *testing.T) {
	part := func(seq int, octets string) gateway.Part {
		return gateway.Part{Total: 4, Seq: seq, Octets: []byte(octets)}
	}
	for name, c := range map[string]struct {
		parts []gateway.Part
		want  string
	}{
		"nothing":               {nil, ""},
		"the first is missing":  {[]gateway.Part{part(2, "b"), part(3, "c"), part(4, "d")}, "…bcd"},
		"the middle is missing": {[]gateway.Part{part(4, "d"), part(1, "a")}, "a…d"},
		"the last is missing":   {[]gateway.Part{part(1, "a"), part(2, "b"), part(3, "c")}, "abc…"},
		"doubled":               {[]gateway.Part{part(1, "a"), part(1, "a"), part(2, "b"), part(3, "c"), part(4, "d")}, "abcd"},
		"in two charsets": {[]gateway.Part{
			{Total: 2, Seq: 1, Octets: []byte("\x05"), Charset: "gsm-7"}, {Total: 2, Seq: 2, Octets: []byte("\x02\x53"), Charset: "ucs-2"},
		}, "éɓ"},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, c.want, Join(c.parts)) })
	}
}

// However a text is cut, also through a pair of surrogates or an escape pair,
// and in whatever order and number its pieces come, joining gives the text.
func TestJoinGivesTheTextBack(t *testing.T) {
	forms := map[string]func(string) []string{ // the units that networks do not cut
		"utf-16be": func(s string) (units []string) {
			for _, u := range utf16.Encode([]rune(s)) {
				units = append(units, string([]byte{byte(u >> 8), byte(u)}))
			}
			return units
		},
		"gsm-7": func(s string) []string { return strings.Split(s, "") },
		"": func(s string) (units []string) { // a program that writes surrogates as characters
			for _, u := range utf16.Encode([]rune(s)) {
				if utf16.IsSurrogate(rune(u)) {
					units = append(units, string([]byte{0xe0 | byte(u>>12), 0x80 | byte(u>>6)&0x3f, 0x80 | byte(u)&0x3f}))
				} else {
					units = append(units, string(rune(u)))
				}
			}
			return units
		},
	}
	rapid.Check(t, func(t *rapid.T) {
		charset := rapid.SampledFrom([]string{"utf-16be", "gsm-7", ""}).Draw(t, "charset")
		text := clean(rapid.StringOf(rapid.SampledFrom([]rune("aé ɓ😀👩🏽\n"))).Draw(t, "text"))
		octets, want := text, text
		if charset == "gsm-7" {
			octets = rapid.StringMatching(`[a-z\x00-\x05]{0,9}(\x1b[e(<][a-z]{0,5}){0,4}`).Draw(t, "codes")
			want = decode(octets, charset)
		}
		units := forms[charset](octets)
		total := rapid.IntRange(2, 9).Draw(t, "total")
		parts := make([]gateway.Part, total)
		for i := range parts {
			n := len(units)
			if i < total-1 {
				n = rapid.IntRange(0, len(units)).Draw(t, "cut")
			}
			parts[i] = gateway.Part{Total: total, Seq: i + 1, Octets: []byte(strings.Join(units[:n], "")), Charset: charset}
			units = units[n:]
		}
		came := rapid.Permutation(append(parts, parts[rapid.IntRange(0, total-1).Draw(t, "twice")])).Draw(t, "came")
		got := Join(came)
		require.Equal(t, want, got)
		require.True(t, utf8.ValidString(got))
	})
}

// FuzzJoin: pieces of whatever octets, cut anywhere and in any order, give what
// the octets give in one piece; and what came without the rest gives text.
func FuzzJoin(f *testing.F) {
	f.Add([]byte("\x00a\xd8\x3d\xde\x00\x00b"), "utf-16be", []byte{3, 1, 2})
	f.Add([]byte("caf\x05 \x1be"), "gsm-7", []byte{2, 7})
	f.Add([]byte("a\xed\xa0\xbd\xed\xb8\x80b"), "", []byte{4, 0, 4})
	f.Add([]byte("\xe7a\x80"), "windows-1252", []byte{0, 0, 0, 1})
	f.Fuzz(func(t *testing.T, octets []byte, charset string, cuts []byte) {
		cuts = cuts[:min(len(cuts), 20)]
		total := len(cuts) + 1
		rest := octets
		var parts []gateway.Part
		for i, cut := range append(cuts, 255) {
			n := min(int(cut), len(rest))
			if i == total-1 {
				n = len(rest)
			}
			parts = append(parts, gateway.Part{Total: total, Seq: i + 1, Octets: rest[:n], Charset: charset})
			rest = rest[n:]
		}
		backwards := slices.Clone(parts)
		slices.Reverse(backwards)
		want := decode(string(octets), charset)
		require.Equal(t, want, Join(backwards))
		require.Equal(t, want, Join(append(backwards, parts...)), "each piece twice")
		for i := range parts {
			require.True(t, utf8.ValidString(Join(parts[i:])))
			require.True(t, utf8.ValidString(Join(parts[:i])))
		}
	})
}
