package dialog

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"cobline/calc"
	"cobline/locales"
)

// Objection is why something is not taught. Each reason is a sentence that an
// officer can act on.
type Objection struct {
	Reasons []string
	// Second says that it may be taught once an administrator has looked at it too.
	Second bool
}

// Error returns the reasons.
func (o Objection) Error() string { return strings.Join(o.Reasons, " ") }

// objections are gathered, the ones that no second look overcomes first.
type objections struct{ never, second []string }

func (o *objections) refuse(format string, args ...any) {
	o.never = append(o.never, fmt.Sprintf(format, args...))
}

func (o *objections) doubt(format string, args ...any) {
	o.second = append(o.second, fmt.Sprintf(format, args...))
}

func (o *objections) err() error {
	switch {
	case len(o.never) > 0:
		return Objection{Reasons: append(o.never, o.second...)}
	case len(o.second) > 0:
		return Objection{Reasons: o.second, Second: true}
	}
	return nil
}

// Meaning is one thing that a word can be taught to mean.
type Meaning struct {
	Concept string
	Group   string // what it is one of, in English
	Name    string // in English
	Second  bool   // only with an administrator's second look
}

// group is a family of meanings that can be taught, and the rule that keeps it
// if an administrator has to look twice.
type group struct {
	family, name, rule string
	names              map[string]string // of a concept; nil: those of the catalogue
}

// The rules in words, as an officer is told them.
const (
	ruleEmergency = "A word of danger overrides everything else and wakes the duty phones"
	ruleOptOut    = "A word of leaving ends all messages to a person at once"
	ruleReport    = "A report on a burn sets the clock that says when a drum may be opened"
	ruleDryness   = "How dry the waste is decides whether anybody lights it; a doubtful word must count as the wetter one"
	ruleSmoke     = "What the smoke looks like decides when a drum is covered"
	ruleInside    = "Whether the inside is warm or cold decides if charcoal may be moved"
	rulePast      = "What a drum held before decides whether it may be lit at all"
	ruleYes       = "A yes confirms a STOP, an erasure or a report at once"
	ruleTurning   = "A word that denies, doubts or asks turns round what stands beside it"
	ruleNumber    = "A word for a number changes amounts and times"
)

