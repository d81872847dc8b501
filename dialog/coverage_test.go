package dialog_test

import (
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"

	"cobline/dialog"
	"cobline/locales"
)

// unsaid are the messages that no script has to hold, each with its reason.
var unsaid = map[locales.ID]string{
	locales.Sorry:                  "said only by a program with a fault",
	"line.segments":                "counts messages for an officer",
	"burn.spread-dark":             "said in the dark, where scripts send nobody; a test of its own says it",
	"resume.question":              "asked when a dialled session begins again, which the package gateway plays",
	"key.back":                     "a key of session screens, which the package gateway lays out",
	"office.by-text":               "said on a screen, which the package gateway plays",
	"amount.brands-kg":             "half-burned pieces come with a report, and no number of a report is doubted",
	"infeasible.char-too-wet":      "nobody is asked how wet the charcoal is",
	"infeasible.too-much-starch":   "the dose is the line's own",
	"infeasible.too-little-binder": "the dose is the line's own",
	"infeasible.too-much-binder":   "the dose is the line's own",
	"binder.other":                 "every binder of the list can be reckoned",
	"note.weak":                    "the only weak binder brings too much water",
	"recipe.out-of-range":          "an amount out of range is asked about first",
	"short.rack":                   "nobody is asked for the room on the rack",
	"cause.fresh":                  "the only cause of its trouble is answered at once",
	"burn.none":                    "a question about a drum goes with the drum",
	"light.text-lit":               "a good drum named in the first text of all is asked about all the same",
}

// least are messages that the scripts of every language say, or one in the place of
// each: of a recipe, a burn, drying, an emergency, STOP and START.
var least = strings.Fields(`
	recipe.load recipe.expect recipe.light burn.lit burn.smoke burn.wait burn.not-before burn.may-open burn.spread
	dry.briquettes caution.drying aid.burn aid.no-number|aid.call consent.stopped|consent.stopped-burn|consent.stopped-lit consent.started
`)

// marks finds the marks of marked: language and message.
var marks = regexp.MustCompile("\uE000([a-zA-Z-]+) ([a-z0-9.-]+)\uE001")

// marked returns the catalogue with a mark in each text that says which message
// it is, so that a test hears what was really said.
func marked(t testing.TB) *locales.Catalog {
	files := fstest.MapFS{}
	dir := os.DirFS("../locales")
	names, err := fs.Glob(dir, "*.toml")
	require.NoError(t, err)
	for _, name := range names {
		data, err := fs.ReadFile(dir, name)
		require.NoError(t, err)
		if lang, ok := strings.CutPrefix(strings.TrimSuffix(path.Base(name), ".toml"), "active."); ok {
			data = markAll(t, lang, data)
		}
		files[name] = &fstest.MapFile{Data: data}
	}
	c, err := locales.LoadFS(files)
	require.NoError(t, err)
	return c
}

// markAll marks the messages of one language.
func markAll(t testing.TB, lang string, data []byte) []byte {
	var messages map[string]any
	require.NoError(t, toml.Unmarshal(data, &messages))
	for id, message := range messages {
		mark := "\uE000" + lang + " " + id + "\uE001"
		switch m := message.(type) {
		case string:
			messages[id] = m + mark
		case map[string]any:
			for form, text := range m {
				if form != "description" && form != "hash" {
					m[form] = text.(string) + mark
				}
			}
		}
	}
	out, err := toml.Marshal(messages)
	require.NoError(t, err)
	return out
}

