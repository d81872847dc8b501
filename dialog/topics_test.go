package dialog_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/calc"
	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// speaks returns a phone of a person who chose a language, in a fair week.
func speaks(t testing.TB, l locales.Lang) *phone {
	p := newPhone(t)
	p.state.Lang, p.state.Chosen, p.state.Met, p.state.DrumPast = l, true, true, "food"
	p.switchOn(l)
	p.forecast("fair")
	p.place.Currency = "KSh"
	return p
}

// lasts plays texts and returns the last turn.
func (p *phone) lasts(texts ...string) dialog.Turn {
	var turn dialog.Turn
	for _, text := range texts {
		turn = p.says(text)
	}
	return turn
}

// menuDigits are the keys that lead to the nth topic of the menu.
func menuDigits(n int) []string {
	out := []string{"0"}
	for range n / 5 {
		out = append(out, "8")
	}
	return append(out, string(rune('1'+n%5)))
}

// journeys lead through every topic: what its answer says of how to change it and
// of the next step. The words that open it and the answers to its questions stand
// in the languages' files.
var journeys = []struct {
	topic        string
	change, next locales.ID
}{
	{"recipe", "drum.no-cutting", "recipe.light"},
	{"burn", "", ""},
	{"binder", "change.binder", "next.binder"},
	{"pressing", "", "next.pressing"},
	{"drying", "change.drying", "next.drying"},
	{"waste-drying", "change.waste-drying", "test.stalk"},
	{"plan", "plan.change", "next.plan"},
	{"price", "", "next.price"},
	{"fix", "change.fix", "next.fix"},
	{"check", "", "next.check"},
	{"batches", "", "next.batches"},
	{"weather", "change.place", "next.weather"},
	{"safety", "", ""},
	{"ask", "", "next.ask"},
	{"enrol", "", "next.enrol"},
	{"language", "", "line.menu"},
}

// journey returns a phone with a record and the texts of a journey.
func journey(t testing.TB, l locales.Lang, i int) (*phone, []string) {
	p := speaks(t, l)
	p.state.Batches = []dialog.Batch{{At: p.now, Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 4, Minutes: 30}}
	return p, languages(t)[l].Journey[journeys[i].topic]
}

// TestEveryTopicThreeWays opens each topic by its words, by the digits of the
// menu, and by the keys of a session: all three come to the same question or
// answer, and MENU leads out.
func TestEveryTopicThreeWays(t *testing.T) {
	topics := dialog.Keys()["topics"]
	require.Len(t, journeys, len(topics))
	for i, topic := range topics {
		require.Equal(t, topic, journeys[i].topic)
		for l, words := range languages(t) {
			require.Len(t, words.Journey, len(topics), l)
			p, texts := journey(t, l, i)
			require.NotEmpty(t, texts, "%s %s", l, topic)
			byWords := p.says(texts[0])
			require.NotContains(t, keys(byWords), "line.unknown", topic)
			byMenu, _ := journey(t, l, i)
			require.Equal(t, keys(byWords), keys(byMenu.lasts(menuDigits(i)...)), "%s %s by the menu", l, topic)
			byKeys, _ := journey(t, l, i)
			var turn dialog.Turn
			for _, key := range menuDigits(i) {
				turn = byKeys.step(dialog.Said{Text: key, Via: dialog.USSD})
			}
			require.ElementsMatch(t, keys(byWords), keys(turn), "%s %s by keys", l, topic)
			require.Contains(t, keys(p.says("MENU")), "line.menu", topic)
		}
	}
}

// TestEveryTopicSaysHowToGoOn: an answer says how to change what it assumed, and
// its last words are the one next step.
func TestEveryTopicSaysHowToGoOn(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for i, j := range journeys {
		for l := range languages(t) {
			p, texts := journey(t, l, i)
			turn := p.lasts(texts...)
			if j.change != "" {
				require.Contains(t, all(turn), catalog.Text(l, j.change, nil), "%s %s", l, j.topic)
			}
			last := turn.Replies[len(turn.Replies)-1]
			if last.Key != string(j.next) && j.next != "" {
				require.True(t, strings.HasSuffix(last.Text, catalog.Text(l, j.next, nil)), "%s %s: %s", l, j.topic, last.Text)
			}
		}
	}
}