var groups = []group{
	{family: "waste", name: "Waste"},
	{family: "starch", name: "Starch or binder"},
	{family: "topic", name: "Subject"},
	{family: "symptom", name: "What is wrong with briquettes"},
	{family: "mould", name: "Size"},
	{family: "unit", name: "Measure", names: map[string]string{
		"kg": "kilogram", "gram": "gram", "tonne": "tonne", "litre": "litre", "drum": "drum", "sack": "sack", "tin": "tin", "cup": "cup", "bucket": "bucket",
		"week": "week", "day": "day", "hour": "hour", "minute": "minute", "piece": "briquettes, pieces", "wheelbarrow": "wheelbarrow", "basin": "basin", "handful": "handful", "person": "people",
	}},
	{family: "thing", name: "Thing", names: map[string]string{
		"char": "charcoal", "brands": "half-burned pieces", "waste": "crop waste, no kind named", "mix": "wet mix",
	}},
	{family: "word", name: "Answer or command", names: map[string]string{
		"help": "HELP", "menu": "MENU", "back": "BACK", "more": "MORE", "why": "WHY", "language": "LANGUAGE", "call": "CALL, a person phones",
		"unknown": "I do not know", "skip": "skip this question", "greeting": "a greeting", "ok": "thanks, all right", "filler": "a word without weight",
	}},
	{family: "weekday", name: "Day", names: map[string]string{
		"mon": "Monday", "tue": "Tuesday", "wed": "Wednesday", "thu": "Thursday", "fri": "Friday", "sat": "Saturday", "sun": "Sunday", "tomorrow": "tomorrow",
	}},
	{family: "number", name: "Number", rule: ruleNumber, names: map[string]string{
		"0.25": "a quarter", "0.5": "a half", "0.75": "three quarters", "1": "1", "1.5": "one and a half", "2": "2", "3": "3", "4": "4", "5": "5", "6": "6", "7": "7", "8": "8", "9": "9", "10": "10",
		"11": "11", "12": "12", "15": "15", "20": "20", "30": "30", "40": "40", "50": "50", "100": "100", "1000": "1000",
	}},
	{family: "word", name: "Yes and no", rule: ruleYes, names: map[string]string{"yes": "yes", "no": "no"}},
	{family: "dryness", name: "How dry the waste is", rule: ruleDryness, names: map[string]string{
		"dry": "dry", "nearly": "nearly dry", "wet": "wet", "too-wet": "too wet",
	}},
	{family: "drum-past", name: "What a drum held before", rule: rulePast, names: map[string]string{
		"new": "nothing, it is new", "food": "food", "oil": "oil or fuel", "poison": "poison", "unknown": "not known", "none": "there is no drum",
	}},
	{family: "smoke", name: "Smoke", rule: ruleSmoke, names: map[string]string{
		"white": "white", "yellow": "yellow or brown", "thin": "thin", "blue": "blue", "grey": "grey", "none": "none", "much": "much", "flames": "flames",
	}},
	{family: "state", name: "Inside a drum", rule: ruleInside, names: map[string]string{"glow": "it glows", "warm": "warm", "cold": "cold"}},
	{family: "report", name: "Report on a burn", rule: ruleReport, names: map[string]string{
		"lit": "I lit it", "covered": "I covered it", "opened": "I opened it", "resealed": "I closed it again", "weighed": "I weighed the charcoal",
		"leak": "smoke leaks", "rain": "it rains", "wind": "it is windy", "dark": "it is dark", "out": "the fire is out",
	}},
	{family: "question", name: "Question about a burn", rule: ruleReport, names: map[string]string{
		"lit": "may I light?", "covered": "may I cover?", "opened": "may I open?", "ready": "is it ready?", "water": "may I use water?",
	}},
	{family: "word", name: "Leaving and coming back", rule: ruleOptOut, names: map[string]string{
		"stop": "STOP", "stop-local": "leave me alone, when it is the whole text", "start": "START", "forget-me": "FORGET ME", "not-me": "NOT ME",
	}},
	{family: "emergency", name: "Emergency", rule: ruleEmergency, names: map[string]string{
		"gas.a": "gas: a person cannot breathe", "gas.b": "gas: perhaps", "burn.a": "a person is burned", "burn.b": "burned: perhaps",
		"not-waking.a": "a person does not wake", "not-waking.b": "very sleepy: perhaps", "fire.a": "fire that spreads", "fire.b": "fire: perhaps",
		"clothes.a": "clothes on fire", "eye.a": "eye hurt", "eye.b": "eye: perhaps", "chemical.a": "poison swallowed or on the skin", "chemical.b": "poison: perhaps",
		"injury.a": "a person is hurt", "injury.b": "hurt: perhaps",
	}},
}

// Meanings returns what a word can be taught to mean, in the order in which an
// officer is shown them.
func (e *Engine) Meanings() []Meaning {
	var out []Meaning
	for _, g := range groups {
		for _, name := range e.names(g) {
			out = append(out, Meaning{Concept: g.family + "." + name[0], Group: g.name, Name: name[1], Second: g.rule != ""})
		}
	}
	return out
}

