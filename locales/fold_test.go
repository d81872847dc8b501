package locales

import (
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestFold(t *testing.T) {
	for _, row := range []struct {
		lang     Lang
		in, want string
	}{
		{"en", "cobs", "cobs"},
		{"en", "  Dry   COBS\t", "dry cobs"},
		{"en", "sacks full off wood", "sacks ful of wood"},
		{"en", "I feel I fell", "i feel i fel"},
		{"en", "nooo heelp", "no heelp"},
		{"sw", "ndoo saa", "ndo sa"},
		{"en", "don’t", "dont"},
		{"en", "'hello'", "'helo'"},
		{"en", "100 kg 1100", "100 kg 1100"},
		{"en", "3½ bags", "3 1/2 bags"},
		{"en", "½", "1/2"},
		{"en", "５ｋｇ", "5kg"},
		{"en", "x²", "x2"},
		{"en", "caf\u00e9 cafe\u0301", "cafe cafe"},
		{"en", "", ""},
		{"en", " \n ", ""},
		{"en", "a\u0000b\u200dc\ufeff", "abc"},
		{"en", "5–6", "5-6"},
		{"sw", "Kuungua", "kungua"},
		{"sw", "ng’ombe", "ngombe"},
		{"hi-Latn", "Geela paanii WAPAS zyaada", "gila pani vapas jyada"},
		{"hi-Latn", "dhuwan nhi h, drum kholun?", "dhua nahi h, dram kholun?"},
		{"hi-Latn", "maine nhi kholun baarish", "maine nahi kholu baris"},
		{"hi-Latn", "saphed phir fir wo woh", "safed fir fir vo vo"},
		{"hi-Latn", "teen ten dooo kholee khole", "tin ten do kholi khole"},
		{"hi", "हिंदी हिँदी हिन्दी लकड़ी लकडी", "हिंदी हिंदी हिंदी लकडी लकडी"},
		{"hi", "नहीं, है हैं में।", "नही, है है मे."},
		{"hi", "क\u200dष पानी २ बोरी।", "कष पानी 2 बोरी."},
		{"fr", "j’ai brûlé", "j ai brule"},
		{"fr", "œuf", "oeuf"},
		{"pt", "CARVÃO", "carvao"},
		{"ha", "ɓawon ƙasa", "bawon kasa"},
		{"ha", "a'a", "a'a"},
		{"lg", "ŋŋ", "ngng"},
		{"hi", "ज़हरीली", "जहरीली"},
		{"hi", "हाँ", "हा"},
		{"hi", "३.५", "3.5"},
		{"bn", "২ বস্তা", "2 বস্তা"},
		{"bn", "\u09dc \u09a1\u09bc", "ড় ড়"}, // one letter, in one piece or in two
		{"am", "ሐኪም ኃይል ሣር ዓይን ፀሐይ", "ሀኪም ሀይል ሳር አይን ጸሀይ"},
		{"am", "እሳት፡ነው፧", "እሳት ነው?"},
		{"en", "𝟗", "9"},
	} {
		require.Equal(t, row.want, Fold(row.lang, row.in), "%s %q", row.lang, row.in)
	}
}

// Languages of one folding fold every word of a text alike.
func TestFolding(t *testing.T) {
	langs := strings.Fields(concepts["lang"])
	texts := []string{"sann", "feel", "nooo", "m'ap", "l’eau", "a'a", "हाँ", "ɓawon", "wood off", "annuel", "geela", "ज़हर में"}
	for _, a := range langs {
		for _, b := range langs {
			for _, text := range texts {
				if Folding(Lang(a)) == Folding(Lang(b)) {
					require.Equal(t, Fold(Lang(a), text), Fold(Lang(b), text), "%s %s %q", a, b, text)
				}
			}
		}
	}
}

// folded checks what holds for every text.
func folded(t require.TestingT, l Lang, s string) {
	once := Fold(l, s)
	require.Equal(t, once, Fold(l, once), "folding twice: %q", s)
	require.Equal(t, strings.TrimSpace(once), once)
	require.False(t, strings.ContainsFunc(once, func(r rune) bool {
		return unicode.IsControl(r) || unicode.ToLower(r) != r || r != ' ' && unicode.IsSpace(r)
	}), "%q", once)
}

func TestFoldTwice(t *testing.T) {
	langs := []Lang{"en", "fr", "ha", "hi", "hi-Latn", "sw"}
	rapid.Check(t, func(t *rapid.T) {
		folded(t, rapid.SampledFrom(langs).Draw(t, "lang"), rapid.String().Draw(t, "text"))
	})
	for r := range rune(unicode.MaxRune + 1) {
		if s := string([]rune{'a', r, 'a'}); Fold("en", Fold("en", s)) != Fold("en", s) || Fold("fr", Fold("fr", s)) != Fold("fr", s) {
			require.Fail(t, "folding twice", "%q U+%04X", s, r)
		}
	}
}

// What a word of Roman Hindi is respelt to is a folded word itself.
func TestOneWord(t *testing.T) {
	for from, to := range oneWord {
		require.Equal(t, to, Fold("hi-Latn", to), from)
		require.Equal(t, to, Fold("hi-Latn", from), from)
	}
}

// Languages folded together are folded as each of them alone.
func TestFoldEach(t *testing.T) {
	langs := []Lang{"en", "fr", "ha", "hi", "hi-Latn", "ht", "sw"}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOf(rapid.SampledFrom([]rune("aabbeenoowszph A'’éñßƙɓœ½3 अंँ़न्मकሐሠ़"))).Draw(t, "text")
		out := make([]string, len(langs))
		FoldEach(langs, s, out)
		for i, l := range langs {
			require.Equal(t, Fold(l, s), out[i], l)
		}
	})
}

