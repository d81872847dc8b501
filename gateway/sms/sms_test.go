package sms

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// vectors are texts with the SMS-SUBMIT units that carry them, after 3GPP TS
// 23.038 and TS 23.040; Wireshark 4.0.17 decoded every unit back to its text.
func vectors(t *testing.T) (list []struct {
	Name, Text, Ref, Encoding string
	Units                     int
	Chars                     []int    `json:"part_chars"`
	Units140                  []string `json:"tpdu"`
},
) {
	data, err := os.ReadFile("../../testdata/sms/vectors.json")
	require.NoError(t, err)
	file := struct{ Vectors any }{&list}
	require.NoError(t, json.Unmarshal(data, &file))
	require.Len(t, list, 37)
	return list
}

// sizes16 are the sizes beside the 7 octets of a 16-bit reference.
var sizes16 = [...]limits{GSM7: {160, 152}, UCS2: {70, 66}}

func TestWiresharkDecodesWhatSplitDivides(t *testing.T) {
	for _, v := range vectors(t) {
		t.Run(v.Name+"/"+v.Ref, func(t *testing.T) {
			p, header := Split(v.Text), []byte{5, 0, 3, 0x2a}
			if v.Ref == "16" {
				p, header = split(v.Text, sizes16), []byte{6, 8, 4, 0x01, 0x2a}
			}
			require.Equal(t, strings.ReplaceAll(v.Encoding, "gsm7", "gsm-7"), strings.ReplaceAll(name(t, p.Encoding), "ucs-2", "ucs2"))
			require.Equal(t, v.Units, p.Units)
			var chars []int
			var submitted []string
			for i, s := range p.Segments {
				chars = append(chars, utf8.RuneCountInString(s))
				var h []byte
				if len(p.Segments) > 1 {
					h = append(header, byte(len(p.Segments)), byte(i+1))
				}
				submitted = append(submitted, hex.EncodeToString(submit(h, s, p.Encoding)))
			}
			require.Equal(t, v.Chars, chars)
			require.Equal(t, v.Units140, submitted)
		})
	}
}

func name(t *testing.T, e Encoding) string {
	b, err := e.MarshalText()
	require.NoError(t, err)
	return string(b)
}

// submit builds the SMS-SUBMIT of one segment to +254700000001, 3GPP TS 23.040
// section 9.2.2.2.
func submit(header []byte, segment string, e Encoding) []byte {
	first, scheme := byte(0x01), byte(0x00)
	if header != nil {
		first |= 0x40
	}
	data, length := pack(septets(segment), header)
	if e == UCS2 {
		scheme = 0x08
		data = append([]byte(nil), header...)
		for _, u := range utf16.Encode([]rune(segment)) {
			data = append(data, byte(u>>8), byte(u))
		}
		length = len(data)
	}
	head := []byte{first, 0, 0x0c, 0x91, 0x52, 0x74, 0, 0, 0, 0x10, 0, scheme, byte(length)}
	return append(head, data...)
}

// septets returns the codes of a text, 3GPP TS 23.038 section 6.2.1.
func septets(s string) (codes []byte) {
	after := map[rune]byte{'\f': 0x0a, '^': 0x14, '{': 0x28, '}': 0x29, '\\': 0x2f, '[': 0x3c, '~': 0x3d, ']': 0x3e, '|': 0x40, '€': 0x65}
	table := []rune(alphabet)
	for _, r := range s {
		if code, ok := after[r]; ok {
			codes = append(codes, escape, code)
			continue
		}
		for code, c := range table {
			if c == r {
				codes = append(codes, byte(code))
			}
		}
	}
	return codes
}

// pack puts septets behind a header at the next septet boundary, least
// significant bits first. The length counts the header in septets too.
func pack(codes, header []byte) (data []byte, length int) {
	bits := (len(header)*8 + 6) / 7 * 7
	data = make([]byte, (bits+len(codes)*7+7)/8)
	copy(data, header)
	length = bits/7 + len(codes)
	for _, c := range codes {
		word := uint16(c) << (bits % 8)
		data[bits/8] |= byte(word)
		if word > 0xff {
			data[bits/8+1] |= byte(word >> 8)
		}
		bits += 7
	}
	return data, length
}

