package dialog

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"cobline/locales"
)

// told is a report about a burn, or a question about one.
type told struct {
	what     string
	question bool
	doubtful bool
	not      bool
	drum     string
	ago      time.Duration
	clock    time.Duration // the time of day that was told, or negative
	drums    int           // how many drums were lit at once, if told
	all      bool          // every drum it can be about
	kg       []amount
	waste    []string // what is said to lie in the drum: one of these
	hot      bool     // the charcoal is said to be warm or to glow
}

// hear reads reports and questions of a burn. A report matches exactly and is
// the whole text, but for a drum's name, an amount and how long ago it was; a
// question is never a report.
func (t *turn) hear(r reading) (told, bool) {
	out := told{clock: -1}
	reports, questions := []string{}, []string{}
	asks, loose := false, 0
	covered := make([]bool, len(r.tokens))
	for i, s := range r.spans {
		known := false
		for _, n := range s.of("report") {
			if !s.fuzzy {
				reports, known = append(reports, n), true
			}
		}
		for _, n := range s.of("question") {
			if !s.fuzzy {
				questions, known = append(questions, n), true
			}
		}
		if n := s.of("waste"); len(n) > 0 {
			if both := intersect(out.waste, n); len(both) > 0 {
				n = both
			} else {
				n = append(slices.Clone(out.waste), n...)
			}
			out.waste = n
		}
		look := i+1 < len(r.spans) && r.spans[i+1].in("state") // "opened, it is not warm"
		out.not = out.not || !look && (s.is("word.not") || s.is("word.no"))
		out.all = out.all || s.is("word.both")
		if known || r.belongs(s) {
			for i := s.from; i < s.to; i++ {
				covered[i] = true
			}
		}
	}
	for i, tok := range r.tokens {
		asks = asks || tok.question
		if covered[i] || tok.isNumber {
			continue
		}
		if tok.word == "a" && i+1 < len(r.tokens) && covered[i+1] {
			continue // "a drum"
		}
		if name := t.drumNamed(tok.word); name != "" && out.drum == "" {
			out.drum = name
			continue
		}
		if letter(tok.word) && out.drum == "" {
			out.drum = strings.ToUpper(tok.word)
			continue
		}
		loose++
	}
	clockAt := -1
	out.clock, clockAt = r.clockTime(locales.Agglutinative(t.lang))
	for _, a := range r.sums {
		if clockAt >= 0 && (a.token == clockAt || a.token == clockAt+1 && r.tokens[clockAt].comma) {
			continue // a time, no amount
		}
		switch a.unit {
		case "minute":
			out.ago += time.Duration(a.number * float64(time.Minute))
		case "hour":
			if locales.Agglutinative(t.lang) {
				continue // "saa 3" is nine o'clock and not three hours
			}
			out.ago += time.Duration(a.number * float64(time.Hour))
		case "kg", "tin", "bucket", "sack":
			if !(a.number == 1 && a.unit == "sack" && !r.hasNumber()) {
				out.kg = append(out.kg, a)
			}
		case "", "drum":
			n := strconv.FormatFloat(a.number, 'f', -1, 64)
			behind := a.token > 0 && t.wordMeans(r.tokens[a.token-1].word, "unit.drum")
			counted := !behind || !r.tokens[a.token].isNumber || !t.busy() && int(a.number) == t.drumsOfRecipe()
			if a.unit == "drum" && counted && a.number >= 2 && a.number <= maxDrums && t.drumNamed(n) == "" {
				out.drums = int(a.number) // "lit 2 drums", "nimewasha mapipa mawili"
			} else if out.drum == "" && (t.drumNamed(n) != "" || behind && a.number < 100) {
				out.drum = n
			} else if a.unit == "" {
				out.kg = append(out.kg, a)
			}
		}
	}
	if out.ago > 0 {
		loose-- // "ago"
	}
	look, _ := r.inside()
	out.hot = look == "warm" || look == "glow"
	whole := loose == 0
	if !t.burning() && !whole && len(unique(questions)) == 1 && questions[0] == reportReady && len(reports) == 0 {
		return out, false // "how long to press each one"
	}
	kinds := unique(append(slices.Clone(reports), questions...))
	if len(kinds) == 0 || !t.burning() && !whole && weatherOnly(kinds) {
		return out, false
	}
	switch {
	case len(questions) > 0:
		out.what, out.question = strongest(questions), true
	case asks:
		out.what, out.question = strongest(reports), true
	default:
		out.what = strongest(reports)
		if out.what == reportLeak && t.burning() && !slices.ContainsFunc(t.s.Drums, func(d Drum) bool { return d.Stage == stageLit }) {
			reports = slices.DeleteFunc(reports, func(k string) bool { return k == reportCovered }) // "covered but smoke comes" tells of one thing
		}
		out.doubtful = loose > 0 || out.not || len(unique(reports)) > 1
		if out.what == reportLit && loose == 1 && !out.not && out.drum == "" {
			out.drum = t.ownName(r, covered)
			out.doubtful = out.drum == ""
		}
	}
	if out.drum == "" && out.drums < 2 && !out.all {
		out.drum = t.speakersDrum(out.what)
	}
	if out.all && out.what == reportLit && out.drum == "" && out.drums == 0 {
		out.drums = max(2, t.drumsOfRecipe())
	}
	if out.ago > longestStory || out.ago < 0 {
		out.doubtful = true
	}
	return out, true
}

// drumsOfRecipe is how many drums the last recipe was for, or zero.
func (t *turn) drumsOfRecipe() int {
	if f := t.frameOf(topicRecipe); f != nil && f.Done {
		return min(maxDrums, int(math.Ceil(f.Slots[slotDrums].Number)))
	}
	return 0
}