// TestTheTwentyDays: each of the days a producer may have is a script of its name,
// in both languages, and so is a batch from the first hello to the sale.
func TestTheTwentyDays(t *testing.T) {
	all := scripts(t)
	for en, sw := range map[string]string{
		"hello-to-sold":                   "mkaa-hadi-sokoni",
		"first-text-ever":                 "ujumbe-wa-kwanza-kabisa",
		"sacks-and-no-drum":               "magunia-bila-pipa",
		"half-wet-waste":                  "nusu-yamelowa",
		"rain-on-a-live-drum":             "mvua-juu-ya-pipa",
		"two-drums":                       "mapipa-mawili",
		"early-opening":                   "kufungua-mapema",
		"child-hurt-on-a-saturday-night":  "mtoto-ameumia-jumamosi-usiku",
		"nine-kg-of-char-two-kg-of-roots": "mkaa-kilo-9-muhogo-kilo-2",
		"crumbling-after-rain":            "zinamomonyoka-baada-ya-mvua",
		"200-kg-by-friday-week":           "kilo-200-ijumaa-ijayo",
		"storm-at-14-without-signal":      "dhoruba-saa-nane",
		"forty-odd-texts":                 "ujumbe-arobaini",
		"number-with-a-new-owner":         "namba-ina-mwenyewe-mpya",
		"group-phone":                     "simu-ya-kikundi",
		"someone-who-cannot-read":         "asiyejua-kusoma",
		"stop-in-may-lit-in-june":         "stop-mei-nimewasha-juni",
		"five-hours-late":                 "masaa-matano-baadaye",
		"opt-out-elsewhere":               "neno-la-kila-siku",
		"ussd-lost-at-page-two":           "ussd-imekatika-ukurasa-wa-pili",
		"channel-that-cannot-send":        "simu-isiyoweza-kutuma",
	} {
		require.Contains(t, all, "en/"+en)
		require.Contains(t, all, "sw/"+sw)
	}
}

// TestScriptsHoldEverything: there are scripts enough in each language, and
// between them they hold every topic, every stage of a drum, every kind of
// emergency and every message a conversation can say, each caution with them.
func TestScriptsHoldEverything(t *testing.T) {
	catalog := marked(t)
	e, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	count, said := map[string]int{}, map[string]bool{}
	heard := func(lang, kind, what string) { said[lang+" "+kind+" "+what] = true }
	for name, file := range scripts(t) {
		lang, _, _ := strings.Cut(name, "/")
		count[lang]++
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		script := string(txtar.Parse(raw).Comment)
		if dialled.MatchString(script) {
			continue
		}
		p, before := newPhone(t), []string(nil)
		p.e = e
		p.listen = func(turn dialog.Turn) {
			heard(lang, "topic", turn.Heard.Topic)
			for _, answer := range []string{"recipe.load", "binder.flour"} {
				if slices.Contains(keys(turn), answer) && slices.Contains(before, answer) {
					heard(lang, "answer", "corrected")
				}
			}
			before = keys(turn)
			heard(lang, "emergency", turn.Heard.Emergency)
			for _, d := range turn.State.Drums {
				heard(lang, "stage", d.Stage)
			}
			for _, r := range turn.Replies {
				for _, m := range marks.FindAllStringSubmatch(r.Plain(), -1) {
					heard(m[1], "message", m[2])
				}
			}
		}
		p.plays(script)
	}
	require.GreaterOrEqual(t, count["en"], 60)
	require.GreaterOrEqual(t, count["sw"], 40)
	require.GreaterOrEqual(t, count["fr"], 40)
	want := map[string][]string{
		"topic": dialog.Keys()["topics"], "emergency": dialog.Keys()["emergencies"], "stage": {"lit", "sealed", "opened"},
	}
	for _, id := range locales.IDs() {
		if unsaid[id] == "" {
			want["message"] = append(want["message"], string(id))
		}
	}
	var missing []string
	for _, lang := range []string{"en", "fr", "sw"} {
		for kind, all := range want {
			for _, what := range all {
				if wanted := lang + " " + kind + " " + what; !said[wanted] {
					missing = append(missing, wanted)
				}
			}
		}
	}
	for _, lang := range catalog.Langs() {
		for _, id := range least {
			if !slices.ContainsFunc(strings.Split(id, "|"), func(id string) bool { return said[string(lang)+" message "+id] }) {
				missing = append(missing, string(lang)+" message "+id+": a script under testdata/conversations/"+string(lang)+" must say it")
			}
		}
		if !said[string(lang)+" answer corrected"] {
			missing = append(missing, string(lang)+": no script under testdata/conversations/"+string(lang)+" corrects a recipe or a paste")
		}
	}
	require.Zero(t, catalog.Misses(), "a message or an argument of one is not there")
	slices.Sort(missing)
	require.Empty(t, missing, strings.Join(missing, "\n"))
	for id, why := range unsaid {
		require.False(t, said["en message "+string(id)], "%s is said, although %s", id, why)
	}
}
