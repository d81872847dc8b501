package locales

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Every language is worded for people who read little and slowly. The limits
// are those of plain-language guides for print, which ask for 15 to 20 words a
// sentence, and of 10 on the mean for a small screen: common practice, no one
// source.
func TestMessagesAreWordedPlainly(t *testing.T) {
	c := loaded(t)
	for _, l := range c.Langs() {
		require.Empty(t, c.Plain(l))
		require.Greater(t, c.MeanWords(l), 2.0, l)
	}
}

func TestWordyMessagesAreFound(t *testing.T) {
	for _, row := range []struct{ file, old, replacement, want string }{
		{"active.en.toml", "I did not understand.", "I did not understand what you told me about the thing that you wrote to me now.", "has a sentence of 17 words, more than 15"},
		{"active.en.toml", "I did not understand.", "What do you mean by that word? Text it.", "goes on after its question"},
		{"active.en.toml", "I did not understand.", "What do you mean by that word? Is it a waste?", "asks 2 questions"},
		{"active.en.toml", "I did not understand.", "I understood 10% of it.", "holds %"},
		{"active.en.toml", "I did not understand.", "I did not underst. that.", "cuts a word short: underst."},
		{"active.en.toml", "I did not understand.", "That barrel I do not know.", `says "barrel": say "drum"`},
		{"active.sw.toml", "Sijaelewa.", "Sijaelewa saa 07:30.", "the Swahili clock counts from six"},
		{"words.en.toml", `"rule.except" = [`, `"rule.except" = ["line.kind: because",`, `excepts "line.kind", which is worded plainly`},
	} {
		l := Lang(row.file[len(row.file)-len("en.toml"):][:2])
		require.Contains(t, found(spoiled(t, row.file, row.old, row.replacement).Plain(l)), row.want, row.replacement)
	}
}

func TestSentences(t *testing.T) {
	require.Equal(t, []string{"BURN:", "hold it at 16:00.", "Then?", "1.5 kg"}, Sentences("BURN: hold it at 16:00. Then? 1.5 kg"))
	require.Equal(t, []string{"गैस का खतरा!", "बाहर जाएं।"}, Sentences("गैस का खतरा! बाहर जाएं।"))
	require.Equal(t, 3, countWords("Autre chose ?  2"))
}
