package locales

import (
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Fold returns what two spellings of one word have in common: lower case, no
// accents, straight quotes, plain letters for hooked ones, ASCII digits, doubled
// Latin letters single (but for those of twice), an apostrophe inside a word left
// out (in French a space, for the elided article), white space single and trimmed. Folding twice is folding once. Punctuation stays.
func Fold(l Lang, s string) string {
	s, _ = fold(l, s)
	return respelt(l, s)
}

// FoldEach writes to out how each of the languages folds s. What is the same in
// all is worked out once: where they respell nothing, most texts fold alike.
func FoldEach(langs []Lang, s string, out []string) {
	folded, own := fold(langs[0], s)
	for i, l := range langs {
		if own && i > 0 {
			folded, _ = fold(l, s)
		}
		out[i] = respelt(l, folded)
	}
}

// fold folds a text but for its respelling, and reports whether another language
// may fold it otherwise.
func fold(l Lang, s string) (folded string, own bool) {
	if plain(s) {
		return s, false
	}
	f := folder{twice: twice[l], inside: apostrophes[l], out: make([]byte, 0, len(s)+8)}
	for _, r := range s {
		if r < utf8.RuneSelf {
			f.add(r)
			continue
		}
		f.addWide(r)
	}
	f.flush()
	return string(f.out), f.own
}

// respelt returns a folded text with one spelling for what is one word, in a
// language that has no fixed spelling. Hindi in Roman letters writes geela and gila,
// wapas and vapas, saphed and safed, and shortens its commonest words; in Devanagari
// a nasal is a dot or half a letter, and is often left out where a word ends.
func respelt(l Lang, s string) string {
	switch l {
	case "hi":
		if strings.Contains(s, "्") {
			s = nasals.Replace(s)
		}
		return unended(s)
	case "hi-Latn":
		return roman(s)
	}
	return s
}

// nasals are half letters of Devanagari for which the dot stands too.
var nasals = strings.NewReplacer("ङ्", "ं", "ञ्", "ं", "ण्", "ं", "न्", "ं", "म्", "ं")

// unended returns a text without the dots with which words end.
func unended(s string) string {
	const dot = "ं"
	if !strings.Contains(s, dot) {
		return s
	}
	var out strings.Builder
	for {
		i := strings.Index(s, dot)
		if i < 0 {
			out.WriteString(s)
			return out.String()
		}
		rest := strings.TrimLeft(s[i:], dot)
		out.WriteString(s[:i])
		if next, _ := utf8.DecodeRuneInString(rest); rest != "" && (unicode.IsLetter(next) || unicode.IsMark(next)) {
			out.WriteString(s[i : len(s)-len(rest)])
		}
		s = rest
	}
}

// roman respells a text of Roman Hindi. Every text is folded so, whatever it is in:
// most words hold none of these sounds and cost a look.
func roman(s string) string {
	if sounded(s) {
		s = squeezed(sounds.Replace(s))
	}
	if !strings.Contains(s, " ") {
		return romanWord(s)
	}
	words := strings.Split(s, " ")
	for i, w := range words {
		words[i] = romanWord(w)
	}
	return strings.Join(words, " ")
}

func romanWord(w string) string {
	if one, ok := oneWord[w]; ok {
		return one
	}
	for len(w) > 4 && (strings.HasSuffix(w, "un") || strings.HasSuffix(w, "en")) { // the nasal sign: kholun, kholen
		w = w[:len(w)-1]
	}
	return w
}

// sounded reports whether a text holds one of the sounds, or a letter twice in a
// row.
func sounded(s string) bool {
	for i := range len(s) {
		switch c := s[i]; {
		case c == 'w', c == 'z', i > 0 && c == s[i-1] && c >= 'a' && c <= 'z', i > 0 && c == 'h' && (s[i-1] == 'p' || s[i-1] == 's'):
			return true
		}
	}
	return false
}

// squeezed returns a text with no small letter twice in a row.
func squeezed(s string) string {
	out := make([]byte, 0, len(s))
	for i := range len(s) {
		if n := len(out); n == 0 || out[n-1] != s[i] || s[i] < 'a' || s[i] > 'z' {
			out = append(out, s[i])
		}
	}
	return string(out)
}

// sounds are letters of Roman Hindi that stand for one sound.
var sounds = strings.NewReplacer("ee", "i", "oo", "u", "ph", "f", "sh", "s", "w", "v", "z", "j")

// oneWord holds the other spellings of the commonest words of Roman Hindi, as
// they are folded.
var oneWord = func() map[string]string {
	all := map[string]string{}
	for word, spellings := range map[string]string{
		"nahi":  "nhi nahin nai nhin nehi nahee",
		"hai":   "h hain he",
		"hu":    "hun",
		"me":    "mein",
		"mai":   "main",
		"maine": "mene mne meine",
		"raha":  "rha",
		"rahi":  "rhi",
		"rahe":  "rhe",
		"gaya":  "gya",
		"gayi":  "gyi gai",
		"gaye":  "gye gae",
		"diya":  "dia dya",
		"diye":  "die dye",
		"liya":  "lia lya",
		"liye":  "lie",
		"kiya":  "kia",
		"kiye":  "kie",
		"kar":   "kr",
		"karna": "krna",
		"karo":  "kro",
		"karu":  "kru",
		"dhua":  "dhuan dhuva dhuvan dhoan dhuam dhooan",
		"bahut": "bhut bohot bahot bhot",
		"jyada": "jada",
		"pata":  "pta",
		"abhi":  "abi",
		"pahle": "pehle fle",
		"sakta": "skta",
		"sakte": "skte",
		"sakti": "skti",
		"kitna": "ktna",
		"kitne": "ktne",
		"kitni": "ktni",
		"sans":  "sas",
		"muh":   "munh",
		"ankh":  "akh",
		"dram":  "drum drm drums drams",
		"koyla": "koila koela koyela koyala coyla",
		"kyo":   "kyu kyun kyon",
		"mesej": "mesage masage msg", "nambar": "number nmbr",
		"ye": "yah yeh", "vo": "vah voh",
		"dono":  "donon",
		"bacha": "bachcha bcha bchcha",
		"bache": "bachche bche",
		"bachi": "bachchi",
	} {
		for spelling := range strings.FieldsSeq(spellings) {
			all[spelling] = word
		}
	}
	return all
}()

// apostrophes says what stands for an apostrophe inside a word: nothing unless
// listed. In Hausa it is a letter, in Creole it parts "m'ap".
var apostrophes = map[Lang]string{"fr": " ", "ha": "'", "ht": " "}

// twice holds the letters that make another word when they are doubled: in
// English feel is not fell, in Creole sann is ash and san without, vann sells and
// van is wind, in Hausa kunna lights, kuna is a burn, babba big and baba father.
// In Roman Hindi they are other vowels.
var twice = map[Lang]string{"en": "eo", "ha": "bn", "hi-Latn": "eo", "ht": "n"}

// twiceAnywhere holds the letters of twice of all languages.
var twiceAnywhere = strings.Join(slices.Collect(maps.Values(twice)), "")

// Folding names how a language folds: two languages of one name fold every text
// alike.
func Folding(l Lang) string {
	if l == "hi" || l == "hi-Latn" {
		return string(l) // each respells
	}
	return twice[l] + "|" + apostrophes[l]
}

// Elides reports whether an apostrophe parts two words in a language.
func Elides(l Lang) bool { return apostrophes[l] == " " }

// plain reports whether s is folded already, as most words from a phone are.
func plain(s string) bool {
	var last byte = ' '
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'a' && c <= 'z':
			if c == last {
				return false
			}
		case c >= utf8.RuneSelf, c >= 'A' && c <= 'Z', c == '\'', c == '`', c < ' ', c == 0x7f:
			return false
		case c == ' ' && last == ' ':
			return false
		}
		last = c
	}
	return last != ' ' || s == ""
}

