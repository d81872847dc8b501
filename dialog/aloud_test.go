package dialog_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// TestTextsOfTheYard holds single texts of producers to the message that must
// answer them, in a stage of a burn: "" none, "wet" refused, "lit", "sealed",
// "opened".
func TestTextsOfTheYard(t *testing.T) {
	for _, row := range []struct {
		lang        locales.Lang
		stage, text string
		key         string
	}{
		{"en", "", "can i cut the drum with a grinder", "caution.drum"},
		{"en", "", "is it ok to burn at night", "burn.may-light"},
		{"sw", "", "naweza kuchoma usiku", "burn.may-light"},
		{"fr", "", "on peut brûler la nuit", "burn.may-light"},
		{"pt", "", "posso queimar de noite", "burn.may-light"},
		{"es", "", "se puede quemar de noche", "burn.may-light"},
		{"hi-Latn", "", "raat ko jalana theek hai", "burn.may-light"},
		{"ha", "", "zan iya kona da dare", "burn.may-light"},
		{"en", "", "can i use diesel to start the fire", "burn.may-light"},
		{"fr", "", "je peux utiliser du gasoil", "burn.may-light"},
		{"en", "", "i am pregnant can i burn", "caution.people"},
		{"en", "", "can kids press briquettes", "caution.people"},
		{"en", "recipe", "it was with petrol", "recipe.drum-oil"},
		{"en", "recipe", "with diesel", "recipe.drum-oil"},
		{"en", "", "drum with kerosene before", "recipe.drum-oil"},
		{"en", "", "can i light it with petrol", "burn.may-light"},
		{"sw", "recipe", "kwa dizeli", "recipe.drum-oil"},
		{"en", "", "how to press briquettes with cow dung", "caution.pressing"},
		{"en", "", "can i burn briquettes inside to warm the baby", "caution.buyers"},
		{"en", "", "is it safe to sleep with burning briquettes in room", "caution.buyers"},
		{"sw", "", "naweza kuwasha briketi ndani usiku", "caution.buyers"},
		{"sw", "", "vumbi la mkaa linanikohoza", "aid.gas"},
		{"fr", "", "on peut dormir avec les briquettes allumées", "caution.buyers"},
		{"es", "", "puedo prender adentro para calentar al bebé", "caution.buyers"},
		{"pt", "", "posso dormir com o carvão aceso", "caution.buyers"},
		{"en", "", "drum had pesticide is it ok after burning", "recipe.drum-poison"},
		{"en", "", "can i wash it and use it", "caution.drum"},
		{"sw", "", "naweza kukata pipa kwa grainda", "caution.drum"},
		{"sw", "", "nioshe pipa", "caution.drum"},
		{"en", "sealed", "can i pour water on it", "caution.glowing"},
		{"en", "opened", "i poured water inside", "caution.glowing"},
		{"sw", "sealed", "nimwage maji kwenye pipa", "caution.glowing"},
		{"en", "sealed", "the lid fell off", "burn.opened-early"},
		{"en", "sealed", "wind took the lid", "burn.opened-early"},
		{"sw", "sealed", "kifuniko kimeanguka", "burn.opened-early"},
		{"en", "sealed", "i opened and flames came out", "caution.glowing"},
		{"en", "sealed", "opened cold, moved to kitchen", "caution.storing"},
		{"fr", "sealed", "ouvert froid, mis dans la cuisine", "caution.storing"},
		{"es", "sealed", "abri frio y lo lleve a la cocina", "caution.storing"},
		{"sw", "sealed", "nimefungua ni baridi nimepeleka jikoni", "caution.storing"},
		{"en", "sealed", "covered but smoke still comes from the bottom", "burn.leak"},
		{"en", "sealed", "opened it by mistake", "burn.opened-early"},
		{"en", "sealed", "drum fell over", "burn.opened-early"},
		{"sw", "sealed", "pipa limeanguka", "burn.opened-early"},
		{"fr", "sealed", "ouvert par erreur", "burn.opened-early"},
		{"es", "sealed", "se cayó el tambor", "burn.opened-early"},
		{"pt", "sealed", "abri por engano", "burn.opened-early"},
		{"hi", "sealed", "गलती से खोल दिया", "burn.opened-early"},
		{"sw", "sealed", "nimefungua moto umetoka", "caution.glowing"},
		{"fr", "sealed", "j ai ouvert et il y a des flammes", "caution.glowing"},
		{"es", "sealed", "abri y salio llamas", "caution.glowing"},
		{"pt", "sealed", "abri e saíram chamas", "caution.glowing"},
		{"hi-Latn", "sealed", "khola to aag nikli", "caution.glowing"},
		{"hi", "sealed", "खोला तो आग निकली", "caution.glowing"},
		{"ha", "sealed", "na bude wuta ta fito", "caution.glowing"},
		{"ht", "sealed", "m louvri dife soti", "caution.glowing"},
		{"en", "opened", "it is glowing now", "burn.still-hot"},
		{"en", "opened", "still hot", "burn.still-hot"},
		{"sw", "opened", "bado moto", "burn.still-hot"},
		{"en", "lit", "my fire stopped", "burn.fire-out"},
		{"en", "", "my fire stopped", "burn.fire-out"},
		{"en", "sealed", "the fire is out", "burn.wait"},
		{"sw", "lit", "moto umeisha", "burn.fire-out"},
		{"en", "", "sack gets warm", "remedy.fresh"},
		{"sw", "", "mfuko una joto", "remedy.fresh"},
		{"en", "", "they stick in the mould", "ask.cause"},
		{"en", "wet", "how long to dry", "waste-dry.days"},
		{"sw", "wet", "siku ngapi kukauka", "waste-dry.days"},
		{"en", "wet", "drying briquettes", "dry.briquettes"},
		{"en", "", "what is this", "line.help"},
		{"en", "", "who are you", "line.help"},
		{"sw", "", "hii ni nini", "line.help"},
		{"en", "", "please stop sending messages", "consent.stopped"},
		{"sw", "", "acha kunitumia ujumbe", "consent.stopped"},
		{"en", "recipe", "paste for 30 kg charcoal", "ask.starch"},
		{"en", "", "half drum cobs dry", "recipe.load"},
		{"sw", "", "nusu pipa magunzi makavu", "recipe.load"},
		{"en", "", "how to store briquettes", "caution.storing"},
		{"en", "", "do i need a permit", "ask.question"},
		{"en", "", "i am new", "line.help"},
		{"sw", "", "naanzaje", "line.help"},
		{"en", "", "change my group", "ask.group"},
		{"en", "sealed", "can i move the drum", "burn.wait"},
		{"sw", "sealed", "naweza kuhamisha pipa", "burn.wait"},
		{"en", "opened", "charcoal still warm can i bag it", "caution.storing"},
		{"sw", "opened", "mkaa bado joto naweza kuweka kwenye gunia", "caution.storing"},
		{"en", "", "sleeping with briquettes in the room", "caution.buyers"},
		{"en", "", "can i cook inside with briquettes", "caution.buyers"},
		{"en", "sealed", "i put it in the house", "caution.storing"},
		{"sw", "", "kulala na briketi chumbani", "caution.buyers"},
		{"en", "", "i want to warm the room at night, baby is cold", "caution.buyers"},
		{"sw", "", "nataka kupasha chumba joto usiku", "caution.buyers"},
		{"sw", "sealed", "ni usiku nimeweka ndani ya nyumba", "caution.storing"},
		{"sw", "", "nimeweka mkaa ndani ya nyumba", "caution.storing"},
		{"en", "", "can children watch", "caution.people"},
		{"en", "", "i am pregnant can i do it", "caution.people"},
		{"sw", "", "watoto wanaweza kuangalia", "caution.people"},
		{"en", "sealed", "i want to look inside", "burn.not-before"},
		{"en", "sealed", "i lifted the lid a bit", "burn.asking-opened"},
		{"sw", "sealed", "nimechungulia kidogo", "burn.opened-early"},
		{"en", "sealed", "smoke is coming from the bottom", "burn.leak"},
		{"sw", "sealed", "udongo umeanguka", "burn.leak"},
		{"en", "lit", "i used petrol", "burn.may-light"},
		{"sw", "lit", "nimetumia petroli", "burn.may-light"},
		{"en", "sealed", "its morning now", "burn.not-before"},
		{"en", "lit", "thunder", "burn.rain"},
		{"en", "", "i am tired", "line.menu"},
		{"en", "", "is the smoke from kiln dangerous", "ask.stage"},
		{"sw", "wet", "yatakauka kwa siku ngapi", "waste-dry.days"},
		{"sw", "", "moshi kila mahali", "aid.gas"},
		{"sw", "", "mvua inanyesha kwenye briketi zangu", "dry.rain"},
		{"sw", "", "moto unazima", "ask.cause"},
		{"sw", "lit", "pipa lililowashwa", "burn.status-lit"},
		{"en", "lit", "a drum that is lit", "burn.status-lit"},
		{"en", "recipe", "i found a new food drum", "drum.good"},
	} {
		p := speaks(t, row.lang)
		p.state.DrumPast = ""
		waste := map[locales.Lang]string{"en": "cobs 1 drum ", "sw": "magunzi pipa 1 "}[row.lang]
		switch row.stage {
		case "recipe":
			p.says(waste + "dry")
		case "wet":
			p.says(map[locales.Lang]string{"en": "cobs 1 drum strings peel", "sw": "magunzi pipa 1 yanapinda"}[row.lang])
		case "lit", "sealed", "opened":
			q := sealed(t)
			q.switchOn(row.lang)
			q.state.Lang = row.lang
			q.state.Drums[0].Stage = row.stage
			p = q
		}
		require.Contains(t, keys(p.says(row.text)), row.key, "%s: %s", row.stage, row.text)
	}
}

