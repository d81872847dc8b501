//go:build peers

package locales

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// cldr installs the Unicode Common Locale Data Repository, release 48.2, as its
// authors publish it for npm.
func cldr(t *testing.T) string {
	dir := t.TempDir()
	var problem bytes.Buffer
	install := exec.Command("npm", "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts", "cldr-core@48.2.0", "cldr-numbers-full@48.2.0")
	install.Dir, install.Stderr = dir, &problem
	require.NoError(t, install.Run(), problem.String())
	return filepath.Join(dir, "node_modules")
}

func readJSON(t *testing.T, into any, path ...string) {
	data, err := os.ReadFile(filepath.Join(path...))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, into))
}

// wholes returns the whole numbers of the samples of a rule, like
// "n = 1 @integer 1, 5~19, 100, … @decimal 1.0".
func wholes(t *testing.T, rule string) (list []int) {
	_, samples, ok := strings.Cut(rule, "@integer ")
	if !ok {
		return nil
	}
	samples, _, _ = strings.Cut(samples, "@decimal")
	for sample := range strings.SplitSeq(samples, ",") {
		sample = strings.TrimSpace(sample)
		if sample == "" || sample == "…" || strings.ContainsAny(sample, "ce") {
			continue // 1c6 is 1 million written short
		}
		first, last, ok := strings.Cut(sample, "~")
		if !ok {
			last = first
		}
		from, err := strconv.Atoi(first)
		require.NoError(t, err)
		to, err := strconv.Atoi(last)
		require.NoError(t, err)
		for n := from; n <= to; n++ {
			list = append(list, n)
		}
	}
	return list
}

// halves returns the samples of a rule that are not whole and have one decimal.
func halves(t *testing.T, rule string) (list []float64) {
	_, samples, _ := strings.Cut(rule, "@decimal ")
	for sample := range strings.SplitSeq(samples, ",") {
		first, last, ok := strings.Cut(strings.TrimSpace(sample), "~")
		if !ok {
			last = first
		}
		if first == "" || first == "…" || strings.ContainsAny(first, "ce") {
			continue
		}
		from, err := strconv.ParseFloat(first, 64)
		require.NoError(t, err)
		to, err := strconv.ParseFloat(last, 64)
		require.NoError(t, err)
		if _, digits, _ := strings.Cut(first, "."); len(digits) != 1 {
			continue
		}
		for tenths := int(math.Round(10 * from)); tenths <= int(math.Round(10*to)); tenths++ {
			if tenths%10 != 0 {
				list = append(list, float64(tenths)/10)
			}
		}
	}
	return list
}

// holds reports whether the decimals among the samples of a rule hold a number.
func holds(t *testing.T, rule string, v float64) bool {
	_, samples, _ := strings.Cut(rule, "@decimal ")
	for sample := range strings.SplitSeq(samples, ",") {
		first, last, ok := strings.Cut(strings.TrimSpace(sample), "~")
		if !ok {
			last = first
		}
		from, err := strconv.ParseFloat(first, 64)
		if err != nil {
			continue // the dots at the end, or a million written short
		}
		to, err := strconv.ParseFloat(last, 64)
		require.NoError(t, err)
		if from <= v && v <= to {
			return true
		}
	}
	return false
}

// Each language counts by the rule of CLDR, with the numbers that CLDR gives as
// samples of each form. What CLDR has no rule for counts like English.
func TestPluralsAgainstCLDR(t *testing.T) {
	var data struct {
		Supplemental struct {
			Cardinal map[string]map[string]string `json:"plurals-type-cardinal"`
		}
	}
	readJSON(t, &data, cldr(t), "cldr-core/supplemental/plurals.json")
	compared, parts := 0, 0
	for l := range strings.FieldsSeq(concepts["lang"]) {
		rules := data.Supplemental.Cardinal[l]
		if rules == nil {
			base, _, script := strings.Cut(l, "-")
			if rules = data.Supplemental.Cardinal[base]; !script {
				require.Contains(t, []string{"ht", "rw"}, l, "CLDR has no rule for it")
				rules = data.Supplemental.Cardinal["en"]
			}
		}
		var forms []string
		for name := range maps.Keys(rules) {
			form := strings.TrimPrefix(name, "pluralRule-count-")
			forms = append(forms, fmt.Sprintf("%s = %q", form, form+" {{.Count}}"))
		}
		slices.Sort(forms)
		if len(forms) == 1 {
			forms = append(forms, `one = "never {{.Count}}"`) // a message that counts
		}
		text := strings.Replace(smallEnglish, `{ one = "{{.Count}} sack", other = "{{.Count}} sacks" }`, "{ "+strings.Join(forms, ", ")+" }", 1)
		c := smallCatalog(t, map[string]string{file("active", Lang(l)): text})
		for name, rule := range rules {
			form := strings.TrimPrefix(name, "pluralRule-count-")
			for _, half := range []float64{0.5, 1.5} {
				if !holds(t, rule, half) {
					continue
				}
				text, ok := c.One(Lang(l), "recipe.sacks", half, "x")
				require.Equal(t, c.Count(Lang(l), "recipe.sacks", 1, nil) == form+" 1", ok, "%s %v", l, half)
				if ok {
					require.Equal(t, form+" x", text)
				}
				compared++
			}
			for _, n := range wholes(t, rule) {
				require.Equal(t, fmt.Sprintf("%s %d", form, n), c.Count(Lang(l), "recipe.sacks", n, nil), "%s", l)
				compared++
			}
			for _, v := range halves(t, rule) {
				text, one := c.One(Lang(l), "recipe.sacks", v, "some")
				if one {
					require.Equal(t, form+" some", text, "%s %v", l, v)
				} else {
					require.NotEqual(t, "one", form, "%s %v", l, v)
				}
				parts++
			}
		}
	}
	require.Greater(t, compared, 300)
	require.Greater(t, parts, 200)
}

// regional are the languages whose decimal mark is that of a region: the Spanish
// of Central America and Mexico, the Portuguese of Mozambique.
var regional = map[string]string{"es": "es-419", "pt": "pt-MZ"}

// A number has the decimal mark that CLDR gives, and nothing else of CLDR's
// formats: digits are ASCII and nothing parts thousands, because the narrow
// space that CLDR puts there costs a message its cheap alphabet.
func TestDecimalMarksAgainstCLDR(t *testing.T) {
	modules := cldr(t)
	for l := range strings.FieldsSeq(concepts["lang"]) {
		locale := l
		if r := regional[l]; r != "" {
			locale = r
		}
		var data struct {
			Main map[string]struct {
				Numbers struct {
					Symbols struct{ Decimal string } `json:"symbols-numberSystem-latn"`
				}
			}
		}
		readJSON(t, &data, modules, "cldr-numbers-full/main", locale, "numbers.json")
		mark := data.Main[locale].Numbers.Symbols.Decimal
		require.NotEmpty(t, mark, locale)
		require.Equal(t, "12345"+mark+"5", Number(Lang(l), 12345.5, 1), l)
	}
}
