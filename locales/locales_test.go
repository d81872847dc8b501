package locales

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"github.com/stretchr/testify/require"

	"cobline/gateway/sms"
)

func loaded(t testing.TB) *Catalog {
	c, err := Load()
	require.NoError(t, err)
	return c
}

// small is a list of messages for catalogues written in a test.
var small = []Message{
	{Name, 1, nil},
	{Sorry, 1, nil},
	{"recipe.load", 1, Args{"Waste": "groundnut shells", "Kg": 120}},
	{"recipe.sacks", 1, Args{"Count": 100}},
}

const (
	smallEnglish = `
"language.name" = "English"
"line.sorry" = "Sorry."
"recipe.load" = "Load {{.Kg}} kg of {{.Waste}}."
"recipe.sacks" = { one = "{{.Count}} sack", other = "{{.Count}} sacks" }
`
	smallSwahili = `
"language.name" = "Kiswahili"
"line.sorry" = "Samahani."
"recipe.load" = "Jaza {{.Waste}} kilo {{.Kg}}."
"recipe.sacks" = { one = "gunia {{.Count}}", other = "magunia {{.Count}}" }
`
)

func toFS(files map[string]string) fstest.MapFS {
	folder := fstest.MapFS{}
	for name, data := range files {
		folder[name] = &fstest.MapFile{Data: []byte(data)}
	}
	return folder
}

func smallCatalog(t testing.TB, more map[string]string) *Catalog {
	files := map[string]string{"active.en.toml": smallEnglish, "active.sw.toml": smallSwahili}
	maps.Copy(files, more)
	c, err := load(toFS(files), small)
	require.NoError(t, err)
	return c
}

func TestText(t *testing.T) {
	c := smallCatalog(t, map[string]string{"words.ny.toml": `"word.stop" = ["lekani"]`})
	cobs := Args{"Waste": "cobs", "Kg": 40}
	require.Equal(t, []Lang{"en", "sw"}, c.Langs())
	require.Equal(t, []Lang{"ny"}, c.Heard())
	require.Equal(t, "Kiswahili", c.Name("sw"))
	require.Equal(t, "Load 40 kg of cobs.", c.Text("en", "recipe.load", cobs))
	require.Equal(t, "Jaza cobs kilo 40.", c.Text("sw", "recipe.load", cobs))
	require.Equal(t, "1 sack", c.Count("en", "recipe.sacks", 1, nil))
	require.Equal(t, "0 sacks", c.Count("en", "recipe.sacks", 0, nil))
	require.Equal(t, "magunia 1000000", c.Count("sw", "recipe.sacks", 1_000_000, nil))
	require.Equal(t, "Load 40 kg of cobs.", c.Count("en", "recipe.load", 1, cobs))
	require.Equal(t, []string{"lekani"}, c.Words("ny")["word.stop"])
	require.True(t, c.Has("sw", "recipe.load"))
	require.False(t, c.Has("sw", "recipe.gone"))
	require.False(t, c.Has("ny", "recipe.load"))
	require.Zero(t, c.Misses())
}

func TestTextCannotFail(t *testing.T) {
	c := smallCatalog(t, nil)
	require.Equal(t, "Load 40 kg of cobs.", c.Text("xx", "recipe.load", Args{"Waste": "cobs", "Kg": 40}))
	require.Equal(t, "Samahani.", c.Text("sw", "recipe.gone", nil))
	require.Equal(t, "Samahani.", c.Count("sw", "recipe.gone", 2, nil))
	require.Equal(t, "Load ? kg of cobs.", c.Text("en", "recipe.load", Args{"Waste": "cobs"}))
	require.Equal(t, Misses{Languages: 1, IDs: 2, Args: 1}, c.Misses())
}