// TestOptionsByTheirWords: an option may be answered by the words of its label,
// if they fit no other.
func TestOptionsByTheirWords(t *testing.T) {
	p := speaks(t, "en")
	p.says("they crack")
	require.Contains(t, all(p.says("fine powder")), "Mix in some grains")
	p = speaks(t, "en")
	p.says("check")
	require.Contains(t, all(p.says("they split")), "Do not sell these yet")
	p = speaks(t, "en")
	p.says("they smell bad")
	require.NotContains(t, keys(p.says("in")), "ask.fix", "a word of several options is no answer")
}

// TestTheAdviceOnHalfBurnedPiecesWorks: what the line tells a person to text is
// understood, charcoal and pieces.
func TestTheAdviceOnHalfBurnedPiecesWorks(t *testing.T) {
	for lang, words := range languages(t) {
		text := words.Say.Halves
		catalog, err := theCatalog()
		require.NoError(t, err)
		require.Contains(t, catalog.Text(lang, "advice.unsure", nil), text)
		p := sealed(t)
		p.switchOn(lang)
		p.state.Lang, p.state.Drums[0].Stage = lang, "opened"
		p.says(text)
		require.Len(t, p.state.Batches, 1, text)
		require.Equal(t, []float64{9, 1}, []float64{p.state.Batches[0].CharKg, p.state.Batches[0].BrandsKg}, text)
	}
}

