package dialog_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"cobline/locales"
)

// emergencyPatterns are what people text of harm, with the tier that answers it:
// "a" overrides everything, "b" is said first. Each stands in English and in
// Swahili. The list is that of the rule C14.
var emergencyPatterns = []struct {
	pattern, tier string
	en, sw        []string
}{
	{"unconscious", "a", []string{"he is unconscious", "unconcious man here"}, []string{"amepoteza fahamu", "hana fahamu"}},
	{"fainted", "a", []string{"my wife fainted", "she fented"}, []string{"mke wangu amezimia", "amezirai"}},
	{"not waking", "a", []string{"he is not waking up", "cant wake him"}, []string{"haamki", "hataki kuamka"}},
	{"collapsed", "a", []string{"the worker collapsed"}, []string{"ameanguka na kuzimia"}},
	{"dead or dying", "a", []string{"a man is dead", "my father is dying"}, []string{"mtu amekufa", "baba anakufa"}},
	{"cannot breathe", "a", []string{"i cannot breathe", "she cant breath"}, []string{"siwezi kupumua", "anashindwa kupumua"}},
	{"convulsions", "a", []string{"the girl has fits", "convulsion"}, []string{"ana degedege", "ana kifafa"}},
	{"a burned hand", "a", []string{"my hand is burned", "burnt hand"}, []string{"nimeungua mkono", "mkono umeungua"}},
	{"a burned face", "a", []string{"his face is burned"}, []string{"ameungua uso"}},
	{"a burned child", "a", []string{"my child is burned"}, []string{"mtoto ameungua"}},
	{"I burned myself", "a", []string{"i burned myself", "i burnt my self"}, []string{"nimejiunguza", "nimeungua"}},
	{"clothes on fire", "a", []string{"his clothes are on fire", "my shirt is on fire"}, []string{"nguo zake zinawaka moto", "shati langu linawaka"}},
	{"exploded", "a", []string{"the drum exploded"}, []string{"pipa limelipuka"}},
	{"drank poison", "a", []string{"she drank poison", "he swallowed pesticide"}, []string{"amekunywa sumu", "amemeza dawa ya wadudu"}},
	{"a child and a burn", "a", []string{"burn on the baby"}, []string{"mtoto na moto"}},
	{"a child and gas", "a", []string{"baby breathed the gas"}, []string{"mtoto amevuta gesi"}},
	{"a child and fire", "a", []string{"my son fell in the fire"}, []string{"mtoto ameanguka kwenye moto"}},
	{"a child and smoke", "a", []string{"the child breathed smoke"}, []string{"mtoto amevuta moshi"}},
	{"a sick child", "a", []string{"my child is sick"}, []string{"mtoto wangu anaumwa"}},
	{"a house on fire", "a", []string{"the house is on fire"}, []string{"nyumba inawaka moto"}},
	{"grass that burns", "a", []string{"grass near drum burning", "the grass near the drum is on fire"}, []string{"moto umeshika nyasi", "moto umeingia nyumba"}},
	{"burned, misspelt", "a", []string{"someone is burn", "hands is brned"}, []string{"nimeunguza mkono"}},
	{"not waking, misspelt", "a", []string{"my frend is not wakin up"}, []string{"rafiki yangu haamki"}},
	{"a person hurt", "a", []string{"i am hurt", "my brother is hurt"}, []string{"nimeumia", "kaka yangu ameumia"}},
	{"a person fell", "a", []string{"he fell from the heap"}, []string{"ameanguka"}},
	{"a person bleeds", "a", []string{"she is bleeding"}, []string{"anatoka damu"}},
	{"a person cut", "a", []string{"i cut my hand"}, []string{"nimejikata mkono"}},
	{"a scald", "a", []string{"hot water on my leg", "scalded my foot"}, []string{"maji ya moto yamenimwagikia", "uji umemwagikia mtoto"}},
	{"a finger crushed", "a", []string{"crushed my finger"}, []string{"kidole kimepondwa"}},
	{"pregnant and dizzy", "a", []string{"pregnant woman is dizzy"}, []string{"mjamzito ana kizunguzungu"}},

	{"headache", "b", []string{"headache", "i have hedache"}, []string{"kichwa kinaniuma", "naumwa kichwa"}},
	{"dizzy", "b", []string{"i am dizzy", "dizy"}, []string{"kizunguzungu", "nasikia kizunguzungu"}},
	{"vomiting", "b", []string{"i am vomiting"}, []string{"natapika"}},
	{"nausea", "b", []string{"nausea"}, []string{"kichefuchefu"}},
	{"weak", "b", []string{"i feel weak"}, []string{"najisikia dhaifu"}},
	{"sleepy", "b", []string{"very sleepy near the drum"}, []string{"nasikia usingizi sana"}},
	{"chest pain", "b", []string{"chest pain"}, []string{"kifua kinauma"}},
	{"cough", "b", []string{"coughing a lot"}, []string{"nakohoa sana"}},
	{"gas", "b", []string{"i smell gas"}, []string{"harufu ya gesi"}},
	{"a smell", "b", []string{"bad smell and headache"}, []string{"harufu mbaya na kichwa kinauma"}},
	{"burned, nobody named", "b", []string{"burned"}, []string{"kuungua"}},
	{"fire", "b", []string{"fire", "FIRE!!"}, []string{"moto", "moto mkubwa"}},
	{"smoke", "b", []string{"smoke", "smoke everywhere"}, []string{"moshi", "moshi kila mahali"}},
	{"a hot drum", "b", []string{"drum is bulging"}, []string{"pipa limevimba"}},
	{"an eye", "b", []string{"dust in my eyes"}, []string{"vumbi machoni"}},
	{"cut", "b", []string{"cut"}, []string{"jeraha dogo"}},
	{"crushed", "b", []string{"crushed"}, []string{"imepondwa"}},
	{"help, called out", "b", []string{"help!", "help help"}, []string{"msaada!", "saidia saidia"}},
}

// TestC14TheOtherLanguage: a text of harm overrides a conversation held in the
// other language too, and an ordinary one does not. What it rests on there is
// exact words: a slip of a letter is heard in the conversation's own language.
func TestC14TheOtherLanguage(t *testing.T) {
	other := map[string]locales.Lang{"en": "sw", "sw": "en"}
	for _, file := range []string{"emergency.csv", "ordinary.csv"} {
		for _, row := range rows(t, file) {
			h := engine(t).Hear(other[row["lang"]], row["text"])
			require.Equal(t, row["tier"] == "a", h.Tier == "a", "%q to a line that speaks %s", row["text"], other[row["lang"]])
		}
	}
}

// TestC14EveryEmergencyPattern: each pattern of harm is answered in its tier, in
// both languages, whatever language the conversation is held in.
func TestC14EveryEmergencyPattern(t *testing.T) {
	for _, row := range emergencyPatterns {
		for lang, texts := range map[locales.Lang][]string{"en": row.en, "sw": row.sw} {
			require.NotEmpty(t, texts, row.pattern)
			for _, text := range texts {
				h := engine(t).Hear(lang, text)
				require.Equal(t, row.tier, h.Tier, "%s, %s: %q", row.pattern, lang, text)
				if row.tier == "a" {
					for _, other := range []locales.Lang{"en", "sw"} {
						require.Equal(t, "a", engine(t).Hear(other, text).Tier, "%q to a line that speaks %s", text, other)
					}
				}
			}
		}
	}
}