// TestASessionEndsWhenNothingIsAsked: the last screen of an answer ends the
// session, a question never does.
func TestASessionEndsWhenNothingIsAsked(t *testing.T) {
	ended := 0
	for i, j := range journeys {
		p, texts := journey(t, "en", i)
		for _, text := range texts {
			turn := p.step(dialog.Said{Text: text, Via: dialog.USSD})
			f := turn.State.Frames
			asked := len(f) > 0 && f[len(f)-1].Open != ""
			last := turn.Replies[len(turn.Replies)-1]
			require.Equal(t, !asked, last.End, "%s after %s", j.topic, text)
			require.False(t, last.End && len(last.Choices) > 0, "%s after %s", j.topic, text)
			if last.End {
				ended++
			}
		}
	}
	require.GreaterOrEqual(t, ended, len(journeys)-2)
}

// TestWhyAndMoreEverywhere: on every question of every topic and after every
// answer, and at every step of a burn, WHY gives a reason of its own and MORE
// says more, the reason, or the next step; an open question is asked again.
func TestWhyAndMoreEverywhere(t *testing.T) {
	ask := func(p *phone, about string) {
		state := p.state
		f := state.Frames
		open := len(f) > 0 && f[len(f)-1].Open != "" && f[len(f)-1].Topic != "lobby"
		for _, word := range []string{"WHY", "MORE"} {
			p.state = state
			turn := p.says(word)
			key := turn.Replies[0].Key
			require.NotEqual(t, "line.unknown", key, about)
			require.NotContains(t, turn.Replies[0].Text, "understand", about)
			if word == "WHY" {
				require.True(t, strings.HasPrefix(key, "why."), "%s: %s", about, key)
				require.NotEqual(t, "why.menu", key, about)
			}
			if open {
				require.Equal(t, f[len(f)-1].Open, p.state.Frames[len(p.state.Frames)-1].Open, about)
			}
		}
		p.state = state
	}
	for i, j := range journeys {
		p, texts := journey(t, "en", i)
		for n, text := range texts {
			if p.says(text); j.topic != "language" || n == 0 {
				ask(p, j.topic+" after "+text)
			}
		}
	}
	p := speaks(t, "en")
	for n, text := range []string{
		"cobs 1 drum dry", "LIT", "+25m", "1", "+20m", "COVERED", "open?", "i have half covered", "2", "rain", "STOP", "START", "FORGET ME", "no", "HURT", "BACK",
		"+24h", "OPENED", "1", "weighed 9 kg", "9 kg charcoal, 2 kg cassava root", "3", "300 sacks of cobs", "charcoal 1.500 kg", "2", "maize 1 drum", "1", "rice husk", "3", "CALL",
	} {
		if ahead, ok := strings.CutPrefix(text, "+"); ok {
			d, err := time.ParseDuration(ahead)
			require.NoError(t, err)
			p.until(p.now.Add(d), nil)
		} else {
			p.says(text)
		}
		ask(p, fmt.Sprint("step ", n, " of a burn, ", text))
	}
}

// TestTopicsCarryTheirCaution: the message of a stage never comes without the
// caution of that stage.
func TestTopicsCarryTheirCaution(t *testing.T) {
	for _, row := range []struct {
		texts   []string
		caution string
	}{
		{[]string{"press 12 kg"}, "caution.pressing"},
		{[]string{"press"}, "caution.pressing"},
		{[]string{"drying"}, "caution.drying"},
		{[]string{"drying", "10 days"}, "caution.storing"},
		{[]string{"9 kg charcoal cassava flour"}, "caution.crushing"},
		{[]string{"9 kg charcoal cassava flour"}, "caution.paste"},
		{[]string{"9 kg charcoal", "2 kg cassava root", "2"}, "caution.paste"},
		{[]string{"price", "60", "90"}, "caution.buyers"},
		{[]string{"check", "1", "1", "1"}, "caution.buyers"},
		{[]string{"check", "4", "4", "4"}, "caution.drying"}, // white fluff inside
		{[]string{"plan 50 kg cobs"}, "caution.drum"},
		{[]string{"the sack is hot"}, "caution.storing"},
		{[]string{"my briquettes are mouldy", "1"}, "caution.drying"},
	} {
		p := speaks(t, "en")
		require.Contains(t, keys(p.lasts(row.texts...)), row.caution, row.texts)
	}
}

// TestRainAndWindInTheForecast: strong wind is no day to light, and rain on a
// live drum brings the line about warm charcoal.
func TestRainAndWindInTheForecast(t *testing.T) {
	p := speaks(t, "en")
	p.forecast("wind")
	require.Contains(t, keys(p.says("weather")), "weather.no-light")
	p.forecast("rain")
	require.NotContains(t, keys(p.says("weather")), "burn.rain")
	p.says("LIT")
	require.Contains(t, keys(p.says("weather")), "burn.rain")
}

