package locales

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// Rules are what the words file of a language allows and forbids.
type Rules struct {
	// Asked holds the spellings that stand under several concepts on purpose,
	// so that the person is asked which one it is, by the families of these.
	Asked map[string][]string
	// Harmless holds ordinary words one slip from a word of alarm, which alarms
	// only inside a phrase.
	Harmless []string
	// Avoid holds the words that readers should not meet, each with the one to
	// use: a thing has one name.
	Avoid []Avoided
	// Except holds the messages that are not worded as Plain asks, and why.
	Except map[ID]string
	// Reviewer says why nobody is sent the language before somebody who grew up
	// with it answers for it; empty where it may be sent at once.
	Reviewer string
	// Reads holds languages that who writes this one may also read, the likeliest
	// first: where this one is not sent they are answered in it.
	Reads []Lang
}

// Avoided is a word that no message says, and what it says instead.
type Avoided struct{ Word, Say string }

// take reads one rule. It reports whether there is such a rule.
func (r *Rules) take(name string, values []string) bool {
	families, asked := strings.CutPrefix(name, "asked.")
	switch {
	case asked:
		r.Asked[families] = values
	case name == "harmless":
		r.Harmless = values
	case name == "reads":
		for _, l := range values {
			r.Reads = append(r.Reads, Lang(l))
		}
	case name == "reviewer":
		r.Reviewer = strings.Join(values, " ")
		return r.Reviewer != ""
	case name == "avoid" || name == "except":
		for _, v := range values {
			word, say, ok := strings.Cut(v, ": ")
			if !ok || name == "except" && message(ID(word)).ID == "" {
				return false
			}
			if name == "avoid" {
				r.Avoid = append(r.Avoid, Avoided{word, say})
			} else {
				r.Except[ID(word)] = say
			}
		}
	default:
		return false
	}
	return true
}

// Rules returns the rules of a language. The caller must not change them.
func (c *Catalog) Rules(l Lang) Rules { return c.rules[l] }

// alarmFamilies are read apart from the others, to find a person who is hurt.
var alarmFamilies = []string{"emergency", "person", "body", "harm", "hazard", "trade"}

func alarm(concept string) bool { return slices.Contains(alarmFamilies, family(concept)) }

func family(concept string) string {
	f, _, _ := strings.Cut(concept, ".")
	return f
}

func in(families ...string) func(concept string) bool {
	return func(concept string) bool { return slices.Contains(families, family(concept)) }
}

// meanings inverts a word list: a folded spelling to its concepts, in order.
func meanings(l Lang, words Lexicon, keep func(concept string) bool) map[string][]string {
	found := map[string][]string{}
	for _, concept := range slices.Sorted(maps.Keys(words)) {
		if !keep(concept) {
			continue
		}
		for _, spelling := range words[concept] {
			folded := spoken(l, spelling)
			found[folded] = append(found[folded], concept)
		}
	}
	return found
}

// spoken folds a spelling and parts it as a reader of words does.
func spoken(l Lang, spelling string) string {
	return strings.Join(strings.FieldsFunc(Fold(l, spelling), func(r rune) bool { return r == ' ' || r == '-' }), " ")
}

// Check tells what is wrong with the words of a language and how its messages
// use them, in order. A language without words is not checked.
func (c *Catalog) Check(l Lang) []Fault {
	if c.words[l] == nil {
		return nil
	}
	faults := slices.Concat(c.collisions(l), c.alarms(l), c.abroad(l), c.stages(l), c.slips(l))
	if c.spoken[l] != nil {
		faults = append(faults, slices.Concat(c.unheard(l), c.keywords(l), c.names(l))...)
	}
	slices.SortStableFunc(faults, func(a, b Fault) int { return strings.Compare(a.File, b.File)*1_000_000 + a.Line - b.Line })
	return faults
}