// In one bundle go-i18n mixes up languages without a plural rule and answers
// for a related language; here each has its own.
func TestLanguagesDoNotMix(t *testing.T) {
	named := func(name string) string { return strings.Replace(smallEnglish, "English", name, 1) }
	c := smallCatalog(t, map[string]string{
		"active.ht.toml": named("Kreyol"), "active.rw.toml": named("Ikinyarwanda"), "active.luo.toml": named("Dholuo"),
		"active.fr.toml": strings.Replace(named("Francais"), `other = "{{.Count}} sacks"`, `many = "{{.Count}} de sacs", other = "{{.Count}} sacs"`, 1),
	})
	for l, want := range map[Lang]string{"ht": "Kreyol", "rw": "Ikinyarwanda", "luo": "Dholuo", "fr": "Francais", "sw": "Kiswahili", "ny": "English", "ln": "English"} {
		require.Equal(t, want, c.Name(l))
	}
	require.Equal(t, "0 sack", c.Count("fr", "recipe.sacks", 0, nil))
	require.Equal(t, "1000000 de sacs", c.Count("fr", "recipe.sacks", 1_000_000, nil))
	require.Equal(t, "2 sacks", c.Count("ht", "recipe.sacks", 2, nil))
}

func TestLoadRefuses(t *testing.T) {
	swahili := func(old, replacement string) map[string]string {
		return map[string]string{"active.sw.toml": strings.Replace(smallSwahili, old, replacement, 1)}
	}
	for _, row := range []struct {
		what  string
		files map[string]string
		want  []string
	}{
		{"an absent message", swahili(`"line.sorry"`, `#`), []string{"active.sw.toml", `"line.sorry" is missing`}},
		{"an unlisted message", swahili(`"line.sorry"`, "\"line.extra\" = \"x\"\n\"line.sorry\""), []string{"active.sw.toml", `"line.extra" is not in the list`}},
		{"a syntax error in a template", swahili("{{.Kg}}", "{{.Kg"), []string{"active.sw.toml", "recipe.load"}},
		{"an argument the sample has not", swahili("{{.Kg}}", "{{.Kilo}}"), []string{"active.sw.toml", "recipe.load", "Kilo"}},
		{"an argument left out", swahili("{{.Kg}}", "10"), []string{"active.sw.toml", "recipe.load", `arguments ["Waste"]`}},
		{"logic in a template", swahili("{{.Kg}}", "{{if .Kg}}{{.Kg}}{{end}}"), []string{"recipe.load", "not a slot"}},
		{"a function in a template", swahili("{{.Kg}}", "{{print .Kg}}"), []string{"recipe.load", "print"}},
		{"a plural form left out", swahili(`one = "gunia {{.Count}}", `, ""), []string{"recipe.sacks", "counts in one of sw and en only"}},
		{"a plural form of the rule left out", map[string]string{"active.fr.toml": smallEnglish}, []string{"active.fr.toml", "recipe.sacks", "counting 1000000"}},
		{"an empty text", swahili("Samahani.", ""), []string{"active.sw.toml", "line.sorry"}},
		{"a reserved key", swahili(`"line.sorry"`, "\"other\" = \"x\"\n\"line.sorry\""), []string{"active.sw.toml", `"other" is no key`}},
		{"a nested table", map[string]string{"active.sw.toml": smallSwahili + "[recipe]\nload = \"x\"\n"}, []string{`"recipe" is no key`}},
		{"a doubled key", map[string]string{"active.sw.toml": smallSwahili + `"line.sorry" = "x"`}, []string{"active.sw.toml", "line.sorry"}},
		{"a name that is no language", map[string]string{"active.english.toml": smallEnglish}, []string{"active.english.toml", "not the tag"}},
		{"a name in the wrong case", map[string]string{"active.FR.toml": smallEnglish}, []string{"active.FR.toml", "not the tag"}},
		{"an unknown concept", map[string]string{"words.sw.toml": `"waste.gold" = ["dhahabu"]`}, []string{"words.sw.toml", "waste.gold"}},
		{"a rule that is none", map[string]string{"words.sw.toml": `"rule.forbid" = ["x"]`}, []string{"words.sw.toml:1:", "is no rule"}},
		{"an exception without a message", map[string]string{"words.sw.toml": `"rule.except" = ["gone.message: because"]`}, []string{"words.sw.toml:1:", "is no rule"}},
		{"a word to avoid without another", map[string]string{"words.sw.toml": `"rule.avoid" = ["drum"]`}, []string{"words.sw.toml:1:", "is no rule"}},
		{"a note on no message", map[string]string{"master.sw.toml": `"gone.message" = "00000000"`}, []string{"master.sw.toml:1:", "gone.message"}},
		{"a note on a language without messages", map[string]string{"master.fr.toml": ``}, []string{"master.fr.toml", "without messages"}},
		{"a spelling without a letter", map[string]string{"words.sw.toml": `"word.yes" = [" "]`}, []string{"words.sw.toml", "word.yes"}},
		{"a words file that is no list", map[string]string{"words.sw.toml": `"word.yes" = "ndiyo"`}, []string{"words.sw.toml"}},
		{"two faults at once", map[string]string{"active.sw.toml": "", "words.sw.toml": `"waste.gold" = []`}, []string{"line.sorry", "recipe.load", "waste.gold"}},
	} {
		files := map[string]string{"active.en.toml": smallEnglish, "active.sw.toml": smallSwahili}
		maps.Copy(files, row.files)
		_, err := load(toFS(files), small)
		require.Error(t, err, row.what)
		for _, part := range row.want {
			require.ErrorContains(t, err, part, row.what)
		}
	}
	_, err := load(toFS(map[string]string{"active.sw.toml": smallSwahili}), small)
	require.ErrorContains(t, err, "default language")
}