// TestDryingGoesByTheWeather: rain never dries faster, a bigger piece never
// before a smaller, and the recipe says the same days as the rack.
func TestDryingGoesByTheWeather(t *testing.T) {
	days := func(sky, text string) string {
		p := speaks(t, "en")
		p.forecast(sky)
		_, after, ok := strings.Cut(all(p.says(text)), "dry in ")
		require.True(t, ok, text)
		before, _, _ := strings.Cut(after, ".")
		return before
	}
	require.Equal(t, "4 to 6 days", days("fair", "drying"))
	require.Equal(t, "5 to 7 days", days("rain", "drying"))
	require.Equal(t, "8 to 11 days", days("fair", "drying big ones"))
	p := speaks(t, "en")
	require.Contains(t, all(p.says("cobs 1 drum dry")), "4 to 6 days to dry")
}

// TestWetWasteIsNeverPromisedEarly: the first day said is the likely one, and
// what is not said to be dry is wet.
func TestWetWasteIsNeverPromisedEarly(t *testing.T) {
	p := speaks(t, "en")
	r, err := calc.DryOut(calc.DryInput{
		Forecast: p.place.Forecast, Waste: calc.MaizeCob, Layer: 0.10, Moisture: calc.Wet.Moisture(), Start: p.now,
	})
	require.NoError(t, err)
	require.Less(t, r.Days.Low, r.Days.Likely)
	text := all(p.says("how to dry cobs"))
	require.Contains(t, text, "To dry wet maize cobs takes 4 to 6 days.")
	require.Equal(t, 4.0, float64(int(r.Days.Likely+0.999)))
}

// TestTheRecordTeaches: a producer who gets less than others is told less, and
// the advice says which way to move and how sure it is.
func TestTheRecordTeaches(t *testing.T) {
	p := speaks(t, "en")
	others := all(p.says("cobs 1 drum dry"))
	require.Contains(t, others, "Get 4.5 to 9 kg charcoal")
	for range 3 {
		p.state.Batches = append(p.state.Batches, dialog.Batch{
			At: p.now, Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 4, Moisture: 0.12, Minutes: 55, Ash: "white",
		})
	}
	require.Contains(t, all(p.says("cobs 1 drum dry")), "Get 3.5 to 6.5 kg charcoal")
	turn := p.says("my batches")
	require.Equal(t, []string{"record.list", "record.yield", "advice.too-late"}, keys(turn))
	require.Contains(t, turn.Replies[2].Text, "I am quite sure: you cover too late")
	p.state.Batches = append(p.state.Batches, dialog.Batch{ // on the phone of a group, each named drum learns apart
		At: p.now, Name: "simba", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 9, Moisture: 0.12, Minutes: 30, Ash: "black",
	})
	require.Contains(t, all(p.says("my batches")), "2/3 drum simba 9 kg maize cobs.\nFrom a full drum of maize cobs you get 5 to 10")
	p.state.Batches = []dialog.Batch{{At: p.now, Waste: "maize-cob", Drums: 1, CharKg: 7}}
	require.Equal(t, []string{"record.list", "advice.unsure"}, keys(p.says("my batches")))
}

// TestQuestionsReachOfficers: a question goes to the officers word for word; an
// emergency in its place does not.
func TestQuestionsReachOfficers(t *testing.T) {
	p := speaks(t, "en")
	turn := p.lasts("ask", "Can I use banana leaves?")
	require.Equal(t, []dialog.Effect{dialog.Question{Text: "Can I use banana leaves?"}}, turn.Effects)
	require.NotEmpty(t, p.state.Timers)
	p.step(dialog.Answered{Text: "Yes, if they are dry."})
	require.Empty(t, p.state.Timers)
	turn = p.lasts("ask", "my child is burned")
	require.Equal(t, "a", turn.Heard.Tier)
	require.NotContains(t, turn.Effects, dialog.Question{Text: "my child is burned"})
}

// TestEnrolKeepsConsent: place, group and consent are kept as they were said;
// who says no gets answers only.
func TestEnrolKeepsConsent(t *testing.T) {
	p := speaks(t, "en")
	second := p.place
	second.Key, second.Name = "hill", "Upper Kisimani"
	w := p.world()
	w.Facts.Places["hill"] = second
	p.state.Stopped = true
	for _, text := range []string{"i want to join", "Upper Kisimani", "Umoja", "yes"} {
		p.state = p.e.Step(p.state, dialog.Said{Text: text, Via: dialog.SMS}, w).State
	}
	require.Equal(t, "hill", p.state.Place)
	require.Equal(t, dialog.Profile{Lang: "en", Place: "hill", Group: "Umoja", Consent: "text-yes"}, p.state.Profile)
	require.False(t, p.state.Stopped)
	p.state.Stopped = true
	require.Contains(t, keys(p.lasts("i want to join", "no", "no")), "enrol.quiet")
	require.True(t, p.state.Stopped)
	require.Equal(t, "text-no", p.state.Profile.Consent)
}

