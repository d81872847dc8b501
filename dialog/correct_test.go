package dialog_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// TestCorrectionsAndPointers: a person takes back what was said, points at an
// option by its place or its words, and writes numbers in their own way. Each row
// ends in a text, and holds what the last answer must say.
func TestCorrectionsAndPointers(t *testing.T) {
	for _, row := range []struct {
		lang  locales.Lang
		texts []string
		want  string
	}{
		{"en", []string{"recipe", "the second"}, "How many drums"},
		{"en", []string{"recipe", "number 2"}, "How many drums"},
		{"en", []string{"recipe", "2nd one"}, "How many drums"},
		{"sw", []string{"kipimo", "ya pili"}, "mapipa mangapi"},
		{"sw", []string{"kipimo", "namba 2"}, "mapipa mangapi"},
		{"en", []string{"cobs 2 drums dry", "no 3"}, "Fill 3 drums"},
		{"sw", []string{"magunzi pipa 2 makavu", "hapana 3"}, "Jaza mapipa 3"},
		{"en", []string{"cobs 2 drums dry", "not cobs husk"}, "1 maize husk"},
		{"sw", []string{"magunzi pipa 2 makavu", "si magunzi maganda"}, "1 maganda ya mahindi"},
		{"en", []string{"cobs 2 drums dry", "not cobs"}, "What waste do you have?"},
		{"en", []string{"cobs 2 drums dry", "maize stalks instead of cobs"}, "maize stalks"},
		{"en", []string{"maize 2 drums dry", "husk"}, "maize husk"},
		{"en", []string{"cobs 2 drums", "not dry"}, "Wet maize cobs: do not light yet"},
		{"en", []string{"300 sacks of cobs dry", "no"}, "How many drums"},
		{"en", []string{"45 sacks of cobs dry", "no, 5"}, "5 sacks"},
		{"en", []string{"9 kg charcoal, 2 kg cassava root", "all weaker"}, "For 9 kg charcoal: 2 kg cassava root"},
		{"en", []string{"9 kg charcoal, 2 kg cassava root", "all"}, "For 9 kg charcoal: 2 kg cassava root"},
		{"sw", []string{"mkaa kilo 9, muhogo mbichi kilo 2", "wote dhaifu"}, "Kwa mkaa kilo 9"},
		{"en", []string{"my briquettes crumble", "paste not clear"}, "Stir the paste on the fire"},
		{"en", []string{"check", "all stay whole"}, "Weigh one"},
		{"en", []string{"check", "corners"}, "Put one in a bowl of water"},
		{"en", []string{"safety", "opening"}, "Do not open before the hour I sent"},
		{"en", []string{"charcoal 1.500 kg cassava flour"}, "2 it is 1500 kg of charcoal"},
		{"en", []string{"charcoal 1.500 kg cassava flour", "1"}, "For 1.5 kg charcoal"},
		{"en", []string{"charcoal 3k cassava flour"}, "For 3 kg charcoal"},
		{"en", []string{"price", "3k"}, "2 it is 3000 for a kg of charcoal"},
		{"en", []string{"price", "3k", "2", "0"}, "Charcoal costs 3000 KSh a kg"},
		{"sw", []string{"bei", "1.500", "0"}, "Mkaa ni 1500 KSh"},
		{"en", []string{"3,5 kg charcoal maize flour"}, "For 3.5 kg charcoal"},
		{"en", []string{"drums 2-3, cobs"}, "I read: 2.5 drums. Break some by hand."},
		{"en", []string{"a drum and a half of cobs dry"}, "Fill 1.5 drums: 3 sacks"},
		{"en", []string{"cobs I drum dry"}, "Fill 1 drum"},
		{"en", []string{"cobs 3 or 4 sacks"}, "I read: 3.5 sacks."},
		{"sw", []string{"magunzi gunia 3 au 4"}, "Nimesoma: magunia 3.5."},
		{"en", []string{"plan 1,5 tonnes cobs"}, "You wrote 1500 kg of briquettes. Is that right?"},
		{"en", []string{"price charcoal 60 flour 90"}, "Starch costs you"},
		{"en", []string{"balls put out yesterday"}, "as balls, put out 1 day ago"},
		{"sw", []string{"magunzu pipa 2-3"}, "Nimesoma: mapipa 2.5, magunzi ya mahindi."},
	} {
		p := speaks(t, row.lang)
		require.Contains(t, all(p.lasts(row.texts...)), row.want, "%s %q", row.lang, row.texts)
	}
}

