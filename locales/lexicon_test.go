package locales

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The rules of words are kept, in every language that is heard.
func TestWordsKeepTheirRules(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Heard() {
		require.Empty(t, c.Check(l))
	}
}

// spoiled returns the languages with one thing changed in a file of them.
func spoiled(t testing.TB, file, old, replacement string) *Catalog {
	data, err := embedded.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(data), old)
	c, faults := Inspect(Over(toFS(map[string]string{file: strings.Replace(string(data), old, replacement, 1)})))
	require.Empty(t, faults)
	return c
}

func found(faults []Fault) string {
	var all []string
	for _, f := range faults {
		all = append(all, f.Error())
	}
	return strings.Join(all, "\n")
}

// Each rule finds what breaks it, and says where.
func TestWordsAgainstTheRulesAreFound(t *testing.T) {
	for _, row := range []struct{ file, old, replacement, want string }{
		{"words.en.toml", `"waste.maize-cob" = [`, `"waste.maize-cob" = ["bamboo", `, `"waste.bamboo" lists "bamboo", which is also waste.maize-cob`},
		{"words.en.toml", `"waste.maize-cob" = [`, `"waste.maize-cob" = ["cobs", `, `"waste.maize-cob" lists "cobs" twice`},
		{"words.en.toml", `"rule.asked.waste" = [`, `"rule.asked.waste" = ["bamboo", `, `"rule.asked.waste" lists "bamboo", which does not have several meanings`},
		{"words.en.toml", `"rule.asked.waste" = ["husk", `, `"rule.asked.waste" = [`, `list it under rule.asked.waste so that the person is asked`},
		{"words.en.toml", `"trade.burn" = [`, `"trade.burn" = ["burned", `, `lists "burned" as an alarm and as ordinary`},
		{"words.en.toml", `"question.lit" = [`, `"question.lit" = ["lit", `, `lists "lit", which is also report.lit: a question is never a report`},
		{"words.en.toml", `"word.stop" = ["stop", `, `"word.stop" = [`, `lacks "stop", which everybody may write`},
		{"words.en.toml", `"rule.harmless" = ["kerosine", `, `"rule.harmless" = [`, `lists "kerosine", one slip from "kerosene"`},
		{"words.en.toml", `"rule.harmless" = [`, `"rule.harmless" = ["bamboo", `, `lists "bamboo", which is far from every alarm`},
		{"words.en.toml", `"number.15" =`, `"number.15000" =`, `"number.15" has no word`},
		{"words.en.toml", `"report.covered" = [`, `"report.covered" = [] #`, `asks for COVERED, which is not understood`},
		{"words.en.toml", `"waste.bagasse" = [`, `"waste.bagasse" = ["megasse"] #`, `"waste.bagasse" is called "bagasse", which is not understood so`},
		{"words.sw.toml", `"emergency.burn.a" = [`, `"emergency.burn.a" = ["cobs", `, `lists "cobs", which is only waste.maize-cob in en, and is heard there too`},
		{"words.sw.toml", `"word.stop" = [`, `"word.stop" = ["cancel", `, `lists "cancel", which is only`},
		{"words.sw.toml", `"harm.burned" = [`, `"harm.burned" = ["mtoto", `, `as two of person, body and harm`},
	} {
		l := Lang(strings.Split(row.file, ".")[1])
		got := found(spoiled(t, row.file, row.old, row.replacement).Check(l))
		require.Contains(t, got, row.want, row.replacement)
		require.Regexp(t, `(?m)^(words|active)\.`+string(l)+`\.toml(:[0-9]+)?: "`, got)
	}
}

