package review

import (
	"bytes"
	"flag"
	"html"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

func look(t *testing.T, l locales.Lang, files map[string]string) *Report {
	folder := fstest.MapFS{}
	for name, data := range files {
		folder[name] = &fstest.MapFile{Data: []byte(data)}
	}
	r, err := Look(locales.Over(folder), l)
	require.NoError(t, err)
	return r
}

// Every language built in is whole: nothing to mend, nothing over its budget.
func TestLanguagesAreWhole(t *testing.T) {
	c, err := locales.Load()
	require.NoError(t, err)
	for _, l := range c.Langs() {
		r := look(t, l, nil)
		require.Empty(t, r.Faults, l)
		require.Zero(t, r.Over, l)
		require.Equal(t, len(locales.IDs()), r.Messages, l)
		require.GreaterOrEqual(t, len(r.Lines), 70, l)
	}
}

func TestLookAtABrokenLanguage(t *testing.T) {
	r := look(t, "sw", map[string]string{"active.sw.toml": "\"line.sorry\" = \"Samahani.\"\n\"line.sorry\" = \"Samahani\"\n"})
	require.Len(t, r.Faults, 1)
	require.Equal(t, "active.sw.toml", r.Faults[0].File)
	require.Equal(t, 2, r.Faults[0].Line)
	require.Zero(t, r.Messages)

	_, err := Look(locales.Over(fstest.MapFS{}), "xx")
	require.ErrorIs(t, err, ErrAbsent)
	_, err = Look(locales.Over(fstest.MapFS{"active.en.toml": {Data: []byte("=")}}), "sw")
	require.ErrorContains(t, err, "active.en.toml:1")
}

func TestOneStrangeCharacterIsFound(t *testing.T) {
	r := look(t, "luo", map[string]string{"active.luo.toml": `"line.unknown" = "Ok awinjo ŋ."`})
	require.Contains(t, faults(r), `"line.unknown" leaves the cheap alphabet with "ŋ"`)
}

func faults(r *Report) string {
	var all []string
	for _, f := range r.Faults {
		all = append(all, f.Error())
	}
	return strings.Join(all, "\n")
}

// A signed line is counted as such; one without what it says in English is not
// let through.
func TestSignatures(t *testing.T) {
	const read = "1fd54c75" // sha256 of five line ends and the text, its first four octets
	r := look(t, "luo", map[string]string{"active.luo.toml": `
"aid.gas" = { description = "reviewed by A Reader, 2026-11-29, v2 of ` + read + `. GAS: all out.", other = "Iro." }
"aid.not-waking" = { description = "reviewed by A Reader, 2026-11-29, v2 of 00000000. Does not wake.", other = "Nindo." }
"aid.burn" = { description = "draft, unreviewed, v1. BURN.", other = "Wang'o." }
"aid.fire" = { description = "draft, unreviewed, v1", other = "Mach." }
`})
	require.Equal(t, []Line{
		{"aid.gas", locales.Signature{By: "A Reader, 2026-11-29", Version: "v2", Back: "GAS: all out."}},
		{"aid.burn", locales.Signature{Version: "v1", Back: "BURN."}},
		{"aid.not-waking", locales.Signature{Version: "v2", Back: "Does not wake.", Strayed: true}},
		{"aid.fire", locales.Signature{Version: "v1"}},
	}, r.Lines)
	require.Equal(t, "by A Reader, 2026-11-29, v2", r.Lines[0].Standing())
	require.Equal(t, "by nobody, v1", r.Lines[1].Standing())
	require.Equal(t, "4 safety lines, 3 unreviewed (2 of v1, 1 of v2)", Signed(r.Catalog, "luo"))
	require.Contains(t, faults(r), `"aid.not-waking" is another text than the one that was signed as v2`)
	require.Contains(t, faults(r), `"aid.fire" does not say after its version what it says in English`)
	require.NotContains(t, faults(r), `"aid.burn"`+" does")
}

// What is noted is what Stale then compares with.
func TestMaster(t *testing.T) {
	r := look(t, "sw", map[string]string{"master.sw.toml": "\"line.hello\" = \"00000000\"\n"})
	require.Equal(t, []locales.ID{"line.hello"}, r.Stale)
	notes, err := r.Master(nil)
	require.NoError(t, err)
	r = look(t, "sw", map[string]string{"master.sw.toml": string(notes)})
	require.Empty(t, r.Stale)
	require.Empty(t, r.Unnoted)
	_, err = r.Master([]locales.ID{"line.gone"})
	require.ErrorContains(t, err, "line.gone")
}

// The page holds every message with what it costs, and nothing from outside.
func TestPage(t *testing.T) {
	r := look(t, "sw", nil)
	var b bytes.Buffer
	require.NoError(t, r.Page(&b))
	page := b.String()
	for _, id := range locales.IDs() {
		require.Contains(t, page, "<h3>"+string(id)+"</h3>")
	}
	for _, line := range r.Lines {
		require.Contains(t, html.UnescapeString(page), "It says: "+line.Back)
	}
	require.Equal(t, len(r.Lines), strings.Count(page, "Right as it stands"))
	require.NotRegexp(t, regexp.MustCompile(`(?i)<script|\bsrc=|\bhref="[^#]|https?:|url\(|@import`), page)
	require.NotContains(t, page, "Missing.")

	var terminal bytes.Buffer
	require.NoError(t, r.Print(&terminal))
	require.Equal(t, len(locales.IDs()), strings.Count(terminal.String(), "\n\n")-strings.Count(terminal.String(), "\n\n#"))
	require.Contains(t, terminal.String(), "aid.gas, line ")
}

//go:generate go test -run TestPrices|TestBackTranslations . -update

var update = flag.Bool("update", false, "rewrite the table of prices in DEVELOPERS.md and those of back-translations")

var table = regexp.MustCompile(`(?s)(<!-- prices: go generate ./gateway/review -->\n)(.*?)(<!-- end -->)`)

func TestPrices(t *testing.T) {
	const file = "../../DEVELOPERS.md"
	c, err := locales.Load()
	require.NoError(t, err)
	guide, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Regexp(t, table, string(guide))
	want := table.ReplaceAllString(string(guide), "${1}"+Prices(c)+"${3}")
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(want), 0o644))
		return
	}
	require.Equal(t, want, string(guide), "run: go generate ./gateway/review")
}