// names returns the concepts of a group with their English names, in order.
func (e *Engine) names(g group) (out [][2]string) {
	say := func(key string, id locales.ID) {
		out = append(out, [2]string{key, e.catalog.Text(locales.Default, id, nil)})
	}
	switch g.family {
	case "waste":
		for _, w := range calc.Wastes() {
			say(string(w), label(slotWaste, string(w)))
		}
	case "starch":
		for _, s := range calc.Starches() {
			say(string(s), label(slotStarch, string(s)))
		}
	case "topic":
		for _, key := range menuOrder {
			if key != topicLanguage {
				say(key, locales.ID("topic."+key))
			}
		}
	case "symptom":
		for _, o := range troubles {
			say(o.symptom, label(slotSymptom, o.symptom))
		}
	case "mould":
		for _, m := range moulds {
			say(m, locales.ID("size."+m))
		}
	default:
		keys := make([]string, 0, len(g.names))
		for key := range g.names {
			keys = append(keys, key)
		}
		slices.Sort(keys)
		for _, key := range keys {
			out = append(out, [2]string{key, g.names[key]})
		}
	}
	return out
}

// groupOf returns the group of a concept that can be taught, and its name.
func (e *Engine) groupOf(concept string) (group, string, bool) {
	for _, g := range groups {
		if g.family != family(concept) {
			continue
		}
		for _, n := range e.names(g) {
			if n[0] == name(concept) {
				return g, n[1], true
			}
		}
	}
	return group{}, "", false
}

// meaningName is what officers call a concept.
func (e *Engine) meaningName(concept string) string {
	if g, name, ok := e.groupOf(concept); ok {
		return name + " (" + strings.ToLower(g.name) + ")"
	}
	switch family(concept) {
	case "person", "body", "harm", "hazard", "emergency", tradeFamily:
		return "a word by which the line finds danger"
	case "lang":
		return "the name of a language"
	case "thing":
		return "something nobody may do"
	case "ordinal":
		return "a place in a list"
	}
	if slices.Contains(turning, concept) {
		return "to deny, doubt or ask"
	}
	return "something to the line itself"
}

// CheckLesson returns nil if officers may teach a lesson by themselves, else an
// Objection. What is taught already, the facts say.
func (e *Engine) CheckLesson(f *Facts, l Lesson) error {
	var o objections
	if _, heard := e.lexicons.words[l.Lang]; !heard {
		o.refuse("The line does not hear the language %q.", l.Lang)
		return o.err()
	}
	g, _, teachable := e.groupOf(l.Concept)
	if !teachable {
		o.refuse("%q is no meaning that can be taught; choose one of the list.", l.Concept)
		return o.err()
	}
	if !e.checkWords(&o, l.Lang, l.Word) {
		return o.err()
	}
	if g.rule != "" {
		o.doubt("%s: an administrator has to look at %q too.", g.rule, l.Word)
	}
	r := e.readText(l.Lang, nil, l.Word, nil, "")
	e.checkMeant(&o, r, l)
	e.checkDanger(&o, r, l.Word, family(l.Concept) == "emergency")
	e.checkParts(&o, r, l)
	e.checkSlip(&o, r, l)
	if f != nil && f.Taught != nil {
		e.checkTaught(&o, f.Taught, r, l)
	}
	return o.err()
}

// checkWords reports whether a phrase can be looked for at all.
func (e *Engine) checkWords(o *objections, l locales.Lang, phrase string) bool {
	tokens := read(l, phrase)
	letters := 0
	for _, t := range tokens {
		if t.isNumber || strings.ContainsFunc(t.raw, unicode.IsDigit) {
			o.refuse("%q holds a digit. Digits answer questions and are never taught; write the words alone.", phrase)
			return false
		}
		letters += utf8.RuneCountInString(t.word)
	}
	switch {
	case letters < leastTaught:
		o.refuse("%q has fewer than %d letters: one letter is the name of a drum, or a slip.", phrase, leastTaught)
	case len(tokens) > maxPhrase:
		o.refuse("%q has %d words; %d are the most.", phrase, len(tokens), maxPhrase)
	default:
		return true
	}
	return false
}

// leastTaught is how many letters a taught word has at least.
const leastTaught = 2