// A keyword that means one thing here and another there, and what each reader
// takes it for: the table of collisions. A row waits until its language is
// heard.
func TestCollisionsOfLanguages(t *testing.T) {
	c := loaded(t)
	met := 0
	for _, row := range []struct {
		l         Lang
		word      string
		is, isNot string // beginnings of concepts, "" for none
	}{
		// mais: pt more, fr maize written without its dots, or but.
		{"pt", "mais", "", "waste."},
		{"fr", "mais", "waste.", "word.more"},
		// moto: sw fire; es, pt and fr a motorbike.
		{"sw", "moto", "hazard.", "thing."},
		{"es", "moto", "", "emergency."},
		{"pt", "moto", "", "emergency."},
		{"fr", "moto", "", "emergency."},
		// kona: ha burned, sw a corner.
		{"sw", "kona", "", "harm."},
		{"ha", "kona", "harm.", ""},
		// four: fr a kiln, en 4.
		{"en", "four", "number.4", ""},
		{"fr", "four", "", "number.4"},
		// fou: ht a kiln, fr mad.
		{"fr", "fou", "", "emergency."},
		// tusa: a cob in some countries, a husk in others.
		{"es", "tusa", "waste.", ""},
		// Single letters and na: ha of, hi a tag, sw and.
		{"sw", "na", "word.filler", "word.no"},
		{"sw", "a", "", "word.yes"},
		{"en", "i", "", "word.yes"},
		{"en", "a", "", "word.yes"},
		{"fr", "a", "", "word.yes"},
		{"ha", "i", "word.yes", ""},
		// si: es yes, fr if.
		{"es", "si", "word.yes", ""},
		{"fr", "si", "", "word.yes"},
		// poa: sw cool down, and slang for fine.
		{"sw", "poa", "", "word.yes"},
		// acha: sw stop it, hi good.
		{"sw", "acha", "word.stop-local", "word.yes"},
		{"hi-Latn", "acha", "", "word.stop-local"},
		// What is no keyword anywhere.
		{"es", "pan", "", "word."},
		{"fr", "sac", "", "word."},
		{"es", "sal", "", "word."},
		{"es", "sol", "", "word."},
		// What stops messages in its own language alone.
		{"sw", "alto", "", "word.stop"},
		{"en", "parar", "", "word.stop"},
		{"en", "acha", "", "word.stop"},
		{"sw", "parar", "", "word.stop"},
		{"es", "alto", "word.stop-local", ""},
		{"fr", "arret", "word.stop-local", ""},
		// help asks for the service, not for an ambulance.
		{"en", "help", "word.help", "emergency."},
		{"sw", "msaada", "word.help", "emergency."},
		{"fr", "aide", "word.help", "emergency."},
		{"pt", "ajuda", "word.help", "emergency."},
		{"es", "ayuda", "word.help", "emergency."},
		{"hi-Latn", "madad", "word.help", "emergency."},
		{"hi", "मदद", "word.help", "emergency."},
		{"ha", "taimako", "word.help", "emergency."},
		{"ht", "ed", "word.help", "emergency."},
		// mais: es maize written with an s, pt more.
		{"pt", "milho", "waste.", ""},
		{"pt", "mais", "", "topic."},
		// fumo: smoke in Mozambique and Angola, tobacco in Brazil, which says fumaca.
		{"pt", "fumo", "hazard.smoke", "emergency.gas.a"},
		{"pt", "fumaca", "hazard.smoke", "emergency.gas.a"},
		// gari: cassava meal in West Africa, powder or a town in Hausa, a car in Swahili.
		{"en", "gari", "starch.", ""},
		{"sw", "gari", "", "starch."},
		{"ha", "gari", "", "thing."},
		// fou: a kiln in Creole, mad in French.
		{"ht", "fou", "", "emergency."},
		// no, non, nao, nahi deny; na is of, and, or a tag.
		{"en", "no", "word.no", ""},
		{"es", "no", "word.no", ""},
		{"fr", "non", "word.no", ""},
		{"pt", "nao", "word.no", ""},
		{"ht", "non", "word.no", ""},
		{"hi-Latn", "nahi", "word.no", ""},
		{"hi", "नहीं", "word.no", ""},
		{"ha", "a'a", "word.no", "word.yes"},
		{"ha", "na", "", "word.no"},
		{"pt", "na", "", "word.no"},
		// A single vowel is yes in Hausa alone.
		{"pt", "e", "", "word.yes"},
		{"pt", "a", "", "word.yes"},
		{"pt", "o", "", "word.yes"},
		{"es", "a", "", "word.yes"},
		{"es", "e", "", "word.yes"},
		{"es", "o", "", "word.yes"},
		{"ht", "a", "", "word.yes"},
		{"ht", "e", "", "word.yes"},
		{"hi-Latn", "a", "", "word.yes"},
		// ha: hi yes, laughter elsewhere.
		{"hi-Latn", "haan", "word.yes", ""},
		{"hi-Latn", "ha", "word.yes", ""},
		{"en", "ha", "", "word.yes"},
		{"sw", "ha", "", "word.yes"},
		{"fr", "ha", "", "word.yes"},
		// poa and acha as above, in Devanagari.
		{"hi", "अच्छा", "", "word.stop"},
		{"hi-Latn", "achha", "", "word.stop"},
		// ruwa, lapli, pani: water is no rain.
		{"ha", "ruwa", "", "report."},
		{"hi-Latn", "pani", "", "report."},
		{"hi", "पानी", "", "report."},
		{"ht", "lapli", "report.rain", ""},
		{"ht", "dlo", "", "report."},
		// pan, sal, sac, sol are keywords nowhere.
		{"pt", "sal", "", "word."},
		{"pt", "sol", "", "word."},
		{"fr", "sol", "", "word."},
		{"ht", "sol", "", "word."},
		{"en", "sac", "", "word."},
		// What stops messages counts in the own language alone.
		{"pt", "parar", "word.stop-local", "emergency."},
		{"pt", "sair", "word.stop-local", ""},
		{"es", "parar", "word.stop-local", "emergency."},
		{"es", "baja", "word.stop-local", ""},
		{"hi-Latn", "band karo", "word.stop-local", ""},
		{"hi", "बंद करो", "word.stop-local", ""},
		{"ha", "tsaya", "word.stop-local", ""},
		{"ht", "kanpe", "word.stop-local", ""},
		{"ht", "sispann", "word.stop-local", ""},
		// riba: profit in Hausa, and interest.
		{"ha", "riba", "topic.price", ""},
	} {
		if c.words[row.l] == nil {
			continue
		}
		met++
		concepts := meanings(row.l, c.words[row.l], func(string) bool { return true })[spoken(row.l, row.word)]
		begins := func(prefix string) bool {
			for _, concept := range concepts {
				if strings.HasPrefix(concept, prefix) {
					return true
				}
			}
			return false
		}
		if row.is != "" {
			require.True(t, begins(row.is), "%s %q: %v", row.l, row.word, concepts)
		}
		if row.isNot != "" {
			require.False(t, begins(row.isNot), "%s %q: %v", row.l, row.word, concepts)
		}
	}
	require.GreaterOrEqual(t, met, 25)
	if tusa := meanings("es", c.words["es"], in("waste"))["tusa"]; c.words["es"] != nil {
		require.Greater(t, len(tusa), 1, "a cob in some countries and a husk in others: it is asked which")
	}
}

// A slip is one letter, of however many octets.
func TestASlipIsOneLetter(t *testing.T) {
	for _, row := range []struct {
		a, b string
		want bool
	}{
		{"kerosene", "kerosine", true},
		{"kerosene", "erosene", false},
		{"burned", "burend", true},
		{"burned", "bruend", false},
		{"burn", "burn", false},
		{"बेहोश", "बेहोस", true},
		{"बेहोश", "मेहोश", false},
		{"बेहोश", "बेहश", true},
		{"আগুন", "জাগুন", false},
		{"እሳት", "እሣቶ", false},
	} {
		require.Equal(t, row.want, oneSlip(row.a, row.b), "%s %s", row.a, row.b)
		require.Equal(t, row.want, oneSlip(row.b, row.a), "%s %s", row.b, row.a)
	}
}