// folder builds a folded text rune by rune. An apostrophe and a space are held
// back until what follows is known.
type folder struct {
	out        []byte
	last       rune // last rune in out
	run        int  // how often it was read in a row
	twice      string
	inside     string
	apostrophe bool
	space      bool
	own        bool // another language may fold this otherwise
}

// addWide folds a rune outside ASCII.
func (f *folder) addWide(r rune) {
	if int(r) < len(letters) {
		if s := letters[r]; s != "" {
			for _, r := range s {
				f.addPlain(r)
			}
			return
		}
	}
	if s, ok := replaced[r]; ok {
		for _, r := range s {
			f.add(r)
		}
		return
	}
	var octets [utf8.UTFMax]byte
	n := utf8.EncodeRune(octets[:], r)
	parts := norm.NFKD.Properties(octets[:n]).Decomposition()
	if len(parts) == 0 {
		f.addLetter(r)
		return
	}
	if unicode.Is(unicode.No, r) && f.last >= '0' && f.last <= '9' && len(parts) > 1 {
		f.add(' ') // 3½ is 3 1/2, not 31/2
	}
	for len(parts) > 0 {
		r, n := utf8.DecodeRune(parts)
		if s, ok := replaced[r]; ok {
			for _, r := range s {
				f.add(r)
			}
		} else {
			f.addLetter(r)
		}
		parts = parts[n:]
	}
}

// addLetter folds a rune that does not decompose further.
func (f *folder) addLetter(r rune) {
	switch {
	case unicode.Is(unicode.Mn, r) && unicode.Is(unicode.Inherited, r), unicode.Is(unicode.Cf, r):
		// Accents and joiners. The vowel signs of Indic scripts stay.
	case unicode.Is(unicode.Nd, r):
		f.add('0' + digit(r))
	default:
		f.add(r)
	}
}

// digit returns the value of a decimal digit: in every script the ten follow
// each other, and so do the blocks of ten within a script's range.
func digit(r rune) rune {
	for _, block := range unicode.Nd.R16 {
		if r >= rune(block.Lo) && r <= rune(block.Hi) {
			return (r - rune(block.Lo)) % 10
		}
	}
	for _, block := range unicode.Nd.R32 {
		if r >= rune(block.Lo) && r <= rune(block.Hi) {
			return (r - rune(block.Lo)) % 10
		}
	}
	return 0
}