func FuzzFold(f *testing.F) {
	for _, s := range []string{"Dry COBS", "l’eau", "a''b", "3½", "ɓɗ", "\xff\xfe", "ग़", "İı"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		folded(t, "en", s)
		folded(t, "fr", s)
		folded(t, "ha", s)
		folded(t, "hi-Latn", s)
	})
}

func TestSubstitutions(t *testing.T) {
	for l, letters := range marked {
		for _, r := range letters + strings.ToUpper(letters) {
			sub, ok := Substitutions(l)[r]
			require.NotEqual(t, strings.ContainsRune(gsmLetters, r), ok, "%s %c: either in the alphabet or replaced", l, r)
			for _, r := range sub {
				require.True(t, r < unicode.MaxASCII)
			}
		}
	}
	for _, row := range []struct {
		lang Lang
		r    rune
		want string
	}{
		{"en", '’', "'"},
		{"sw", '’', "'"},
		{"xx", '—', "-"},
		{"fr", 'ç', "c"},
		{"fr", 'À', "A"},
		{"fr", 'Œ', "OE"},
		{"pt", 'ã', "a"},
		{"es", 'Á', "A"},
		{"ha", 'Ɗ', "D"},
		{"lg", 'ŋ', "ng'"},
		{"yo", 'ẹ', "e"},
		{"ny", 'ŵ', "w"},
	} {
		require.Equal(t, row.want, Substitutions(row.lang)[row.r], "%s %c", row.lang, row.r)
	}
}

func TestNumber(t *testing.T) {
	for _, row := range []struct {
		lang     Lang
		v        float64
		decimals int
		want     string
	}{
		{"en", 1.5, 1, "1.5"},
		{"en", 1.25, 3, "1.3"},
		{"en", 2.04, 1, "2"},
		{"en", 12500, 1, "12500"},
		{"en", 1234567.5, 1, "1234567.5"},
		{"en", 2.5, 0, "3"},
		{"en", -0.04, 1, "0"},
		{"sw", 0.5, 1, "0.5"},
		{"fr", 1.5, 1, "1,5"},
		{"pt", 1234.5, 1, "1234,5"},
		{"es", 1.5, 1, "1.5"},
	} {
		require.Equal(t, row.want, Number(row.lang, row.v, row.decimals))
	}
}

func BenchmarkFold(b *testing.B) {
	for name, s := range map[string]string{
		"folded": "mahindi", "capital": "Mahindi", "doubled": "kuungua", "accent": "brûlé", "devanagari": "ज़हरीली", "text": "I have 3 sacks of DRY maize cobs",
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Fold("sw", s)
			}
		})
	}
}

// What holds none of the sounds is as it was: the look at them misses none.
func TestSounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[a-eghopswz ]{0,12}`).Draw(t, "text")
		if !sounded(s) {
			require.Equal(t, s, squeezed(sounds.Replace(s)))
		}
	})
}
