package locales

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// alarmFamilies are read apart from the others, to find a person who is hurt.
var alarmFamilies = []string{"emergency", "person", "body", "harm", "hazard", "trade"}

func alarm(concept string) bool {
	family, _, _ := strings.Cut(concept, ".")
	return slices.Contains(alarmFamilies, family)
}

// ambiguous lists, for each language, the spellings that stand under several
// concepts on purpose: the person is asked which one it is.
var ambiguous = map[Lang]map[string]string{
	"en": {
		"husk, husks, hask, hasks, haks": "waste.coconut-husk waste.coffee-husk waste.maize-husk waste.rice-husk waste.sunflower-husk",
		"shell, shells":                  "waste.coconut-shell waste.groundnut-shell waste.palm-kernel-shell",
		"stalk, stalks, stem, stems, stork, storks": "waste.cassava-stem waste.cotton-stalk waste.maize-stalk waste.sorghum-stalk " +
			"waste.sunflower-stalk waste.woody-stalk",
		"straw":                                "waste.maize-stalk waste.rice-straw waste.wheat-straw",
		"maize, corn, maiz, maze, mase, meize": "waste.maize-cob waste.maize-husk waste.maize-stalk",
		"rice, paddy":                          "waste.rice-husk waste.rice-straw",
		"coconut, coconuts, coco nut, cocount": "waste.coconut-husk waste.coconut-shell",
		"sunflower, sunflowers, sun flower":    "waste.sunflower-husk waste.sunflower-stalk",
		"cassava":                              "starch.cassava-flour starch.cassava-root starch.cassava-starch waste.cassava-stem",
		"wheat":                                "starch.wheat-flour waste.wheat-straw",
		"flour, flor, flower":                  "starch.cassava-flour starch.maize-flour starch.rice-flour starch.wheat-flour",
		"banana, bananas":                      "starch.banana-peel starch.green-banana",
		"mould, moulds, mold, molds":           "symptom.mouldy topic.pressing",
		"none":                                 "drum-past.none smoke.none",
	},
	"sw": {
		"ganda, maganda":                   "waste.coconut-husk waste.coffee-husk waste.groundnut-shell waste.maize-husk waste.rice-husk waste.sunflower-husk",
		"bua, mabua":                       "waste.maize-stalk waste.sorghum-stalk waste.sunflower-stalk",
		"shina, mashina":                   "waste.cassava-stem waste.cotton-stalk waste.maize-stalk waste.sorghum-stalk waste.sunflower-stalk waste.woody-stalk",
		"mahindi, maindi, mahndi, muhindi": "waste.maize-cob waste.maize-husk waste.maize-stalk",
		"mpunga, mchele":                   "waste.rice-husk waste.rice-straw",
		"nazi":                             "waste.coconut-husk waste.coconut-shell",
		"alizeti":                          "waste.sunflower-husk waste.sunflower-stalk",
		"muhogo, mhogo, mihogo":            "starch.cassava-flour starch.cassava-root starch.cassava-starch waste.cassava-stem",
		"ngano":                            "starch.wheat-flour waste.wheat-straw",
		"unga":                             "starch.cassava-flour starch.maize-flour starch.rice-flour starch.wheat-flour",
		"ndizi":                            "starch.banana-peel starch.green-banana",
		"hakuna, hamna":                    "drum-past.none smoke.none",
	},
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

func TestSpellingsHaveOneMeaning(t *testing.T) {
	c := loaded(t)
	// A filler has no meaning of its own: it may stand beside a report.
	// What a text speaks of is no meaning of a word either.
	meant := func(concept string) bool {
		return !alarm(concept) && concept != "word.filler" && !strings.HasPrefix(concept, "speaks.")
	}
	for _, l := range c.Heard() {
		wanted := map[string]string{}
		for spellings, concepts := range ambiguous[l] {
			for spelling := range strings.SplitSeq(spellings, ", ") {
				wanted[spoken(l, spelling)] = concepts
			}
		}
		found := map[string]string{}
		for spelling, concepts := range meanings(l, c.Words(l), meant) {
			if len(concepts) > 1 {
				found[spelling] = strings.Join(concepts, " ")
			}
		}
		require.Equal(t, wanted, found, "%s: spellings under several concepts", l)
	}
}

// A word of alarm stands under its parts and, where it is an alarm of the second
// tier when alone, under that emergency: never under two emergencies, and never
// both as an alarm and as ordinary.
func TestAlarmsHaveOneMeaning(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Heard() {
		for spelling, concepts := range meanings(l, c.Words(l), alarm) {
			require.Equal(t, slices.Compact(slices.Clone(concepts)), concepts, "%s: %q is listed twice", l, spelling)
			in := func(family string) int {
				n := 0
				for _, c := range concepts {
					if strings.HasPrefix(c, family+".") {
						n++
					}
				}
				return n
			}
			require.LessOrEqual(t, in("emergency"), 1, "%s: %q is %v", l, spelling, concepts)
			require.False(t, in("trade") > 0 && len(concepts) > 1, "%s: %q is %v", l, spelling, concepts)
			require.LessOrEqual(t, in("person")+in("body")+in("harm"), 1, "%s: %q is %v", l, spelling, concepts)
		}
	}
}

// A language that is spoken has words for everything the line may be told.
func TestSpokenLanguagesHearEverything(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Langs() {
		for concept := range known {
			if strings.HasPrefix(concept, "lang.") {
				continue // some have no name of their own here
			}
			require.NotEmpty(t, c.Words(l)[concept], "%s %s", l, concept)
		}
		for _, n := range strings.Fields("0.5 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 30 40 50 60 70 80 90 100 1000") {
			require.NotEmpty(t, c.Words(l)["number."+n], "%s %s", l, n)
		}
	}
}

// C2: what asks and what reports are different words, and STOP is STOP in every
// language.
func TestC2ReportsAndQuestionsAreDisjoint(t *testing.T) {
	c := loaded(t)
	stages := func(family string) func(string) bool {
		return func(concept string) bool { return strings.HasPrefix(concept, family+".") }
	}
	for _, l := range c.Langs() {
		reports, questions := meanings(l, c.Words(l), stages("report")), meanings(l, c.Words(l), stages("question"))
		pairs := 0
		for spelling := range questions {
			require.NotContains(t, reports, spelling, "%s", l)
			pairs++
		}
		require.GreaterOrEqual(t, pairs, 40, l)
	}
	for _, l := range c.Heard() {
		require.Contains(t, c.Words(l)["word.stop"], "stop", l)
	}
}

// The letters of a word that a listener may take for another with one slip.
const guessedLetters = 6

// An ordinary word is never one slip from a word of alarm, unless it is listed
// as ordinary there.
func TestOrdinaryWordsAreFarFromAlarms(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Heard() {
		if Agglutinative(l) {
			continue
		}
		alarms, known := map[string]string{}, map[string]bool{}
		for spelling, concepts := range meanings(l, c.Words(l), alarm) {
			for word := range strings.FieldsSeq(spelling) {
				known[word] = true
				if !strings.HasPrefix(concepts[0], "trade.") && !strings.HasPrefix(concepts[0], "person.") && len(word) >= guessedLetters {
					alarms[word] = spelling
				}
			}
		}
		for spelling, concepts := range meanings(l, c.Words(l), func(c string) bool { return !alarm(c) }) {
			for word := range strings.FieldsSeq(spelling) {
				if known[word] || len(word) < guessedLetters || harmless[l][word] {
					continue
				}
				for alarm, phrase := range alarms {
					require.False(t, oneSlip(word, alarm), "%s: %q (%s) is one slip from %q of %q", l, word, concepts[0], alarm, phrase)
				}
			}
		}
	}
}

// harmless are ordinary words close to a word that alarms only inside a phrase.
var harmless = map[Lang]map[string]bool{"en": {"kerosine": true, "persons": true, "pesticides": true, "soaking": true, "spoiled": true}}

// oneSlip reports whether two words with the same first letter differ by one
// letter changed, added or left out, or by two neighbours swapped.
func oneSlip(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if a == b || a[0] != b[0] || len(b)-len(a) > 1 {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return a[i:] == b[i+1:]
	}
	swapped := i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
	return a[i+1:] == b[i+1:] || swapped
}