// TestStuck: the second failure at a number lists some, the third offers a person
// and flags the conversation, and the officers see what was written and at which
// question. A real answer still counts.
func TestStuck(t *testing.T) {
	p := speaks(t, "en")
	turn := p.lasts("plan", "qq")
	require.Contains(t, all(turn), "I did not understand. How many kg")
	require.Equal(t, dialog.Heard{Lang: "en", Step: "plan.want_kg"}, turn.Heard)
	turn = p.says("qq")
	require.Equal(t, "it is 10 kg of briquettes", turn.Replies[0].Choices[0])
	turn = p.says("what now zz")
	require.Equal(t, []string{"ask.stuck"}, keys(turn))
	require.Equal(t, []dialog.Effect{dialog.Flag{Why: "not understood"}}, turn.Effects)
	require.Equal(t, "plan.want_kg", turn.Heard.Step)
	stuck := p.state
	turn = p.says("2")
	require.Equal(t, []dialog.Effect{dialog.Question{Text: "what now zz"}}, turn.Effects)
	require.Equal(t, []string{"ask.sent", "ask.want-kg"}, keys(turn))
	p.state = stuck
	require.Equal(t, []string{"ask.want-kg"}, keys(p.says("ask me again")))
	p.state = stuck
	require.Equal(t, []dialog.Effect{dialog.CallBack{}}, p.says("the first").Effects)
	p.state = stuck
	require.Equal(t, []string{"ask.waste"}, keys(p.says("50 kg")))
	p.channel.Sends = false
	p.state = stuck
	p.state.Frames = p.state.Frames[:1]
	require.NotContains(t, keys(p.says("zz")), "ask.stuck")
}

// TestMeasuresOfOnesOwn: a wheelbarrow is asked for once and remembered; a tin
// or sack is as usual until its owner says what it holds, and charcoal is counted
// in the same vessels.
func TestMeasuresOfOnesOwn(t *testing.T) {
	p := speaks(t, "en")
	require.Contains(t, all(p.says("2 wheelbarrows of cobs dry")), "How many kg of maize fill your wheelbarrow?")
	require.Contains(t, all(p.says("40 kg")), "2 wheelbarrows, 18 kg dry maize cobs")
	require.Contains(t, all(p.says("MORE")), "a wheelbarrow that holds 40 kg of maize")
	require.Contains(t, all(p.says("4 wheelbarrows of cobs dry")), "4 wheelbarrows, 36 kg")
	require.Contains(t, all(p.says("4 sacks of cobs dry")), "4 sacks, 65 kg")
	require.Contains(t, all(p.says("sack of 50 kg")), "4 sacks, 45 kg")
	p.says("6 tins of cobs dry")
	require.Contains(t, all(p.says("sack of 90 kg")), "6 tins")
	require.Equal(t, map[string]float64{"wheelbarrow": 40, "sack": 90}, p.state.Fills)
	require.Contains(t, all(p.says("charcoal 3 tins, cassava flour")), "For 6 kg charcoal")
	p.says("NOT ME")
	require.Empty(t, p.state.Fills)
}

// TestSales: what was sold and for how much is kept, in any order and unit, and
// stands in the record.
func TestSales(t *testing.T) {
	for _, row := range []struct {
		lang  locales.Lang
		texts []string
		want  dialog.Sale
	}{
		{"en", []string{"sold 20 kg for 800"}, dialog.Sale{Kg: 20, Money: 800}},
		{"en", []string{"i sold 40 pieces 800 shillings"}, dialog.Sale{Pieces: 40, Money: 800}},
		{"en", []string{"sold 40 for 800", "2"}, dialog.Sale{Pieces: 40, Money: 800}},
		{"en", []string{"sold 40 for 800", "kg"}, dialog.Sale{Kg: 40, Money: 800}},
		{"en", []string{"sold", "10 kg", "400"}, dialog.Sale{Kg: 10, Money: 400}},
		{"sw", []string{"nimeuza kilo 20 kwa 15000"}, dialog.Sale{Kg: 20, Money: 15000}},
		{"sw", []string{"nimeuza 40 kwa 8000", "vipande"}, dialog.Sale{Pieces: 40, Money: 8000}},
	} {
		p := speaks(t, row.lang)
		turn := p.lasts(row.texts...)
		require.Len(t, p.state.Sales, 1, row.texts)
		row.want.At = p.state.Sales[0].At
		require.Equal(t, row.want, p.state.Sales[0], row.texts)
		require.Contains(t, keys(turn), "caution.buyers")
	}
	p := speaks(t, "en")
	p.lasts("sold 20 kg for 800", "sold 5 kg for 250")
	require.Contains(t, all(p.says("my batches")), "Sold: 25 kg for 1050.")
}