// checkMeant objects to a phrase that means something as a whole already.
func (e *Engine) checkMeant(o *objections, r reading, l Lesson) {
	for _, s := range append(slices.Clone(r.plain), r.safety...) {
		if s.fuzzy || s.from > 0 || s.to < len(r.tokens) {
			continue
		}
		if slices.Contains(s.concepts, l.Concept) {
			o.refuse("The line understands %q as %s already: there is nothing to teach.", l.Word, e.meaningName(l.Concept))
		} else {
			o.refuse("%q already means %s. A word with two meanings is asked about every time; teach another word, or the longer phrase people write.", l.Word, e.meaningName(s.concepts[0]))
		}
		return
	}
}

// checkDanger objects to a phrase by which the line finds a person in danger.
func (e *Engine) checkDanger(o *objections, r reading, phrase string, emergency bool) {
	if emergency {
		return
	}
	danger := slices.ContainsFunc(r.safety, func(s span) bool {
		return slices.ContainsFunc([]string{"emergency", "harm", "hazard"}, func(f string) bool { return s.in(f) })
	})
	if danger || r.emergency().tier != "" {
		o.refuse("%q holds a word of danger, or one letter less or more makes it one. %s, so it keeps that meaning alone.", phrase, ruleEmergency)
	}
}

// kept are the families whose words no taught phrase of another family may hold:
// it would be read in their stead.
var kept = map[string]string{
	"report": ruleReport, "question": ruleReport, "dryness": ruleDryness, "smoke": ruleSmoke, "state": ruleInside, "drum-past": rulePast,
}

// ruleOf returns the rule that rests on words of a concept; empty if none does.
func ruleOf(concept string) string {
	switch {
	case slices.Contains(leaving, concept):
		return ruleOptOut
	case slices.Contains(turning, concept):
		return ruleTurning
	}
	return kept[family(concept)]
}

// turning are the words that deny, doubt or ask what stands beside them.
var turning = []string{"word.not", "word.no", "word.doubt", "word.unknown", "word.asks", "word.about"}

// checkParts objects to a phrase that holds a word some rule rests on.
func (e *Engine) checkParts(o *objections, r reading, l Lesson) {
	for _, s := range r.plain {
		if s.from == 0 && s.to == len(r.tokens) {
			continue // as a whole it was looked at
		}
		for _, c := range s.concepts {
			own := c == l.Concept || kept[family(c)] != "" && family(c) == family(l.Concept)
			if rule := ruleOf(c); rule != "" && !own {
				o.refuse("%q holds a word that means %s. %s, so a phrase with another meaning must not cover it.", l.Word, e.meaningName(c), rule)
				return
			}
		}
	}
}

// checkSlip objects to a word that lies one letter from one that some rule rests
// on: who slips there is asked, and not guessed at.
func (e *Engine) checkSlip(o *objections, r reading, l Lesson) {
	if len(r.tokens) != 1 || utf8.RuneCountInString(r.tokens[0].word) < fuzzyLetters-1 {
		return
	}
	word := r.tokens[0].word
	for _, lang := range e.lexicons.order {
		var near []string
		for phrase, means := range e.lexicons.words[lang].main.phrases {
			if d := len(phrase) - len(word); d < -utf8.UTFMax || d > utf8.UTFMax || !oneSlip(word, phrase) {
				continue
			}
			if slices.ContainsFunc(means.concepts, func(c string) bool { return ruleOf(c) != "" && c != l.Concept }) {
				near = append(near, phrase)
			}
		}
		if len(near) > 0 {
			slices.Sort(near)
			c := e.lexicons.words[lang].main.phrases[near[0]].concepts[0]
			o.refuse("%q is one letter away from %q, which means %s. Somebody who slips there must be asked, not taken at another word.", l.Word, near[0], e.meaningName(c))
			return
		}
	}
}