// TestADoubtfulWeightIsKept: what was weighed is not asked for again when the
// person only says that it is done.
func TestADoubtfulWeightIsKept(t *testing.T) {
	p := sealed(t)
	p.state.Drums[0].Stage = "opened"
	require.Contains(t, keys(p.says("not weighed 7 kg 2 kg")), "burn.asking-weighed")
	p.says("2")
	require.Len(t, p.state.Batches, 1)
	require.Equal(t, []float64{7, 2}, []float64{p.state.Batches[0].CharKg, p.state.Batches[0].BrandsKg})
}

// TestStartBringsBackTheHotDrum: after STOP and START the messages of a drum
// that is alight or sealed come again.
func TestStartBringsBackTheHotDrum(t *testing.T) {
	for _, stage := range []string{"lit", "sealed"} {
		p := known(t)
		p.says("cobs 1 drum dry")
		p.says("lit")
		if stage == "sealed" {
			p.says("covered")
		}
		timers := p.state.Timers
		p.says("stop")
		require.Empty(t, p.state.Timers)
		p.says("start")
		require.ElementsMatch(t, timers, p.state.Timers, stage)
	}
}

// TestC15OilOnABurnIsNoDrum: what is put on a burn is not taken for what a drum
// held, while first aid goes on.
func TestC15OilOnABurnIsNoDrum(t *testing.T) {
	for lang, texts := range map[locales.Lang][2]string{
		"en": {"my hand is burned", "i put oil on it"},
		"sw": {"nimeungua mkono", "nimpake dawa ya meno?"},
	} {
		p := speaks(t, lang)
		require.Equal(t, []string{"aid.go-on"}, keys(p.lasts(texts[:]...)), texts[1])
	}
}