// TestPlansSayWhatIsShort: a date that cannot be met says how much is ready by
// then and what would do.
func TestPlansSayWhatIsShort(t *testing.T) {
	p := speaks(t, "en")
	late := all(p.says("plan 100 kg in 14 days, cobs, 1 drum, 2 people"))
	require.Contains(t, late, "Not all is ready by Monday 16/3: by then 5")
	require.Contains(t, late, "With 2 drums it can.")
	require.Contains(t, all(p.says("3 drums, 4 people")), "They are ready by Monday 16/3.")
}

// TestStarchInHand: a part well, or all of it weaker, never a mix that crumbles.
func TestStarchInHand(t *testing.T) {
	p := speaks(t, "en")
	turn := p.says("9 kg charcoal, 2 kg cassava root")
	require.Equal(t, []string{"bind 6 kg well, the rest later", "bind all, a bit weaker", "I get more starch"}, turn.Replies[0].Choices)
	require.Contains(t, all(p.says("1")), "For 6 kg charcoal: 2 kg cassava root")
	turn = p.says("9 kg charcoal, 0.5 kg cassava root")
	require.Equal(t, []string{"bind 1.5 kg well, the rest later", "I get more starch"}, turn.Replies[0].Choices)
	require.Contains(t, all(p.says("aloe")), "Nobody has shown how much aloe juice holds briquettes.")
}

// trade are texts about everything after the burn.
var trade = []string{
	"press 12 kg", "press", "balls", "3 people", "drying", "2 days", "big ones", "weather", "how to dry cobs", "rice straw", "wet", "dry",
	"plan 50 kg", "in 10 days", "by friday", "2 drums", "price", "60", "90", "0", "check", "my briquettes crumble", "they crack", "mould", "the sack is hot",
	"my batches", "ask", "why not?", "join", "i want to join", "Umoja", "yes", "no", "9 kg charcoal", "2 kg cassava root", "aloe", "molasses", "clay",
	"1", "2", "3", "4", "5", "7", "8", "9", "MENU", "BACK", "MORE", "WHY", "LIT", "COVERED", "OPENED", "weighed 9 kg 1 kg", "cobs 2 drums dry",
	"kandamiza kilo 12", "kukausha", "hali ya hewa", "mpango", "bei", "ubora", "tatizo", "batchi zangu", "swali", "nataka kujiunga", "duara", "ukungu",
}

// TestBackFromAWithdrawnTie: going back from a tie whose question was withdrawn
// asks what is open below it.
func TestBackFromAWithdrawnTie(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	e, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	p := speaks(t, "sw")
	w, s := p.world(), p.state
	missed := catalog.Misses()
	for _, text := range []string{"2 kg cassava root", "wet", "BACK"} {
		turn := e.Step(s, dialog.Said{Text: text, Via: dialog.SMS}, w)
		require.NotEmpty(t, turn.Replies)
		require.Equal(t, missed, catalog.Misses(), text)
		s = turn.State
	}
}

// TestTradeInAnyOrder: whatever is asked after whatever, a turn has one to three
// messages of at most two segments, three for a list, and no message lacks a
// word.
func TestTradeInAnyOrder(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	e, err := dialog.New(catalog, dialog.Options{})
	require.NoError(t, err)
	phones, texts := map[locales.Lang]*phone{}, map[locales.Lang][]string{}
	for l, words := range languages(t) {
		phones[l], texts[l] = speaks(t, l), slices.Concat(words.Search.Texts, trade)
	}
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.SampledFrom(slices.Sorted(maps.Keys(phones))).Draw(t, "lang")
		p := phones[l]
		w, s := p.world(), p.state
		for range rapid.IntRange(1, 15).Draw(t, "texts") {
			w.Now = w.Now.Add(time.Duration(rapid.IntRange(0, 600).Draw(t, "minutes")) * time.Minute)
			missed := catalog.Misses()
			turn := e.Step(s, dialog.Said{Text: rapid.SampledFrom(texts[l]).Draw(t, "text"), Via: dialog.SMS}, w)
			require.Equal(t, missed, catalog.Misses())
			require.NotEmpty(t, turn.Replies)
			require.LessOrEqual(t, len(turn.Replies), 3)
			for _, r := range turn.Replies {
				most := 2
				if len(r.Choices) > 0 {
					most = 3
				}
				require.LessOrEqual(t, len(sms.Split(sms.Plain(r.Plain(), locales.Substitutions(l))).Segments), most*wideness(l, 3), r.Plain())
			}
			s = turn.State
		}
	})
}