// add writes one rune, lower-cased, squeezed and with what was held back.
func (f *folder) add(r rune) {
	r = unicode.ToLower(r)
	switch {
	case unicode.IsSpace(r):
		f.flush()
		f.space = len(f.out) > 0
		return
	case unicode.IsControl(r):
		return
	case r == '\'' || r == '`':
		f.flush()
		if f.apostrophe = !f.space && unicode.IsLetter(f.last); !f.apostrophe {
			f.write('\'')
		}
		return
	}
	f.addPlain(r)
}

// addPlain writes a rune that is in lower case, and no white space, control or
// apostrophe.
func (f *folder) addPlain(r rune) {
	if f.apostrophe {
		f.apostrophe = false
		inside := "'"
		if unicode.IsLetter(r) {
			inside, f.own = f.inside, true
		}
		for _, r := range inside {
			f.write(r)
		}
	}
	if r == f.last && !f.space && unicode.Is(unicode.Latin, r) {
		f.double(r)
		return
	}
	f.write(r)
}

// double takes a letter that was just written. Two of those that may be doubled
// stay; more are one, as in "nooo".
func (f *folder) double(r rune) {
	f.run++
	f.own = f.own || strings.ContainsRune(twiceAnywhere, r)
	if !strings.ContainsRune(f.twice, r) {
		return
	}
	switch f.run {
	case 2:
		f.out = append(f.out, byte(r))
	case 3:
		f.out = f.out[:len(f.out)-1]
	}
}

// write appends a rune after the space that was held back, if any.
func (f *folder) write(r rune) {
	if f.space {
		f.space = false
		f.out = append(f.out, ' ')
	}
	f.out = utf8.AppendRune(f.out, r)
	f.last, f.run = r, 1
}

// flush writes an apostrophe that turned out to end a word.
func (f *folder) flush() {
	if f.apostrophe {
		f.apostrophe = false
		f.write('\'')
	}
}

// replaced lists the runes whose plain form Unicode does not give.
var replaced = runes(map[string]string{
	"‘’‚‛ʹʻʼʽˈ′´＇": "'", "“”„‟«»″": `"`, "‐‑‒–—―−": "-", "⁄∕÷": "/", "×✕": "x", "•‣·": "*",
	"ɓ": "b", "ɗđ": "d", "ƙ": "k", "ƴ": "y", "ŋ": "ng", "ɲ": "ny", "ɛ": "e", "ɔ": "o", "ɩı": "i", "ʋ": "v", "ƒ": "f", "ɣ": "g", "ɖ": "d", "ʊ": "u", "ɨ": "i", "ə": "e",
	"Ɓ": "b", "ƊĐ": "d", "Ƙ": "k", "Ƴ": "y", "Ŋ": "ng", "Ɲ": "ny", "Ɛ": "e", "Ɔ": "o", "Ɩ": "i", "Ʋ": "v", "Ƒ": "f", "Ɣ": "g", "Ɖ": "d", "Ʊ": "u", "Ɨ": "i", "Ə": "e",
	"øØ": "o", "łŁ": "l", "ßẞ": "s", "æÆ": "ae", "œŒ": "oe", "þÞ": "th", "ðÐ": "d",
	"ँ": "ं", "़": "", // Devanagari: people write either nasal sign, and leave the dot out
	"।॥": ".", "፡": " ", "።": ".", "፣": ",", "፤": ";", "፥፦": ":", "፧": "?",
}, ethiopic)

// ethiopic are the letters that sound alike in Amharic, of which people write any:
// each row of seven is written as that of the other.
var ethiopic = func() map[string]string {
	same := map[string]string{"ሃ": "ሀ", "ሓ": "ሀ", "ኃ": "ሀ", "ኣ": "አ", "ዓ": "አ"} // these two sound like the first of their row
	for from, to := range map[rune]rune{'ሐ': 'ሀ', 'ኀ': 'ሀ', 'ሠ': 'ሰ', 'ዐ': 'አ', 'ፀ': 'ጸ'} {
		for i := range rune(7) {
			if other := string(from + i); same[other] == "" {
				same[other] = string(to + i)
			}
		}
	}
	return same
}()

// letters holds what a letter folds to, of the scripts in which people write most
// of what is not ASCII: from Latin-1 to Ethiopic. What is empty there goes the long
// way.
var letters [0x1380]string

func init() {
	for r := rune(utf8.RuneSelf); int(r) < len(letters); r++ {
		if !unicode.IsLetter(r) && !unicode.IsMark(r) {
			continue
		}
		var f folder
		f.addWide(r)
		f.flush()
		if f.space || strings.ContainsAny(string(f.out), " '`") {
			continue
		}
		letters[r] = string(f.out)
	}
}

func runes(lists ...map[string]string) map[rune]string {
	groups := map[string]string{}
	for _, list := range lists {
		maps.Copy(groups, list)
	}
	all := map[rune]string{}
	for group, s := range groups {
		for _, r := range group {
			all[r] = s
		}
	}
	return all
}