// TestALeakTeachesNoCoveringTime: after a leak the sealing time says nothing of
// how long the drum burned.
func TestALeakTeachesNoCoveringTime(t *testing.T) {
	p := sealed(t)
	p.now = p.now.Add(time.Hour)
	p.says("leak")
	p.now = p.now.Add(30 * time.Hour)
	p.lasts("opened", "cold", "weighed 6 kg")
	require.Len(t, p.state.Batches, 1)
	require.Zero(t, p.state.Batches[0].Minutes)
}

// TestWasteBesideAnotherTopic: a text that names waste after a paste asks for
// the load of a drum, not for paste for so many kilograms.
func TestWasteBesideAnotherTopic(t *testing.T) {
	p := speaks(t, "en")
	p.says("9 kg charcoal and cassava flour")
	require.Contains(t, keys(p.says("2 sacks of 50 kg cobs dry")), "recipe.load")
	p.says("9 kg charcoal")
	require.Contains(t, all(p.says("cassava")), "Which starch is it?", "a word for waste and for starch answers the open question")
}

// TestC8AnOilDrumStaysUnlit: who chose a language after the recipe for a drum
// that held fuel is not told to light it.
func TestC8AnOilDrumStaysUnlit(t *testing.T) {
	p := newPhone(t)
	p.says("cobs 1 drum dry, the drum had diesel")
	require.Equal(t, []string{"recipe.drum-oil"}, keys(p.says("1")))
}

// TestTiesHaveNames: each meaning of a word of two meanings is named.
func TestTiesHaveNames(t *testing.T) {
	for text, choices := range map[string][]string{
		"press balls with a hole":         {"as balls", "with a hole"},
		"drying big ones with a hole":     {"8 cm thick", "with a hole"},
		"they crack and split":            {"they crack", "they split in layers"},
		"10 kg charcoal, bananas":         {"green banana peel", "green banana"},
		"cobs 1 drum, it had oil or acid": {"oil or fuel", "poison, chemicals"},
	} {
		require.ElementsMatch(t, choices, speaks(t, "en").says(text).Replies[0].Choices, text)
	}
	p := speaks(t, "en")
	require.Contains(t, all(p.says("200 kg briquettes by friday or saturday, cobs")), "by Friday 6/3")
}