// TestAWeightTakenBack: "no, 7 kg" after WEIGHED changes the record with the
// paste; a later weight is another paste.
func TestAWeightTakenBack(t *testing.T) {
	p := speaks(t, "en")
	p.lasts("cobs 1 drum dry", "LIT", "COVERED")
	p.now = p.now.Add(24 * time.Hour)
	p.lasts("OPENED", "cold", "weighed 9 kg")
	require.Equal(t, 9.0, p.state.Batches[0].CharKg)
	require.Contains(t, all(p.says("no, 7 kg")), "For 7 kg charcoal")
	require.Equal(t, 7.0, p.state.Batches[0].CharKg)
	p.says("12 kg charcoal")
	require.Equal(t, 7.0, p.state.Batches[0].CharKg)
	require.Len(t, p.state.Batches, 1)
}

// TestACallClosesTheQuestion: what follows a CALL is no question for the officers.
func TestACallClosesTheQuestion(t *testing.T) {
	p := speaks(t, "en")
	turn := p.lasts("ask", "CALL", "plan 60 kg cobs")
	require.Contains(t, keys(turn), "plan.ready")
	require.Empty(t, turn.Effects)
}

// TestWordsThatCollide: words that mean one thing in one language and another in
// the next count only where they belong, whole and exactly.
func TestWordsThatCollide(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	spoken := catalog.Langs()
	for _, row := range []struct {
		lang   locales.Lang
		text   string
		tier   string
		optOut bool
		topic  string
	}{
		{lang: "en", text: "moto"}, // fire in Swahili, a motorbike elsewhere
		{lang: "sw", text: "moto", tier: "b"},
		{lang: "sw", text: "kona"}, // a corner; burned in Hausa
		{lang: "en", text: "gari 2 kg for 20 kg charcoal", topic: "binder"},
		{lang: "sw", text: "gari"},                     // a car
		{lang: "en", text: "mais"},                     // more, maize or but
		{lang: "en", text: "a"},                        // yes in Hausa
		{lang: "en", text: "si"},                       // yes in Spanish
		{lang: "en", text: "acha"},                     // leave it, or "good" in Hindi
		{lang: "sw", text: "acha", optOut: true},       // leave it
		{lang: "sw", text: "acha moto uwake"},          // let the fire burn
		{lang: "en", text: "stop", optOut: true},       // in every language
		{lang: "sw", text: "stop", optOut: true},       // in every language
		{lang: "en", text: "stop the fire", tier: "b"}, // no opt-out
		{lang: "en", text: "smoke stopped"},            // no opt-out
		{lang: "sw", text: "poa"},                      // cool, or fine
		{lang: "en", text: "help"},                     // the service, no emergency
		{lang: "sw", text: "msaada"},                   // the service, no emergency
		{lang: "sw", text: "magunzi four makavu"},      // a number in English alone
		{lang: "en", text: "cobs four drums dry", topic: "recipe"},
		{lang: "fr", text: "moto"},                      // a motorbike
		{lang: "fr", text: "fou"},                       // mad; a kiln in Creole
		{lang: "fr", text: "parar"},                     // stop it, in Portuguese and Spanish
		{lang: "fr", text: "stop", optOut: true},        // in every language
		{lang: "fr", text: "aide"},                      // the service, no emergency
		{lang: "pt", text: "moto"},                      // a motorbike
		{lang: "pt", text: "mais"},                      // more; maize or but in French
		{lang: "pt", text: "fumo", tier: "b"},           // smoke, or tobacco
		{lang: "pt", text: "parar", optOut: true},       // leave me alone
		{lang: "pt", text: "parar o fogo", tier: "b"},   // stop the fire
		{lang: "pt", text: "stop", optOut: true},        // in every language
		{lang: "pt", text: "ajuda"},                     // the service, no emergency
		{lang: "pt", text: "acha"},                      // he finds; leave it in Swahili
		{lang: "es", text: "moto"},                      // a motorbike
		{lang: "es", text: "tusa"},                      // a cob, or a husk
		{lang: "es", text: "si"},                        // yes; if in French
		{lang: "es", text: "parar", optOut: true},       // leave me alone
		{lang: "es", text: "parar el fuego", tier: "b"}, // stop the fire
		{lang: "es", text: "sol"},                       // the sun
		{lang: "es", text: "pan"},                       // bread
		{lang: "es", text: "ayuda"},                     // the service, no emergency
		{lang: "es", text: "stop", optOut: true},        // in every language
		{lang: "hi-Latn", text: "acha"},                 // good; leave it in Swahili
		{lang: "hi-Latn", text: "ha"},                   // yes
		{lang: "hi-Latn", text: "na"},                   // a tag; and in Swahili
		{lang: "hi-Latn", text: "pani"},                 // water, no rain
		{lang: "hi-Latn", text: "band karo", optOut: true},
		{lang: "hi-Latn", text: "aag band karo"}, // put the fire out
		{lang: "hi-Latn", text: "stop", optOut: true},
		{lang: "hi", text: "अच्छा"},
		{lang: "hi", text: "मदद"},
		{lang: "hi", text: "stop", optOut: true},
		{lang: "ha", text: "kona", tier: "b"}, // burned; a corner in Swahili
		{lang: "ha", text: "i"},               // yes
		{lang: "ha", text: "ruwa"},            // water, and rain
		{lang: "ha", text: "gari"},            // powder, or a town
		{lang: "ha", text: "stop", optOut: true},
		{lang: "ht", text: "fou"},  // a kiln
		{lang: "ht", text: "vale"}, // swallow; fine in Spanish
		{lang: "ht", text: "stop", optOut: true},
		{lang: "en", text: "parar"}, // stop it, in Portuguese and Spanish
		{lang: "en", text: "fumo"},  // smoke, in Portuguese
		{lang: "en", text: "ha"},    // yes in Hindi
		{lang: "en", text: "pay"},   // straw in Creole
		{lang: "sw", text: "parar"},
		{lang: "sw", text: "baja"},
	} {
		if !slices.Contains(spoken, row.lang) {
			continue // it waits until the language is there
		}
		p := speaks(t, row.lang)
		p.langs = append(slices.Clone(p.langs), row.lang)
		h := p.says(row.text).Heard
		require.Equal(t, row.tier, h.Tier, "%s %q", row.lang, row.text)
		require.Equal(t, row.optOut, h.OptOut, "%s %q", row.lang, row.text)
		require.Empty(t, h.Report, "%s %q", row.lang, row.text)
		if row.topic != "" {
			require.Equal(t, row.topic, h.Topic, "%s %q", row.lang, row.text)
		}
	}
}