// collisions are spellings with several meanings that are not listed as asked.
func (c *Catalog) collisions(l Lang) (faults []Fault) {
	asked := map[string]string{}
	for families, spellings := range c.rules[l].Asked {
		for _, s := range spellings {
			asked[spoken(l, s)] = families
		}
	}
	// A filler has no meaning of its own: it may stand beside a report.
	// What a text speaks of is no meaning of a word either.
	found := meanings(l, c.words[l], func(concept string) bool {
		return !alarm(concept) && concept != "word.filler" && family(concept) != "speaks"
	})
	for _, s := range slices.Sorted(maps.Keys(found)) {
		concepts := found[s]
		if len(concepts) == 1 {
			continue
		}
		if len(slices.Compact(slices.Clone(concepts))) < len(concepts) {
			faults = append(faults, c.fault("words", l, concepts[0], "lists %q twice: without case and marks it is the same", c.written(l, concepts[0], s)))
			continue
		}
		families := make([]string, len(concepts))
		for i, concept := range concepts {
			families[i] = family(concept)
		}
		want := strings.Join(slices.Compact(families), ".")
		if asked[s] != want {
			faults = append(faults, c.fault("words", l, concepts[0], "lists %q, which is also %s: choose one, or list it under rule.asked.%s so that the person is asked", c.written(l, concepts[0], s), strings.Join(concepts[1:], " and "), want))
		}
		delete(asked, s)
	}
	for _, s := range slices.Sorted(maps.Keys(asked)) {
		faults = append(faults, c.fault("words", l, "rule.asked."+asked[s], "lists %q, which does not have several meanings", s))
	}
	return faults
}

// written returns a folded spelling as the words file has it.
func (c *Catalog) written(l Lang, concept, folded string) string {
	i := slices.IndexFunc(c.words[l][concept], func(s string) bool { return spoken(l, s) == folded })
	if i < 0 {
		return folded
	}
	return c.words[l][concept][i]
}

// alarms holds the words of alarm: each stands under its parts and, where it is
// an alarm of the second tier when alone, under that emergency; never under two
// emergencies, and never both as an alarm and as ordinary.
func (c *Catalog) alarms(l Lang) (faults []Fault) {
	found := meanings(l, c.words[l], alarm)
	for _, s := range slices.Sorted(maps.Keys(found)) {
		concepts := found[s]
		n := func(families ...string) int {
			return len(slices.DeleteFunc(slices.Clone(concepts), func(concept string) bool { return !in(families...)(concept) }))
		}
		tell := func(why string) {
			faults = append(faults, c.fault("words", l, concepts[0], why, c.written(l, concepts[0], s), concepts))
		}
		switch {
		case len(slices.Compact(slices.Clone(concepts))) < len(concepts):
			tell("lists %q twice: %v")
		case n("emergency") > 1:
			tell("lists %q under two emergencies: %v")
		case n("trade") > 0 && len(concepts) > 1:
			tell("lists %q as an alarm and as ordinary: %v")
		case n("person", "body", "harm") > 1:
			tell("lists %q as two of person, body and harm: %v")
		}
	}
	return faults
}

// abroad holds what alarms alone, which is heard in every language, to what it
// means in the others: never something ordinary, and not a lesser alarm that is
// asked about there. The same goes for what stops all messages at once.
func (c *Catalog) abroad(l Lang) (faults []Fault) {
	loud := func(concept string) bool {
		return concept == "word.stop" || family(concept) == "emergency" && strings.HasSuffix(concept, ".a")
	}
	own := meanings(l, c.words[l], loud)
	for _, other := range c.heard {
		if other == l {
			continue
		}
		theirs := meanings(other, c.words[other], func(concept string) bool { return family(concept) != "speaks" })
		for _, s := range slices.Sorted(maps.Keys(own)) {
			concepts := theirs[s]
			if len(concepts) > 0 && !slices.ContainsFunc(concepts, loud) {
				faults = append(faults, c.fault("words", l, own[s][0], "lists %q, which is only %s in %s, and is heard there too", c.written(l, own[s][0], s), strings.Join(concepts, " and "), other))
			}
		}
	}
	return faults
}

// stages: what asks and what reports are different words, and STOP is STOP in
// every language.
func (c *Catalog) stages(l Lang) (faults []Fault) {
	reports, questions := meanings(l, c.words[l], in("report")), meanings(l, c.words[l], in("question"))
	for _, s := range slices.Sorted(maps.Keys(questions)) {
		if reports[s] != nil {
			faults = append(faults, c.fault("words", l, questions[s][0], "lists %q, which is also %s: a question is never a report", c.written(l, questions[s][0], s), reports[s][0]))
		}
	}
	if !slices.Contains(c.words[l]["word.stop"], "stop") {
		faults = append(faults, c.fault("words", l, "word.stop", "lacks \"stop\", which everybody may write"))
	}
	return faults
}

// guessedLetters are those of a word that a listener may take for another with
// one slip.
const guessedLetters = 6