func TestSplitKeepsCharactersWhole(t *testing.T) {
	const family, flag = "👨‍👩‍👧", "🇰🇪"
	for _, tt := range []struct {
		name, text string
		want       []int // bytes of each segment but the last
	}{
		{"joined emoji", strings.Repeat("ɓ", 62) + family + strings.Repeat("ɓ", 10), []int{2 * 62}},
		{"flag", strings.Repeat("ɓ", 65) + flag + strings.Repeat("ɓ", 10), []int{2 * 65}},
		{"second of two flags", strings.Repeat("ɓ", 61) + flag + flag + strings.Repeat("ɓ", 10), []int{2*61 + len(flag)}},
		{"letter with a mark", strings.Repeat("ɓ", 66) + "e\u0301" + strings.Repeat("ɓ", 10), []int{2 * 66}},
		{"Hindi vowel sign", strings.Repeat("क", 66) + "कि" + strings.Repeat("क", 10), []int{3 * 66}},
		{"longer than a segment", "e" + strings.Repeat("\u0301", 70), []int{1 + 2*66}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := Split(tt.text)
			require.Len(t, p.Segments, len(tt.want)+1)
			for i, n := range tt.want {
				require.Len(t, p.Segments[i], n)
			}
		})
	}
}

// https://github.com/chadselph/smssplit/issues/2: letters that the 7-bit alphabet
// has are counted as a network does, 3GPP TS 23.038 section 6.2.1.
func TestTrouble07CountedAsTheNetworkDoes(t *testing.T) {
	for _, letter := range "¡¿ÑñàéèùìòÇäöüÄÖÜåÅæÆøØß£¥¤§@$ΔΦΓΛΩΠΨΣΘΞ" {
		p := Split(strings.Repeat(string(letter), 160))
		require.Equal(t, GSM7, p.Encoding, string(letter))
		require.Len(t, p.Segments, 1)
		require.Len(t, Split(strings.Repeat(string(letter), 161)).Segments, 2)
	}
	for _, letter := range "çêâîôûëïáíóúãõœ`—’•°×½ẹɓ" {
		require.Equal(t, UCS2, Split(string(letter)).Encoding, string(letter))
	}
}

func TestPlain(t *testing.T) {
	subs := map[rune]string{'ç': "c", '’': "'", '—': "-", '½': "1/2"}
	for _, tt := range []struct{ name, in, want string }{
		{"already plain", "2 drums: load 3 sacks {A}", "2 drums: load 3 sacks {A}"},
		{"substituted", "don’t — ½ façade", "don't - 1/2 facade"},
		{"keeps what the alphabet has", "é à ñ", "é à ñ"},
		{"keeps its letters when one has no substitute", "ɓa ça’", "ɓa ça’"},
		{"emoji left out", "AB 😀 tail", "AB  tail"},
		{"joined emoji left out whole", "x👨‍👩‍👧❤️y", "x❤️y"},
		{"letters beyond the basic plane stay", "𞤀", "𞤀"},
		{"control characters", "a\x00b\x1bc\td\r\ne", "abc d\ne"},
	} {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, Plain(tt.in, subs)) })
	}
}

// checkSplit holds for every text.
func checkSplit(t require.TestingT, text string) {
	p := Split(text)
	require.Equal(t, text, strings.Join(p.Segments, ""))
	size := sizes[p.Encoding]
	total := 0
	for i, s := range p.Segments {
		e, units := Measure(s)
		if p.Encoding == UCS2 {
			units = ucsLength(s)
		} else {
			require.Equal(t, GSM7, e)
		}
		if len(p.Segments) == 1 {
			require.LessOrEqual(t, units, size.alone)
		} else {
			require.LessOrEqual(t, units, size.each)
			require.NotEmpty(t, s, "segment %d", i)
		}
		total += units
	}
	require.Equal(t, p.Units, total)
}

func TestSplitProperties(t *testing.T) {
	letters := []rune("aé€{}[]~ɓẹ😀👍🏽क\u0301\u200d🇰🇪\r\n")
	rapid.Check(t, func(t *rapid.T) {
		checkSplit(t, rapid.StringOfN(rapid.SampledFrom(letters), 0, 400, -1).Draw(t, "text"))
	})
}

func FuzzSplit(f *testing.F) {
	for _, s := range []string{"", "a", strings.Repeat("€", 81), strings.Repeat("😀", 36), "\xff\xfe"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		checkSplit(t, s)
		plain := Plain(s, map[rune]string{'ç': "c"})
		require.Equal(t, plain, Plain(plain, nil), "a plain text stays as it is")
	})
}

func BenchmarkSplit(b *testing.B) {
	for _, bb := range []struct{ name, text string }{
		{"gsm-7", strings.Repeat("load 3 sacks of ", 10)},
		{"ucs-2", strings.Repeat("ɓawo na gyada ", 5)},
		{"three segments", strings.Repeat("load 3 sacks of ", 25)},
	} {
		b.Run(bb.name, func(b *testing.B) {
			for b.Loop() {
				Split(bb.text)
			}
		})
	}
}