// TestC6BothDrums: two drums lit or covered by one text have a clock each.
func TestC6BothDrums(t *testing.T) {
	for _, row := range []struct {
		lang         locales.Lang
		lit, covered string
	}{
		{"en", "lit both", "covered both"},
		{"en", "we lit them both", "both covered"},
		{"en", "lit 2 drums", "covered both drums"},
		{"sw", "nimewasha mapipa mawili", "nimefunika yote mawili"},
		{"sw", "nimewasha mapipa 2", "nimefunika yote"},
		{"sw", "nimewasha yote", "nimefunika zote mbili"},
	} {
		p := speaks(t, row.lang)
		p.says(map[locales.Lang]string{"en": "cobs 2 drums dry", "sw": "magunzi pipa 2 makavu"}[row.lang])
		p.says(row.lit)
		require.Equal(t, []string{"A", "B"}, []string{p.state.Drums[0].Name, p.state.Drums[1].Name}, row.lit)
		p.now = p.now.Add(30 * time.Minute)
		p.says(row.covered)
		for _, d := range p.state.Drums {
			require.Equal(t, "sealed", d.Stage, row.covered)
		}
		before := drums(p.state)
		require.Equal(t, before, drums(p.says(map[locales.Lang]string{"en": "opened both?", "sw": "nifungue yote"}[row.lang]).State))
		turn := p.says(map[locales.Lang]string{"en": "not both covered", "sw": "si yote nimefunika"}[row.lang])
		require.Equal(t, before, drums(turn.State), "doubt moves nothing")
	}
	p := speaks(t, "sw")
	p.says("magunzi pipa 2 makavu")
	p.says("nimewasha pipa 1")
	p.says("nimewasha pipa 2")
	require.Equal(t, []string{"1", "2"}, []string{p.state.Drums[0].Name, p.state.Drums[1].Name}, "drums with numbers for names")
}

// TestC21AQuestionAboutANamedDrum: a drum's name is not taken for a slip of
// another word.
func TestC21AQuestionAboutANamedDrum(t *testing.T) {
	p := known(t)
	p.lasts("lit drum asha", "covered drum asha")
	for _, text := range []string{"is asha's drum cold", "is asha cold", "asha is cold now", "asha: is it cold"} {
		before := drums(p.state)
		turn := p.says(text)
		require.Contains(t, keys(turn), "burn.not-before", text)
		require.Equal(t, before, drums(turn.State), text)
	}
}

// TestALittleIsNoSmoke: a word that may be of anything is no answer about smoke,
// unless it is all of the text.
func TestALittleIsNoSmoke(t *testing.T) {
	p := sealed(t)
	p.state.Lang, p.state.Drums[0].Stage = "sw", "lit"
	require.NotContains(t, keys(p.says("nina chakula kidogo")), "burn.cover-now")
	require.Contains(t, keys(p.says("moshi kidogo")), "burn.cover-now")
	require.Contains(t, keys(p.says("kidogo")), "burn.cover-now")
}

// TestC8OnlyADrumsPastIsOne: a text that only holds a word for what a drum may
// have held is no answer to what it held.
func TestC8OnlyADrumsPastIsOne(t *testing.T) {
	for _, row := range []struct {
		lang locales.Lang
		text string
		past string
	}{
		{"en", "too much water", ""},
		{"en", "i am new", ""},
		{"en", "i drink water now", ""},
		{"en", "food is ready", ""},
		{"en", "water", "food"},
		{"en", "it is new", "new"},
		{"en", "it had cooking oil", "food"},
		{"en", "i got a new drum", "new"},
		{"en", "food drum", "food"},
		{"en", "i dont know what was in the drum", "unknown"},
		{"sw", "sina unga", ""},
		{"sw", "maji mengi sana hapa", ""},
		{"sw", "chakula", "food"},
		{"sw", "lilikuwa na asali", "food"},
		{"sw", "nimepata pipa jipya", "new"},
	} {
		p := speaks(t, row.lang)
		p.state.DrumPast = ""
		p.says(map[locales.Lang]string{"en": "cobs 1 drum dry", "sw": "magunzi pipa 1 makavu"}[row.lang])
		p.says(row.text)
		require.Equal(t, row.past, p.state.DrumPast, row.text)
	}
}