// TestTroubleTable: each fault of briquettes that a hand press knows has the
// causes to choose from, each cause a remedy, and no question
// shows more than five.
func TestTroubleTable(t *testing.T) {
	for _, row := range []struct{ en, cause, remedy string }{
		{"they crumble", "paste was not clear", "half a cup more starch"},
		{"they crack", "full sun on the first day", "shade on day 1"},
		{"they split in layers", "struck very fast", "Press slowly"},
		{"they have mould", "stored damp or in a heap", "Throw away those with mould"},
		{"they smoke", "brown bits in the charcoal", "burn them again"},
		{"hard to light", "thick, without a hole", "hole in the middle"},
		{"they spark or pop", "damp inside", "Dry them longer"},
		{"they burn too fast", "hole is big", "smaller hole"},
		{"too much ash", "white ash in the drum", "cover sooner"},
		{"they smell bad", "paste was old or sour", "within 6 hours"},
		{"they do not dry", "dried on the ground", "rack 1 m high"},
		{"they stick in the mould", "mould is rough or rusty", "wet cloth or a little oil"},
		{"white in the middle", "soft and smells", "That is mould"},
		{"the fire goes out", "stove is full of ash", "shake the ash down"},
		{"the sack gets warm", "", "spread it thin"},
	} {
		p := speaks(t, "en")
		p.says("fix")
		turn := p.says(row.en)
		if row.cause != "" {
			require.Contains(t, turn.Replies[0].Choices, row.cause, row.en)
			require.LessOrEqual(t, len(turn.Replies[0].Choices), 5)
			turn = p.says(row.cause)
		}
		require.Contains(t, all(turn), row.remedy, row.en)
	}
}

// TestTroublesInEveryLanguage: what people say of bad briquettes is heard as the
// trouble it is.
func TestTroublesInEveryLanguage(t *testing.T) {
	for l, words := range languages(t) {
		require.Len(t, words.Symptom, len(languages(t)["en"].Symptom), l)
		for symptom, text := range words.Symptom {
			p := speaks(t, l)
			p.says(words.Journey["fix"][0])
			said := keys(p.says(text))
			if heard := p.state.Frames[len(p.state.Frames)-1].Slots["symptom"].Key; heard != symptom || slices.Contains(said, "line.unknown") {
				t.Errorf("%s: %q is heard as %q and not %q", l, text, heard, symptom)
			}
		}
	}
}