// checkTaught objects to a phrase that was taught something else where the lesson
// is to hold too.
func (e *Engine) checkTaught(o *objections, taught *Overlay, r reading, l Lesson) {
	phrase := phraseOf(r.tokens)
	for _, s := range sortedScopes(taught.words) {
		v := taught.words[s]
		if s.lang != l.Lang || s.place != "" && l.Place != "" && s.place != l.Place {
			continue
		}
		for _, c := range slices.Concat(v.main.phrases[phrase].concepts, v.safety.phrases[phrase].concepts) {
			if c != l.Concept {
				o.refuse("%q was taught to mean %s; undo that first.", l.Word, e.meaningName(c))
				return
			}
		}
	}
}

// phraseOf joins words as an index holds them.
func phraseOf(tokens []token) string {
	words := make([]string, len(tokens))
	for i, t := range tokens {
		words[i] = t.word
	}
	return strings.Join(words, " ")
}

// subjectFamily holds the words that show what a written answer speaks of.
const subjectFamily = "speaks"

// subjects are what a written answer must not speak of on an officer's word
// alone, with the rule it may contradict. What is never is left to the fixed
// lines.
var subjects = []struct {
	name, says, rule string
	never            bool
}{
	{"opening", "opening", "A drum is opened only after the day and hour that the line gives, in daylight, and after the cold test; no text says yes to opening", false},
	{"hours", "hours or days", "Every wait is reckoned from the drum's own sealing and said with its day and clock time; a text read late must be harmless", false},
	{"water", "water", "No water on charcoal or into a drum: it hides a hot core and scalds", false},
	{"lighting", "lighting, fire or smoke", "Nobody lights wet waste, after dark, alone, or with petrol, and the sign to cover is told by the line", false},
	{"drums", "drums", "What a drum held decides whether it may be lit; nobody is told to cut one, or to move one that is hot", false},
	{"illness", "illness or injury", "What to do for a person who is ill or hurt is said by the fixed first-aid lines alone, which nobody rewords", true},
}

// CheckAnswer returns nil if a written answer may be used on an officer's word,
// else an Objection.
func (e *Engine) CheckAnswer(f *Facts, w Written) error {
	var o objections
	if !slices.Contains(e.catalog.Langs(), w.Lang) {
		o.refuse("The line does not speak the language %q.", w.Lang)
		return o.err()
	}
	switch {
	case strings.TrimSpace(w.Text) == "":
		o.refuse("The answer is empty.")
	case AsksForDigit(w.Text):
		o.refuse("The answer asks for a digit, which belongs to the question a conversation has open; ask for a word.")
	}
	if w.Stage != "" && !slices.Contains(cautions, w.Stage) {
		o.refuse("%q is no stage of the work; choose one of the list.", w.Stage)
	}
	if len(w.Questions) == 0 {
		o.refuse("Write at least one wording of the question.")
	}
	for _, q := range w.Questions {
		e.checkQuestion(&o, f, w, q)
	}
	e.checkSubjects(&o, w)
	return o.err()
}

// checkQuestion objects to a wording that is no common question.
func (e *Engine) checkQuestion(o *objections, f *Facts, w Written, q string) {
	if !e.checkWords(o, w.Lang, q) {
		return
	}
	r := e.readText(w.Lang, nil, q, nil, "")
	e.checkDanger(o, r, q, false)
	for _, s := range r.plain {
		if !s.fuzzy && s.from == 0 && s.to == len(r.tokens) && !r.guarded() {
			o.refuse("%q already means %s: the line has its own answer.", q, e.meaningName(s.concepts[0]))
			break
		}
	}
	if r.guarded() {
		o.refuse("%q holds a report or a question about a burn, or a word of leaving. %s, so the line answers it itself.", q, ruleReport)
	}
	if f == nil || f.Taught == nil {
		return
	}
	phrase := phraseOf(r.tokens)
	for _, s := range sortedScopes(f.Taught.asked) {
		if s.lang != w.Lang || s.place != "" && w.Place != "" && s.place != w.Place {
			continue
		}
		for _, id := range f.Taught.asked[s].phrases[phrase].concepts {
			if id != w.ID {
				o.refuse("%q has a written answer already; change that one.", q)
				return
			}
		}
	}
}

