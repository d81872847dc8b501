package locales

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A message is unreviewed until a named reviewer has signed it with a day and a
// version. Of the master only the safety lines wait.
func TestUnreviewed(t *testing.T) {
	english := strings.Replace(smallEnglish, `"line.sorry" = "Sorry."`, `"line.sorry" = { description = "draft, unreviewed, v1", other = "Sorry." }`, 1)
	for remark, want := range map[string]Signature{
		"":                                   {},
		"draft, unreviewed, v1. Sorry":       {Version: "v1", Back: "Sorry"},
		"reviewed by A. Reader, 2026-11-29":  {},
		"reviewed by nobody":                 {},
		"reviewed by A. Reader, v2":          {},
		"looked good to me, 2026-11-29, v1.": {},
		"reviewed by A. Reader, 2026-11-29, v2. Forgive":             {},
		"reviewed by A. Reader, 2026-11-29, v2 of PRINT. Forgive":    {By: "A. Reader, 2026-11-29", Version: "v2", Back: "Forgive"},
		"reviewed by A. Reader, 2026-11-29, v3 of PRINT":             {By: "A. Reader, 2026-11-29", Version: "v3"},
		"reviewed by A. Reader, 2026-11-29, v3 of 0badc0de. Forgive": {Version: "v3", Back: "Forgive", Strayed: true},
	} {
		// The prints are the first four octets of the SHA-256 of five line ends, for
		// plural forms that are not there, and the text.
		beside := func(print string) string { return strings.Replace(remark, "PRINT", print, 1) }
		swahili := strings.Replace(smallSwahili, `"line.sorry" = "Samahani."`, `"line.sorry" = { description = "`+beside("d21aea05")+`", other = "Samahani." }`, 1)
		swahili = strings.Replace(swahili, `"language.name" = "Kiswahili"`, `"language.name" = { description = "`+beside("a9ea995d")+`", other = "Kiswahili" }`, 1)
		c := smallCatalog(t, map[string]string{"active.en.toml": english, "active.sw.toml": swahili})
		require.Equal(t, want, c.Signature("sw", "line.sorry"), remark)
		lines, others := c.Unreviewed("sw")
		if want.By != "" {
			require.Empty(t, lines, remark)
		} else {
			require.Equal(t, []ID{"line.sorry"}, lines, remark)
		}
		require.Equal(t, want.By == "", len(others) > 0 && others[0] == Name, remark)
		lines, others = c.Unreviewed(Default)
		require.Equal(t, []ID{"line.sorry"}, lines)
		require.Empty(t, others)
	}
}

// A language waits for a reviewer when its own file of words says why.
func TestNeedsReviewer(t *testing.T) {
	c := smallCatalog(t, map[string]string{"words.sw.toml": `"rule.reviewer" = ["It is a draft", "by somebody who does not speak it."]`})
	require.True(t, c.NeedsReviewer("sw"))
	require.False(t, c.NeedsReviewer("en"))
	require.Equal(t, []Lang{"en"}, c.Free())
	require.Equal(t, "It is a draft by somebody who does not speak it.", c.Rules("sw").Reviewer)
	_, faults := Inspect(Over(toFS(map[string]string{"words.sw.toml": `"rule.reviewer" = []`})))
	require.Contains(t, found(faults), `"rule.reviewer" is no rule`)
}
