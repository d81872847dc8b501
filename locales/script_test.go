package locales

import (
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

func TestScripts(t *testing.T) {
	for l, want := range map[Lang]*unicode.RangeTable{
		"en": nil, "sw": nil, "hi-Latn": nil, "ha": nil, "hi": unicode.Devanagari, "ne": unicode.Devanagari, "bn": unicode.Bengali,
		"am": unicode.Ethiopic, "ti": unicode.Ethiopic, "ur": unicode.Arabic, "luo": nil,
	} {
		require.True(t, Script(l) == want, l)
		require.Equal(t, want != nil, Wide(l), l)
	}
	require.True(t, Kin("hi", "hi-Latn"))
	require.False(t, Kin("hi", "ha"))
	for text, want := range map[string]*unicode.RangeTable{
		"": nil, "2": nil, "cobs": nil, "हाँ": unicode.Devanagari, "2 ड्रम!": unicode.Devanagari, "ড্রাম": unicode.Bengali, "እሳት": unicode.Ethiopic,
		"drum ड्रम": nil, "ड्रम drum": nil, "é": nil,
	} {
		require.True(t, Written(text) == want, text)
	}
}

// A language is found by what any language calls it, in any spelling that is
// listed.
func TestCalled(t *testing.T) {
	c := smallCatalog(t, map[string]string{
		"words.en.toml":       `"lang.hi-Latn" = ["hindi"]` + "\n" + `"lang.fr" = ["french"]` + "\n" + `"lang.ht" = ["creole"]`,
		"words.hi.toml":       `"lang.hi" = ["हिन्दी", "हिंदी", "hindi"]`,
		"words.sw.toml":       `"lang.fr" = ["kifaransa", "francais"]` + "\n" + `"lang.ha" = ["creole"]`,
		"active.hi-Latn.toml": smallSwahili,
	})
	for name, want := range map[string]Lang{
		"French": "fr", "KIFARANSA": "fr", "Français": "fr", "hindi": "hi-Latn", "हिन्दी": "hi", "हिंदी": "hi", "sw": "sw", " SW ": "sw", "HI-latn": "hi-Latn",
		"creole": "", "dutch": "", "": "",
	} {
		got, ok := c.Called(name)
		require.Equal(t, want, got, name)
		require.Equal(t, want != "", ok, name)
	}
}
