package dialog_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// language is what the tests know of a language: a file of testdata/languages. What
// each part holds is told in en.toml.
type language struct {
	Say struct {
		Lit, Covered, Opened, Cold, Weighed, Halves, Batches, Yes, No, Menu, Back, Call, Hurt, Cry, Forget, Asked string
	}
	Recipe struct {
		Drums, Dry, Nearly string
		Must               [][]string
	}
	Told    struct{ Leave, Before string }
	Reports struct {
		Pairs   [][2]string
		Unmoved []string
	}
	Journey map[string][]string
	Search  struct{ Texts []string }
	Walk    struct {
		Texts    []string
		Opens    string
		Harmless []string
	}
	Symptom map[string]string
	Alarm   map[string][]string
	Caution map[string]struct{ Words, Paths []string }
	Misread map[string]string

	invites  *regexp.Regexp    // Walk.Opens
	harmless *strings.Replacer // Walk.Harmless
}

const languageFiles = "../testdata/languages"

var languagesOnce = sync.OnceValues(func() (map[locales.Lang]*language, error) {
	files, err := filepath.Glob(filepath.Join(languageFiles, "*.toml"))
	if err != nil {
		return nil, err
	}
	all := map[locales.Lang]*language{}
	for _, file := range files {
		w := &language{}
		meta, err := toml.DecodeFile(file, w)
		if err != nil {
			return nil, err
		}
		if unknown := meta.Undecoded(); len(unknown) > 0 {
			return nil, &os.PathError{Op: "no test reads " + unknown[0].String() + " of", Path: file, Err: os.ErrInvalid}
		}
		if w.invites, err = regexp.Compile(w.Walk.Opens); err != nil {
			return nil, &os.PathError{Op: "read walk.opens of", Path: file, Err: err}
		}
		var pairs []string
		for _, phrase := range w.Walk.Harmless {
			pairs = append(pairs, phrase, "")
		}
		w.harmless = strings.NewReplacer(pairs...)
		all[locales.Lang(strings.TrimSuffix(filepath.Base(file), ".toml"))] = w
	}
	return all, nil
})

// languages returns what the tests know of each language that is spoken.
func languages(t testing.TB) map[locales.Lang]*language {
	all, err := languagesOnce()
	require.NoError(t, err)
	return all
}

// switchOn switches a language on, where the phone is.
func (p *phone) switchOn(l locales.Lang) {
	if !slices.Contains(p.langs, l) {
		p.langs = append(slices.Clone(p.langs), l)
	}
}

// load is the text that asks for the recipe of some drums of dry cobs.
func (w *language) load(t testing.TB, l locales.Lang, drums string) string {
	catalog, err := theCatalog()
	require.NoError(t, err)
	return strings.Join([]string{catalog.Text(l, "waste.maize-cob", nil), w.Recipe.Drums, drums, w.Recipe.Dry}, " ")
}

// TestEveryLanguageHasItsTexts: what is spoken has a file of testdata/languages with
// every section filled, and texts enough in testdata/understanding.
func TestEveryLanguageHasItsTexts(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	all := languages(t)
	for _, l := range []locales.Lang{"en", "fr", "sw"} {
		require.Contains(t, catalog.Langs(), l)
	}
	for _, l := range catalog.Langs() {
		w := all[l]
		require.NotNil(t, w, "the catalogue speaks %s: write testdata/languages/%s.toml, as en.toml there tells", l, l)
		unfilled(t, string(l), reflect.ValueOf(*w))
		for _, kind := range []string{"texts", "emergency", "ordinary"} {
			rows := table(t, kind, l)
			require.GreaterOrEqual(t, len(rows), fewest[kind], "testdata/understanding/%s.%s.csv", kind, l)
			t.Logf("%s.%s: %d", kind, l, len(rows))
		}
	}
	for l := range all {
		require.Contains(t, catalog.Langs(), l, "testdata/languages/%s.toml is of a language that is not spoken", l)
	}
}

// fewest is how many texts there are at least of each kind and language.
var fewest = map[string]int{"texts": 120, "emergency": 60, "ordinary": 40}

// unfilled fails for each part of a language's file that is empty. Misread may be:
// it is best so.
func unfilled(t *testing.T, name string, v reflect.Value) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		switch {
		case !field.IsExported() || field.Name == "Misread":
		case field.Type.Kind() == reflect.Struct:
			unfilled(t, name+" "+strings.ToLower(field.Name), v.Field(i))
		default:
			require.NotZero(t, v.Field(i).Len(), "%s %s is missing", name, strings.ToLower(field.Name))
		}
	}
}

// table reads a table of testdata/understanding by its header: the texts of one
// kind in one language.
func table(t testing.TB, kind string, l locales.Lang) []map[string]string {
	f, err := os.Open(filepath.Join("../testdata/understanding", kind+"."+string(l)+".csv"))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{"lang": string(l)}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		out = append(out, row)
	}
	return out
}

// rows reads the texts of one kind in every language.
func rows(t testing.TB, kind string) []map[string]string {
	files, err := filepath.Glob("../testdata/understanding/" + kind + ".*.csv")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	var out []map[string]string
	for _, file := range files {
		l := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(file), kind+"."), ".csv")
		out = append(out, table(t, kind, locales.Lang(l))...)
	}
	return out
}
