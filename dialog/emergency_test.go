package dialog_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// alarms are what people text of harm, with the tier that answers it: "a"
// overrides everything, "b" is said first. The list is that of the rule C14; the
// texts of each stand in the languages' files.
var alarms = []struct{ pattern, tier string }{
	{"unconscious", "a"},
	{"fainted", "a"},
	{"not waking", "a"},
	{"collapsed", "a"},
	{"dead or dying", "a"},
	{"cannot breathe", "a"},
	{"convulsions", "a"},
	{"a burned hand", "a"},
	{"a burned face", "a"},
	{"a burned child", "a"},
	{"I burned myself", "a"},
	{"clothes on fire", "a"},
	{"exploded", "a"},
	{"drank poison", "a"},
	{"a child and a burn", "a"},
	{"a child and gas", "a"},
	{"a child and fire", "a"},
	{"a child and smoke", "a"},
	{"a sick child", "a"},
	{"a house on fire", "a"},
	{"grass that burns", "a"},
	{"burned, misspelt", "a"},
	{"not waking, misspelt", "a"},
	{"a person hurt", "a"},
	{"a person fell", "a"},
	{"a person bleeds", "a"},
	{"a person cut", "a"},
	{"a scald", "a"},
	{"a finger crushed", "a"},
	{"pregnant and dizzy", "a"},
	{"headache", "b"},
	{"dizzy", "b"},
	{"vomiting", "b"},
	{"nausea", "b"},
	{"weak", "b"},
	{"sleepy", "b"},
	{"chest pain", "b"},
	{"cough", "b"},
	{"gas", "b"},
	{"a smell", "b"},
	{"burned, nobody named", "b"},
	{"fire", "b"},
	{"smoke", "b"},
	{"a hot drum", "b"},
	{"an eye", "b"},
	{"cut", "b"},
	{"crushed", "b"},
	{"help, called out", "b"},
}

// TestC14TheOtherLanguage: a text of harm overrides a conversation held in any
// other language too, and an ordinary one does not. What it rests on there is
// exact words: a slip of a letter is heard in the conversation's own language.
func TestC14TheOtherLanguage(t *testing.T) {
	for _, kind := range []string{"emergency", "ordinary"} {
		for _, row := range rows(t, kind) {
			for other := range languages(t) {
				if h := engine(t).Hear(other, row["text"]); (row["tier"] == "a") != (h.Tier == "a") {
					t.Errorf("%s %q to a line that speaks %s is of tier %q and not %q", row["lang"], row["text"], other, h.Tier, row["tier"])
				}
			}
		}
	}
}

// TestC14EveryEmergencyPattern: each pattern of harm is answered in its tier, in
// every language, and what overrides everything does so whatever language the
// conversation is held in.
func TestC14EveryEmergencyPattern(t *testing.T) {
	for lang, words := range languages(t) {
		require.Len(t, words.Alarm, len(alarms), lang)
		for _, alarm := range alarms {
			require.NotEmpty(t, words.Alarm[alarm.pattern], "%s: %s", lang, alarm.pattern)
			for _, text := range words.Alarm[alarm.pattern] {
				if h := engine(t).Hear(lang, text); h.Tier != alarm.tier {
					t.Errorf("%s, %s: %q is of tier %q and not %q", lang, alarm.pattern, text, h.Tier, alarm.tier)
				}
				for other := range languages(t) {
					if h := engine(t).Hear(other, text); alarm.tier == "a" && h.Tier != "a" {
						t.Errorf("%s, %s: %q to a line that speaks %s is of tier %q", lang, alarm.pattern, text, other, h.Tier)
					}
				}
			}
		}
	}
}