// checkSubjects objects to an answer that speaks of what the rules of the burn
// speak of.
func (e *Engine) checkSubjects(o *objections, w Written) {
	e.objectTo(o, w.Lang, w.Text, spokenOf{
		what: "The answer", never: ": leave it out, and choose the stage whose caution the line adds",
		doubt: ": leave it out, or let an administrator look at it too", unknown: "an administrator has to read the answer too",
	})
}

// spokenOf words the objections to a text: what it is, and what to do about what
// it must not, should not or may not be known to speak of.
type spokenOf struct{ what, never, doubt, unknown string }

func (e *Engine) objectTo(o *objections, l locales.Lang, text string, say spokenOf) {
	spoken, known := e.subjectsOf(l, text)
	for _, s := range subjects {
		word, ok := spoken[s.name]
		switch {
		case !ok:
		case s.never:
			o.refuse("%s speaks of %s (%q). %s%s.", say.what, s.says, word, s.rule, say.never)
		default:
			o.doubt("%s speaks of %s (%q). %s%s.", say.what, s.says, word, s.rule, say.doubt)
		}
	}
	if !known {
		o.doubt("The line has no list of the words of danger in this language: %s.", say.unknown)
	}
}

// CheckReply returns nil if what an officer writes to people may go as it is, else
// an Objection with the rules that it may contradict. A reply to one person goes
// after a second look of the officer, with the caution of what it speaks of; of
// somebody who is ill it never goes.
func (e *Engine) CheckReply(l locales.Lang, text string) error {
	var o objections
	e.objectTo(&o, l, text, spokenOf{what: "It", unknown: "read it once more as somebody who stands beside a hot drum"})
	return o.err()
}

// subjectsOf returns what of the subjects a text speaks of, each with the word
// that shows it. It knows none where the language has no list of such words.
func (e *Engine) subjectsOf(l locales.Lang, text string) (spoken map[string]string, known bool) {
	r := e.readText(l, nil, text, nil, "")
	spoken = map[string]string{}
	for _, s := range subjects {
		words := e.catalog.Words(l)[subjectFamily+"."+s.name]
		known = known || len(words) > 0
		if word, ok := speaksOf(l, r.tokens, words); ok {
			spoken[s.name] = word
		}
	}
	for i, t := range r.tokens {
		if t.isNumber && i+1 < len(r.tokens) && r.tokens[i+1].isNumber && t.comma && strings.Contains(text, ":") {
			spoken["hours"] = "a clock time"
		}
	}
	if em := r.emergency(); em.tier != "" {
		switch {
		case em.tier == "b" && (em.kinds[0] == kindFire || em.kinds[0] == kindBurn):
			spoken["lighting"] = orElse(spoken["lighting"], "fire")
		default:
			spoken["illness"] = orElse(spoken["illness"], "a word of danger")
		}
	}
	return spoken, known
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// stemLetters is from how many letters a word stands for all that begin with it.
const stemLetters = 4

// speaksOf returns the first word of a text that one of a list stands for.
func speaksOf(l locales.Lang, tokens []token, list []string) (string, bool) {
	for _, entry := range list {
		words := read(l, entry)
		for from := 0; from+len(words) <= len(tokens); from++ {
			fits := true
			for i, w := range words {
				fits = fits && standsFor(l, w.word, tokens[from+i].word)
			}
			if fits {
				return tokens[from].raw, true
			}
		}
	}
	return "", false
}

func standsFor(l locales.Lang, stem, word string) bool {
	n := utf8.RuneCountInString(stem)
	switch {
	case word == "":
		return false
	case stem == word:
		return true
	case n >= stemLetters && locales.Agglutinative(l):
		return strings.Contains(word, stem)
	case n >= stemLetters && strings.HasPrefix(word, stem):
		return true
	}
	return n >= fuzzyLetters && oneSlip(stem, word)
}