// slips are ordinary words one slip from a word of alarm, and not listed as
// ordinary there.
func (c *Catalog) slips(l Lang) (faults []Fault) {
	if Agglutinative(l) {
		return nil
	}
	harmless := map[string]bool{}
	for _, word := range c.rules[l].Harmless {
		harmless[spoken(l, word)] = false // until it is met
	}
	alarms, known := map[string]string{}, map[string]bool{}
	for s, concepts := range meanings(l, c.words[l], alarm) {
		for word := range strings.FieldsSeq(s) {
			known[word] = true
			if !in("trade", "person")(concepts[0]) && utf8.RuneCountInString(word) >= guessedLetters {
				alarms[word] = s
			}
		}
	}
	seen := map[string]bool{}
	ordinary := meanings(l, c.words[l], func(concept string) bool { return !alarm(concept) })
	for _, s := range slices.Sorted(maps.Keys(ordinary)) {
		for word := range strings.FieldsSeq(s) {
			if known[word] || utf8.RuneCountInString(word) < guessedLetters || seen[word] {
				continue
			}
			for _, alarm := range slices.Sorted(maps.Keys(alarms)) {
				if !oneSlip(word, alarm) {
					continue
				}
				if _, ok := harmless[word]; ok {
					harmless[word] = true
					continue
				}
				seen[word] = true
				faults = append(faults, c.fault("words", l, ordinary[s][0], "lists %q, one slip from %q of the alarm %q: leave it out, list it under trade, or under rule.harmless if no slip of it alarms", word, alarm, alarms[alarm]))
				break
			}
		}
	}
	for _, word := range slices.Sorted(maps.Keys(harmless)) {
		if !harmless[word] {
			faults = append(faults, c.fault("words", l, "rule.harmless", "lists %q, which is far from every alarm", word))
		}
	}
	return faults
}

// oneSlip reports whether two words with the same first letter differ by one
// letter changed, added or left out, or by two neighbours swapped.
func oneSlip(x, y string) bool {
	a, b := []rune(x), []rune(y)
	if len(a) > len(b) {
		a, b = b, a
	}
	if x == y || a[0] != b[0] || len(b)-len(a) > 1 {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return slices.Equal(a[i:], b[i+1:])
	}
	swapped := i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && slices.Equal(a[i+2:], b[i+2:])
	return slices.Equal(a[i+1:], b[i+1:]) || swapped
}

// numbers are those that people write as words.
const numbers = "0.5 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 30 40 50 60 70 80 90 100 1000"

// unheard are meanings without a word: a language that is spoken has words for
// everything the line may be told.
func (c *Catalog) unheard(l Lang) (faults []Fault) {
	wanted := slices.DeleteFunc(slices.Sorted(maps.Keys(known)), in("lang", "coin", "more")) // some have no name of their own
	for n := range strings.FieldsSeq(numbers) {
		wanted = append(wanted, "number."+n)
	}
	for _, concept := range wanted {
		if len(c.words[l][concept]) == 0 {
			faults = append(faults, c.fault("words", l, concept, "has no word"))
		}
	}
	return faults
}

var shouted = regexp.MustCompile(`\b\p{Lu}{2,}(?: \p{Lu}{2,})*\b`)

// headings are the words in capitals that nobody is asked to text.
var headings = regexp.MustCompile(`^[¡\p{Lu}' ]+ ?[:!]`)

// keywords are words a message asks to be texted that are not understood.
func (c *Catalog) keywords(l Lang) (faults []Fault) {
	words := meanings(l, c.words[l], func(string) bool { return true })
	for _, id := range IDs() {
		for _, form := range c.Forms(l, id, func(string) string { return "_" }) {
			for _, keyword := range shouted.FindAllString(headings.ReplaceAllString(form, ""), -1) {
				if keyword != "PIN" && words[spoken(l, keyword)] == nil { // a secret number is called that, and nobody texts the word
					faults = append(faults, c.fault("active", l, string(id), "asks for %s, which is not understood: list it in %s", keyword, file("words", l)))
				}
			}
		}
	}
	return faults
}

// names are names of things that are not understood: what a message calls a
// thing is what the person may call it.
func (c *Catalog) names(l Lang) (faults []Fault) {
	words := meanings(l, c.words[l], func(string) bool { return true })
	for _, id := range IDs() {
		if id == "waste.any" || !in("waste", "starch")(string(id)) || !Known(string(id)) {
			continue
		}
		for _, form := range c.Forms(l, id, func(string) string { return "_" }) {
			if name, _, _ := strings.Cut(form, ","); !slices.Contains(words[spoken(l, name)], string(id)) {
				faults = append(faults, c.fault("active", l, string(id), "is called %q, which is not understood so: list it in %s", name, file("words", l)))
			}
		}
	}
	return faults
}
