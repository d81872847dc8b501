package review

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// backs finds the table in a file of testdata/review; what stands before it is
// written by hand.
var backs = regexp.MustCompile(`(?s)(<!-- table: go generate ./gateway/review -->\n)(.*?)(<!-- end -->)`)

const newBacks = "# Back-translations of LANG\n\nWhat each safety line and each message of a recipe says, in English, made from its text alone by who drafted it: no second person has done so yet.\n\n" +
	"## Differences found and mended\n\nNone is written down yet.\n\n## Table\n\n<!-- table: go generate ./gateway/review -->\n<!-- end -->\n"

// TestBackTranslations: of each language the file of testdata/review holds, beside
// every safety line and every message of a recipe, what its text says in English;
// none is older than its text. Only -update may write a table, and it refuses a
// text that is new beside a back-translation that is not.
func TestBackTranslations(t *testing.T) {
	c, err := locales.Load()
	require.NoError(t, err)
	require.Greater(t, len(Told(c)), 190)
	for _, l := range c.Langs() {
		if l == locales.Default {
			continue
		}
		file := filepath.Join("../../testdata/review", string(l)+".md")
		old, err := os.ReadFile(file)
		if os.IsNotExist(err) && *update {
			old, err = []byte(strings.Replace(newBacks, "LANG", string(l), 1)), nil
		}
		require.NoError(t, err, "run: go generate ./gateway/review")
		found := backs.FindStringSubmatch(string(old))
		require.NotNil(t, found, "%s has no place for the table", file)
		rows := Rows(c, l)
		require.Len(t, rows, len(Told(c)), l)
		for _, row := range rows {
			require.NotEmpty(t, row.Back, "%s: %s does not say in English what it says", l, row.ID)
		}
		require.Empty(t, Older(found[2], rows), "%s: the text is another and its back-translation the same. Read it again; if it still holds, take its row out of %s and run go generate", l, file)
		want := strings.Replace(string(old), found[0], found[1]+Table(rows)+found[3], 1)
		if *update {
			require.NoError(t, os.WriteFile(file, []byte(want), 0o644))
			continue
		}
		require.Equal(t, want, string(old), "run: go generate ./gateway/review")
	}
}

// A text that changed under its back-translation is found; one that changed with
// it, is new or has only been signed, is not.
func TestBackTranslationsOlderThanTheirText(t *testing.T) {
	was := []Row{{"a.a", "A", " (un)", " (one)", ""}, {"a.b", "B", "deux / 2", "two", ""}, {"a.c", "C", "trois", "three", ""}}
	require.Empty(t, Older(Table(was), was))
	now := []Row{{"a.a", "A", " (une)", " (one)", ""}, {"a.b", "B", "deux / deux", "two, twice", ""}, {"a.c", "C!", "trois", "three", "A Reader, 2026-11-29"}, {"a.d", "D", "x", "y", ""}}
	require.Equal(t, []string{"a.a"}, Older(Table(was), now))
}

// What a message of a recipe says in English is asked for, with its slots.
func TestBackTranslationsAreAskedFor(t *testing.T) {
	r := look(t, "luo", map[string]string{"active.luo.toml": `
"recipe.loss" = { description = "says: (damp)", other = " (pek {{.Kg}})" }
"recipe.hint" = " Ndik."
"light.soon" = { description = "says: Light tomorrow", other = "Mok kiny" }
`})
	text := faults(r)
	require.Contains(t, text, `"recipe.loss" is said in English with the slots [], the text has ["{{.Kg}}"]`)
	require.Contains(t, text, `"recipe.hint" is part of a recipe: give it a description`)
	require.NotContains(t, text, `"light.soon" is part`)
}