// What is kept of a message says the same as the library does, for every
// message, language and plural form.
func TestTextAgreesWithTheLibrary(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Langs() {
		for _, id := range IDs() {
			config := &i18n.LocalizeConfig{MessageID: string(id), TemplateData: map[string]any(Sample(id)), TemplateParser: strict}
			want, err := c.spoken[l].localizer.Localize(config)
			require.NoError(t, err)
			require.Equal(t, want, c.Text(l, id, Sample(id)), "%s %s", l, id)
			if c.spoken[l].texts[id].forms == nil {
				continue
			}
			for _, n := range []int{0, 1, 2, 11, 101, 102, 1_000_000} {
				args := Sample(id)
				args[countSlot] = n
				config.TemplateData, config.PluralCount = map[string]any(args), n
				want, err := c.spoken[l].localizer.Localize(config)
				require.NoError(t, err)
				delete(args, countSlot)
				require.Equal(t, want, c.Count(l, id, n, args), "%s %s %d", l, id, n)
			}
		}
	}
}

func TestMessagesFitTheirBudget(t *testing.T) {
	c := loaded(t)
	var over []string
	for _, l := range c.Langs() {
		for _, id := range IDs() {
			for _, text := range c.Longest(l, id) {
				parts, budget := sms.Split(sms.Plain(text, Substitutions(l))), Budget(id)
				if Wide(l) {
					budget *= 3
				} else if parts.Encoding != sms.GSM7 {
					over = append(over, fmt.Sprintf("%s %s: not in GSM-7: %s", l, id, text))
				}
				if len(parts.Segments) > budget {
					over = append(over, fmt.Sprintf("%s %s: %d segments, %d units: %s", l, id, len(parts.Segments), parts.Units, text))
				}
			}
		}
	}
	require.Empty(t, over)
}

// What is noted beside a message or in a file of its own tells when the English
// has changed since.
func TestStale(t *testing.T) {
	c := loaded(t)
	master := `"line.sorry" = "` + c.Print("line.sorry") + `"` + "\n" + `"line.hello" = "00000000"` + "\n"
	c, faults := Inspect(Over(toFS(map[string]string{"master.sw.toml": master})))
	require.Empty(t, faults)
	require.Equal(t, []ID{"line.hello"}, c.Stale("sw"))
	require.NotContains(t, c.Unnoted("sw"), Sorry)
	require.Contains(t, c.Unnoted("sw"), Name)
	require.Empty(t, c.Unnoted("en"))
	require.Empty(t, c.Stale("en"))
	require.Equal(t, "00000000", c.Master("sw", "line.hello"))
}