// TestTheMorningAfter: the answer to "How is the hurt person?" is no failure.
func TestTheMorningAfter(t *testing.T) {
	for lang, texts := range map[locales.Lang][2]string{
		"en": {"my hand is burned", "she is better now thank you"},
		"sw": {"nimeungua mkono", "amepata nafuu asante"},
	} {
		p := speaks(t, lang)
		p.says(texts[0])
		p.until(p.now.Add(25*time.Hour), nil)
		require.Equal(t, []string{"line.kind"}, keys(p.says(texts[1])))
	}
}

// TestC15ADutyPhoneAsksBack: what a duty phone texts and the line does not
// understand brings the emergency again, not a menu.
func TestC15ADutyPhoneAsksBack(t *testing.T) {
	p := known(t)
	p.step(dialog.Alerted{Alert: dialog.Alert{ID: "x", Kind: "burn", Place: "home", At: p.now, Number: "+254700000001"}})
	turn := p.says("tell me what happened")
	require.Equal(t, []string{"duty.alert"}, keys(turn))
	require.Contains(t, all(turn), "+254700000001")
	p.says("seen")
	require.Contains(t, keys(p.says("who is that then")), "line.menu")
}

// TestFridayWeek: the day an order is judged by is that of the words, and named.
func TestFridayWeek(t *testing.T) {
	for text, day := range map[string]string{
		"by friday": "Friday 6/3", "by friday week": "Friday 13/3", "by friday next week": "Friday 13/3",
		"in 2 weeks": "Monday 16/3", "by wednesday": "Wednesday 4/3",
	} {
		p := speaks(t, "en")
		require.Contains(t, all(p.says("200 kg briquettes "+text+", cobs, 2 drums")), "by "+day+":", text)
	}
}

// TestEnoughStarch: starch that a scale cannot tell from what is needed is
// enough.
func TestEnoughStarch(t *testing.T) {
	p := speaks(t, "en")
	turn := p.says("6 kg charcoal and 2 kg cassava root")
	require.Contains(t, keys(turn), "binder.root")
	require.Contains(t, all(turn), "For 6 kg charcoal: 2 kg cassava root")
	require.Equal(t, []string{"ask.short"}, keys(p.says("9 kg charcoal and 2 kg cassava root")))
}

// TestLanguageByTheMenu: the last topic of the menu offers the languages.
func TestLanguageByTheMenu(t *testing.T) {
	p := speaks(t, "en")
	turn := p.lasts("MENU", "8", "8", "8", "1")
	require.Equal(t, []string{"English", "Francais", "Kiswahili"}, turn.Replies[0].Choices)
	require.Contains(t, keys(p.says("3")), "line.menu")
	require.EqualValues(t, "sw", p.state.Lang)
}

// TestC6TheSeventhDrumHasNoLetter: a LIT without a name while six drums are hot
// moves none of them.
func TestC6TheSeventhDrumHasNoLetter(t *testing.T) {
	p := known(t)
	for _, name := range []string{"A", "B", "C", "D", "E", "F"} {
		p.says("lit " + name)
	}
	before := drums(p.state)
	turn := p.says("lit")
	require.Equal(t, []string{"burn.full"}, keys(turn))
	require.Equal(t, before, drums(turn.State))
}

// TestAnotherPlaceIsNoPlaceOfOurs: who works where the line knows no place is
// not told to be in one.
func TestAnotherPlaceIsNoPlaceOfOurs(t *testing.T) {
	p := speaks(t, "en")
	p.others = []string{"Mlimani"}
	turn := p.lasts("my place", "3", "no", "yes")
	require.Equal(t, []string{"enrol.done", "enrol.other"}, keys(turn))
	require.NotContains(t, all(turn), "Kisimani")
}