// belongs reports whether a word may stand beside a report without making it
// doubtful: a measure, a waste, how it looks, or a word without weight.
func (r reading) belongs(s span) bool {
	for _, c := range s.concepts {
		switch family(c) {
		case "number":
			return s.of("number")[0] != "0.5" || r.weighsHalf() // half covered is not covered
		case "waste", "state", "smoke", "thing", "more":
			return true
		case "word":
			return s.is("word.filler") || s.is("word.both") || s.is("word.ok") || s.is("word.greeting") || s.is("word.at") || s.is("word.not") || s.is("word.no")
		case "unit":
			if c != "unit.sack" || r.hasNumber() {
				return true
			}
		}
	}
	return false
}

// weighsHalf reports whether an amount of charcoal ends in a half: "8 and a half kg".
func (r reading) weighsHalf() bool {
	return slices.ContainsFunc(r.sums, func(a amount) bool {
		return (a.unit == "kg" || a.unit == "tin") && a.number > 1 && a.number-math.Floor(a.number) == 0.5
	})
}

// weatherOnly reports whether a text speaks of rain, wind or dark and of no drum.
func weatherOnly(kinds []string) bool {
	return !slices.ContainsFunc(kinds, func(k string) bool { return k != reportRain && k != reportWind && k != reportDark })
}

// clockTime reads a time of day that was told: "at 8", "8:40", "16:00", or in Swahili
// "saa 3", which counts from six. It returns the time since midnight and the
// token of the hour, or a negative time.
func (r reading) clockTime(fromSix bool) (time.Duration, int) {
	hour := func(i int) (time.Duration, bool) {
		if i < 0 || i >= len(r.tokens) || !r.tokens[i].isNumber || r.tokens[i].number != float64(int(r.tokens[i].number)) || r.tokens[i].number > 23 {
			return 0, false
		}
		d := time.Duration(r.tokens[i].number) * time.Hour
		if i+1 < len(r.tokens) && r.tokens[i].comma && r.tokens[i+1].isNumber && r.tokens[i+1].number < 60 {
			d += time.Duration(r.tokens[i+1].number) * time.Minute
		}
		return d, true
	}
	for _, s := range r.spans {
		if !s.is("word.at") && !(fromSix && s.is("unit.hour")) {
			continue
		}
		if d, ok := hour(s.to); ok {
			if fromSix && s.is("unit.hour") && d < 13*time.Hour {
				d = (d + 6*time.Hour) % (24 * time.Hour)
			}
			return d, s.to
		}
		at := s.from - 1 // in Hindi the word stands behind: "4 baje"
		if at > 0 && r.tokens[at-1].colon {
			at--
		}
		if d, ok := hour(at); ok && s.is("word.at") {
			return d, at
		}
	}
	for i := range r.tokens {
		minutes := i+1 < len(r.tokens) && r.tokens[i].colon && r.tokens[i+1].isNumber && r.tokens[i+1].number < 60
		if d, ok := hour(i); ok && (minutes || d%time.Hour != 0) {
			return d, i
		}
	}
	return -1, -1
}

// toldTime is the last moment before now at which a clock showed the time told,
// by a clock of twelve or of 24 hours: of two possible times the later counts.
func (t *turn) toldTime(now time.Time, clock time.Duration) time.Time {
	at := midnight(now.In(t.place.Zone)).Add(clock)
	for at.Add(12 * time.Hour).Before(now.Add(time.Minute)) {
		at = at.Add(12 * time.Hour)
	}
	for at.After(now.Add(time.Minute)) {
		at = at.Add(-12 * time.Hour)
	}
	return at
}

// strongest is the report that is answered when a text holds several: what is
// dangerous to misread comes first.
func strongest(kinds []string) string {
	for _, k := range []string{reportWater, reportOpened, reportLeak, reportRain, reportWind, reportDark, reportOut, reportCovered, "resealed", reportLit, reportWeighed, reportReady} {
		if slices.Contains(kinds, k) {
			if k == "resealed" {
				return reportCovered
			}
			return k
		}
	}
	return kinds[0]
}

func unique(s []string) []string {
	s = slices.Clone(s)
	slices.Sort(s)
	return slices.Compact(s)
}

// hasNumber reports whether the text holds a number.
func (r reading) hasNumber() bool {
	return slices.ContainsFunc(r.parts, func(p part) bool { return p.isNumber })
}

// ownName is the word a person calls the drum by: the one word without another
// meaning, right behind the word for drum.
func (t *turn) ownName(r reading, covered []bool) string {
	for _, s := range r.spans {
		drum := t.wordMeans(r.tokens[s.to-1].word, "unit.drum")
		if !drum || s.to >= len(r.tokens) || covered[s.to] || r.tokens[s.to].isNumber {
			continue
		}
		if n := utf8.RuneCountInString(r.tokens[s.to].word); n >= 2 && n <= 12 {
			return r.tokens[s.to].word
		}
	}
	return ""
}

// letter reports whether a word is a drum's letter.
func letter(word string) bool { return len(word) == 1 && word[0] >= 'a' && word[0] <= 'f' }

// drumNamed returns the name of an open drum that a word means.
func (t *turn) drumNamed(word string) string {
	for _, d := range t.s.Drums {
		if strings.EqualFold(d.Name, word) || len(d.Name) > 2 && strings.EqualFold(d.Name+"s", word) || // "asha's drum"
			len(d.Name) > 1 && locales.Fold(t.lang, d.Name) == word { // most are a letter
			return d.Name
		}
	}
	return ""
}