// C17: a fixed line in another language says from which English it was made, is
// a draft until a reviewer signs it, and carries what it says in English.
func TestC17FixedLinesFollowTheirMaster(t *testing.T) {
	c := loaded(t)
	fixed := c.Fixed()
	require.GreaterOrEqual(t, len(fixed), 70)
	for _, l := range c.Langs()[1:] {
		for _, id := range fixed {
			require.Equal(t, c.Print(id), c.Master(l, id), "%s %s: the English has changed: look at the translation, then note hash = %q", l, id, c.Print(id))
			require.NotEmpty(t, c.Remark(l, id), "%s %s: say draft, unreviewed, its version and its meaning", l, id)
		}
	}
}

func TestMessageList(t *testing.T) {
	ids := IDs()
	require.Equal(t, len(ids), len(slices.Compact(slices.Sorted(slices.Values(ids)))), "a message is listed twice")
	for _, m := range messages {
		require.Positive(t, m.Budget, m.ID)
		for slot, v := range m.Sample {
			switch v.(type) {
			case string, int:
			default:
				require.Fail(t, "a sample is a string or an int", "%s %s: %T", m.ID, slot, v)
			}
		}
	}
}

func BenchmarkLoad(b *testing.B) {
	for b.Loop() {
		_, err := Load()
		require.NoError(b, err)
	}
}

func BenchmarkText(b *testing.B) {
	c := smallCatalog(b, nil)
	args := Args{"Waste": "groundnut shells", "Kg": 120}
	b.Run("plain", func(b *testing.B) {
		for b.Loop() {
			c.Text("sw", Sorry, nil)
		}
	})
	b.Run("slots", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			c.Text("sw", "recipe.load", args)
		}
	})
	b.Run("count", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			c.Count("sw", "recipe.sacks", 3, nil)
		}
	})
	b.Run("library", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, _ = c.spoken["sw"].localizer.Localize(&i18n.LocalizeConfig{MessageID: "recipe.load", TemplateData: map[string]any(args), TemplateParser: strict})
		}
	})
}

// TestNamesOfLanguagesAreCheap: the name of a language stands in messages of all
// the others, where nobody puts plain letters in the place of its marks.
func TestNamesOfLanguagesAreCheap(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Langs() {
		encoding, _ := sms.Measure(c.Text(l, Name, nil))
		require.Equal(t, sms.GSM7, encoding, l)
	}
}

// A number that is not whole has the form that CLDR gives it: that of 1 in French
// and Portuguese under two, in Hindi under one, else that of many.
func TestOne(t *testing.T) {
	many := strings.Replace(smallEnglish, `other = "{{.Count}} sacks" }`, `many = "{{.Count}} of sacks", other = "{{.Count}} sacks" }`, 1)
	files := map[string]string{"active.fr.toml": many, "active.pt.toml": many, "active.hi.toml": smallEnglish, "active.ht.toml": smallEnglish}
	c := smallCatalog(t, files)
	for l, want := range map[Lang][2]bool{
		"en": {}, "sw": {}, "ht": {}, "fr": {true, true}, "pt": {true, true}, "hi": {true, false},
	} {
		for i, one := range want {
			text, ok := c.One(l, "recipe.sacks", float64(i)+.5, "x")
			require.Equal(t, one, ok, "%s %d.5", l, i)
			if one {
				require.Equal(t, "x sack", text)
			}
		}
		_, ok := c.One(l, "recipe.sacks", 2.5, "x")
		require.False(t, ok)
		_, ok = c.One(l, "recipe.load", 0.5, "x")
		require.False(t, ok)
	}
}
