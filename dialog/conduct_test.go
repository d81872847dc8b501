package dialog_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/calc"
	"cobline/dialog"
	"cobline/locales"
)

// all joins the texts of a turn.
func all(turn dialog.Turn) string {
	var texts []string
	for _, r := range turn.Replies {
		texts = append(texts, r.Plain())
	}
	return strings.Join(texts, "\n")
}

// keys returns the keys of a turn's replies.
func keys(turn dialog.Turn) []string {
	var out []string
	for _, r := range turn.Replies {
		out = append(out, r.Key)
	}
	return out
}

// known returns a phone whose person has been met and speaks English.
func known(t testing.TB) *phone {
	p := newPhone(t)
	p.state.Met, p.state.Lang, p.state.Chosen = true, "en", true
	return p
}

// sealed returns a phone with drum A sealed at half past nine on a Monday.
func sealed(t testing.TB) *phone {
	p := known(t)
	p.says("cobs 1 drum snaps")
	p.says("1")
	p.says("LIT")
	p.now = p.now.Add(30 * time.Minute)
	p.says("COVERED")
	return p
}

// drums is what the state knows of drums, in a form to compare.
func drums(s dialog.State) string { return string(dialog.State{Drums: s.Drums}.Encode()) }

// TestC1OneClockForOpening: what is said is the binding wait with a day and a
// clock time; the cold test never stands without it; the two hours of
// carbonisation are never said.
func TestC1OneClockForOpening(t *testing.T) {
	p := known(t)
	p.says("cobs 1 drum snaps")
	p.says("1")
	p.says("LIT")
	p.now = p.now.Add(30 * time.Minute)
	covered := p.says("COVERED")
	require.Contains(t, all(covered), "Do not open before Tuesday 07:45, even if it feels cold")
	for _, text := range []string{"can i open", "open?", "is it cold", "ready?", "how long"} {
		turn := p.says(text)
		require.Contains(t, all(turn), "Tuesday 07:45", text)
		require.Contains(t, all(turn), "even if", text)
	}
	cold := 0
	p.until(time.Date(2026, 3, 3, 7, 50, 0, 0, p.place.Zone), func(turn dialog.Turn) {
		for _, r := range turn.Replies {
			require.NotContains(t, r.Text, "2 hours")
			if strings.Contains(r.Text, "cold all over") {
				cold++
				require.Contains(t, r.Text, "from Tuesday 07:45, not before")
			}
		}
	})
	require.Positive(t, cold)
	want := p.mayOpenAt(p.state.Drums[0].SealedAt, 12)
	require.True(t, want.Equal(p.state.Drums[0].NotBefore), "calc says %s", want)
}

// mayOpenAt is what calc says of opening at the test's place, rounded up to five
// minutes.
func (p *phone) mayOpenAt(sealed time.Time, wait calc.Hours) time.Time {
	at, err := calc.NotBefore(sealed.In(p.place.Zone), wait, p.place.Lat, p.place.Lon)
	require.NoError(p.t, err)
	return at.Add(5*time.Minute - time.Nanosecond).Truncate(5 * time.Minute)
}

// TestC1TheWaitGoesByTheWaste: 12 hours for coarse waste, 24 for all other and
// for an unknown one.
func TestC1TheWaitGoesByTheWaste(t *testing.T) {
	for _, tc := range []struct {
		waste string
		hours float64
	}{{"cobs", 12}, {"bamboo", 12}, {"groundnut shell", 24}, {"coconut shell", 24}, {"", 24}} {
		p := known(t)
		if tc.waste != "" {
			p.says(tc.waste + " 1 drum dry")
		}
		p.says("LIT")
		p.says("COVERED")
		d := p.state.Drums[0]
		require.GreaterOrEqual(t, d.NotBefore.Sub(d.SealedAt).Hours(), tc.hours, tc.waste)
		require.Less(t, d.NotBefore.Sub(d.SealedAt).Hours(), tc.hours+14, tc.waste)
	}
}

// TestC2AQuestionIsNotAReport tries, in every language, questions and reports that
// sound alike, at every stage of a drum: the question never moves it.
func TestC2AQuestionIsNotAReport(t *testing.T) {
	for l, words := range languages(t) {
		require.GreaterOrEqual(t, len(words.Reports.Pairs), 14, l)
		for _, pair := range words.Reports.Pairs {
			report, question := pair[0], pair[1]
			for _, stage := range []string{"", "lit", "sealed", "opened"} {
				p := sealed(t)
				p.switchOn(l)
				p.state.Lang, p.state.Frames = l, nil
				p.now = time.Date(2026, 3, 3, 9, 0, 0, 0, p.place.Zone)
				switch stage {
				case "":
					p.state.Drums = nil
				default:
					p.state.Drums[0].Stage = stage
				}
				before := drums(p.state)
				turn := p.says(question)
				require.Equal(t, before, drums(turn.State), "%s: %q moved a drum that was %q", l, question, stage)
				require.True(t, turn.Heard.Understood, "%s: %q", l, question)
				require.NotContains(t, keys(turn), "burn.spread")
				if stage == "sealed" && turn.Heard.Report == "opened?" {
					p := sealed(t)
					p.switchOn(l)
					p.state.Lang = l
					turn := p.says(question)
					require.Contains(t, all(turn), "07:45", "%s: %q", l, question)
					require.Contains(t, keys(turn), "burn.not-before", "%s: %q", l, question)
					require.Contains(t, keys(turn), "caution.opening", "%s: %q", l, question)
				}
			}
			p := known(t)
			p.switchOn(l)
			p.state.Lang = l
			turn := p.says(report)
			require.NotContains(t, turn.Heard.Report, "?", "%s: %q is a report", l, report)
			require.NotEmpty(t, turn.Heard.Report, "%s: %q is a report", l, report)
			if turn.Heard.Report != "opened" { // which is asked about first: the line knows of no burn yet
				require.NotEmpty(t, turn.State.Drums, "%s: %q moves a drum", l, report)
			}
		}
	}
}

// TestC2NoReport: a negation, a future, a condition with a word of a report in it
// leaves a sealed drum where it is, in every language.
func TestC2NoReport(t *testing.T) {
	for l, words := range languages(t) {
		require.GreaterOrEqual(t, len(words.Reports.Unmoved), 6, l)
		for _, text := range words.Reports.Unmoved {
			p := sealed(t)
			p.switchOn(l)
			p.state.Lang = l
			before := drums(p.state)
			if drums(p.says(text).State) != before {
				t.Errorf("%s: %q moved a sealed drum", l, text)
			}
		}
	}
}

// TestC2DoubtAsks: a report with something unclear about it is asked about, and
// moves nothing until it is answered with "done".
func TestC2DoubtAsks(t *testing.T) {
	for _, text := range []string{"not opened", "opened maybe tomorrow", "my brother opened something", "almost opened", "half opened", "if i opened it"} {
		p := sealed(t)
		before := drums(p.state)
		turn := p.says(text)
		require.Equal(t, before, drums(turn.State), text)
		require.Contains(t, all(turn), "1 I am asking\n2 it is done", text)
		turn = p.says("1")
		require.Equal(t, before, drums(turn.State), text)
		require.Contains(t, all(turn), "Tuesday 07:45")
	}
	p := sealed(t)
	p.says("not opened")
	turn := p.says("2")
	require.Contains(t, all(turn), "Too early!")
}

// TestC2ReportsAreNeverGuessed: a slip of one letter is no report.
func TestC2ReportsAreNeverGuessed(t *testing.T) {
	p := sealed(t)
	for _, text := range []string{"opemed it", "opemed", "oppend the bag", "coverred bag", "litt le"} {
		before := drums(p.state)
		require.Equal(t, before, drums(p.says(text).State), text)
	}
}

// TestC3BothDrums: with one drum sealed and one alight, rain, wind and the dark
// are answered for both.
func TestC3BothDrums(t *testing.T) {
	p := sealed(t)
	p.says("LIT B")
	require.Equal(t, []string{"burn.rain", "burn.wait", "burn.rain-lit"}, keys(p.says("rain")))
	require.Equal(t, []string{"burn.wind-sealed", "burn.wind-lit"}, keys(p.says("strong wind")))
	p.now = time.Date(2026, 3, 2, 20, 0, 0, 0, p.place.Zone)
	require.Equal(t, []string{"burn.rain", "burn.wait", "burn.dark"}, keys(p.says("rain")))
	require.Equal(t, []string{"burn.wait", "burn.dark"}, keys(p.says("strong wind")))
	require.Equal(t, []string{"burn.wait", "burn.dark"}, keys(p.says("it is dark")))
}

// TestC3RainAndWind: understood at every stage; the drum stays where it is and
// the wait stays as long.
func TestC3RainAndWind(t *testing.T) {
	for _, stage := range []string{"", "lit", "sealed", "opened"} {
		p := sealed(t)
		p.state.Frames = nil
		if stage == "" {
			p.state.Drums = nil
		} else {
			p.state.Drums[0].Stage = stage
		}
		before := drums(p.state)
		for _, text := range []string{"it is raining", "rain", "rain?"} {
			turn := p.says(text)
			require.Contains(t, all(turn), "leave the drum where it is, lid and soil on", text)
			require.Contains(t, all(turn), "Never bring warm charcoal into a house or shed")
			require.Equal(t, before, drums(turn.State))
		}
		turn := p.says("strong wind")
		require.Contains(t, all(turn), "Strong wind")
		require.Equal(t, before, drums(turn.State))
	}
}

// TestC4NothingInTheDark: opening is announced in daylight only, and a late
// lighting is met with "too late".
func TestC4NothingInTheDark(t *testing.T) {
	announced := 0
	for hour := range 24 {
		p := known(t)
		p.now = time.Date(2026, 3, 2, hour, 10, 0, 0, p.place.Zone)
		p.says("cobs 1 drum dry")
		p.says("LIT")
		p.says("COVERED")
		p.until(p.now.Add(40*time.Hour), func(turn dialog.Turn) {
			for _, r := range turn.Replies {
				if r.Key == "burn.may-open" {
					announced++
					sun, err := calc.SunTimes(p.place.Lat, p.place.Lon, p.now)
					require.NoError(t, err)
					require.True(t, p.now.After(sun.Rise.Add(50*time.Minute)) && p.now.Before(sun.Set), "opening announced at %s", p.now)
				}
			}
		})
	}
	require.Equal(t, 24, announced)
	p := known(t)
	p.now = time.Date(2026, 3, 2, 17, 30, 0, 0, p.place.Zone)
	require.Contains(t, all(p.says("cobs 1 drum dry")), "Light tomorrow, too late now")
	require.Contains(t, all(p.says("LIT")), "too late for today. Cover before dark")
	p = known(t)
	p.now = time.Date(2026, 3, 2, 20, 0, 0, 0, p.place.Zone)
	require.Contains(t, all(p.says("LIT")), "it is dark. Do not work at it now")
	require.NotContains(t, all(p.says("thin smoke")), "cover it now")
}

// TestC5ResealingStartsTheWaitAgain: an early opening brings close, seal, no
// water, a full new wait, and no kilograms are asked.
func TestC5ResealingStartsTheWaitAgain(t *testing.T) {
	p := sealed(t)
	first := p.state.Drums[0].NotBefore
	p.now = p.now.Add(9 * time.Hour)
	turn := p.says("opened")
	require.Contains(t, all(turn), "Too early! Close drum A now: lid on, soil all round, no water")
	require.NotContains(t, all(turn), "kg")
	require.WithinDuration(t, p.now, p.state.Drums[0].SealedAt, 0, "the wait counts from the resealing")
	require.False(t, p.state.Drums[0].NotBefore.Before(first))
	require.GreaterOrEqual(t, p.state.Drums[0].NotBefore.Sub(p.now), 12*time.Hour)

	p.now = p.state.Drums[0].NotBefore.Add(time.Hour).In(p.place.Zone)
	require.Contains(t, all(p.says("opened")), "How is it inside?")
	turn = p.says("warm")
	require.Contains(t, all(turn), "lid back on drum A, soil all round, no water. The whole wait starts again")
	require.GreaterOrEqual(t, p.state.Drums[0].NotBefore.Sub(p.now), 12*time.Hour)

	p.now = p.state.Drums[0].NotBefore.Add(time.Hour).In(p.place.Zone)
	p.says("opened")
	turn = p.says("cold")
	require.Contains(t, all(turn), "Spread the charcoal thin outside")
	require.Contains(t, all(turn), "keep charcoal outside 1 full day after opening")
}

// TestC6EachDrumHasItsOwnClock: a report without a name while two are open asks
// which, and the latest time holds meanwhile; two drums are lit an hour apart.
func TestC6EachDrumHasItsOwnClock(t *testing.T) {
	p := known(t)
	require.Contains(t, all(p.says("cobs 2 drums dry")), "1 hour apart, 2 people")
	p.says("1")
	p.says("LIT")
	p.now = p.now.Add(time.Hour)
	p.says("LIT B")
	p.says("covered a")
	p.now = p.now.Add(30 * time.Minute)
	require.Contains(t, all(p.says("covered")), "Which drum?")
	p.says("B")
	a, b := p.state.Drums[0], p.state.Drums[1]
	require.Equal(t, []string{"A", "B"}, []string{a.Name, b.Name})
	require.True(t, b.SealedAt.After(a.SealedAt))
	p.now = p.now.Add(2 * time.Hour)
	before := drums(p.state)
	turn := p.says("opened")
	require.Contains(t, all(turn), "Which drum? Leave all shut to Tuesday")
	require.Equal(t, before, drums(turn.State))
	p.now = p.now.Add(time.Hour)
	p.says("lit drum simba")
	require.Equal(t, "simba", p.state.Drums[2].Name)

	for _, name := range []string{"C", "D", "E"} {
		p.says("lit " + name)
		p.says("covered " + name)
	}
	before = drums(p.state)
	turn = p.says("lit F")
	require.Contains(t, all(turn), "I follow 6 hot drums, no more.")
	require.Equal(t, before, drums(turn.State), "no hot drum is forgotten for another")
	p.now = p.now.Add(48 * time.Hour)
	p.says("lit F")
	require.Equal(t, "F", p.state.Drums[5].Name)
	require.NotEqual(t, "A", p.state.Drums[0].Name, "one whose wait is over makes room")
}

// TestC6AnOpenWhichHearsOnlyNames: while the line asks which drum was covered, a
// text that says more of a drum than its name is what it says.
func TestC6AnOpenWhichHearsOnlyNames(t *testing.T) {
	for _, text := range []string{"can i open A", "should i cover b?", "is B covered?", "not A", "rain on drum A", "is it safe to open drum A"} {
		p := known(t)
		p.says("LIT")
		p.now = p.now.Add(10 * time.Minute)
		p.says("LIT B")
		require.Contains(t, all(p.says("COVERED")), "Which drum?")
		before := drums(p.state)
		require.Equal(t, before, drums(p.says(text).State), text)
	}
	for _, text := range []string{"b", "B", "drum B", "2"} {
		p := known(t)
		p.says("LIT")
		p.says("LIT B")
		p.says("COVERED")
		p.says(text)
		require.Equal(t, []string{"lit", "sealed"}, []string{p.state.Drums[0].Stage, p.state.Drums[1].Stage}, text)
	}
}

// TestDarkSmokeWaits: black smoke can catch fire and is no sign to cover
// (common practice, no source).
func TestDarkSmokeWaits(t *testing.T) {
	for _, text := range []string{"black smoke", "dark smoke", "black", "moshi mweusi", "mweusi", "yellow"} {
		p := known(t)
		p.says("LIT")
		p.until(p.now.Add(21*time.Minute), func(dialog.Turn) {})
		require.Equal(t, "burn.smoke-yellow", p.says(text).Replies[0].Key, text)
	}
}

// TestC7WetIsWet: no lighting time for wet waste, a mixed answer takes the
// wetter band, the question fits the waste, and LIT after a refusal is met.
func TestC7WetIsWet(t *testing.T) {
	for _, w := range calc.Wastes() {
		for _, dryness := range []string{"wet", "too-wet"} {
			p := known(t)
			p.state.DrumPast = "food"
			turn := p.step(dialog.Said{Text: ask(t, p, w, dryness), Via: dialog.SMS})
			text := all(turn)
			require.NotContains(t, text, "Light by", "%s %s", w, dryness)
			require.NotContains(t, text, "20 to 55 min", "%s %s", w, dryness)
			require.Contains(t, strings.ToLower(text), "not light", "%s %s", w, dryness)
		}
	}
	p := known(t)
	require.NotContains(t, all(p.says("cobs 1 drum, some snap some bend")), "Light by")
	require.Equal(t, "too-wet", p.state.Frames[0].Slots["dryness"].Key)
	require.Contains(t, all(p.says("LIT")), "Wet waste smokes more and longer")

	for waste, want := range map[string]string{"cobs": "snaps with a crack", "coconut shell": "sharp ring", "rice straw": "crackles to bits"} {
		p := known(t)
		require.Contains(t, all(p.says(waste+" 1 drum")), want)
	}
}

// TestC7LitAllTheSame: LIT after a refusal is met with the cautions, with more
// smoke and with a later sign; a doubtful answer is echoed by its wetter band.
func TestC7LitAllTheSame(t *testing.T) {
	for _, tc := range []struct {
		lang                          locales.Lang
		wet, dry, lit, smoke, caution string
	}{
		{"en", "cobs 1 drum wet", "cobs 1 drum dry", "LIT", "Wet waste smokes more and longer", "Covering: smoke can catch fire."},
		{"sw", "magunzi pipa 1 mbichi", "magunzi pipa 1 kavu", "NIMEWASHA", "moshi mwingi na kwa muda mrefu", "Kufunika: moshi unaweza kuwaka."},
	} {
		look := func(waste string) (time.Duration, string) {
			p := known(t)
			p.state.Lang, p.state.DrumPast = tc.lang, "food"
			p.says(waste)
			turn := p.says(tc.lit)
			at := slices.IndexFunc(p.state.Timers, func(o dialog.Timer) bool { return o.Kind == "smoke" })
			return p.state.Timers[at].At.Sub(p.now), all(turn)
		}
		dry, _ := look(tc.dry)
		wet, said := look(tc.wet)
		require.Greater(t, wet, dry, "a later sign")
		require.Contains(t, said, tc.smoke)
		require.Contains(t, said, tc.caution)
		require.NotRegexp(t, `(?i)impossible|cannot`, said)
	}
	require.Contains(t, all(known(t).says("cobs 1 drum, some snap some bend")), "Too wet to burn: maize cobs", "the band is named")
}

// ask returns a text that gives the waste by its English name, one drum and the
// dryness; waste that chokes a plain drum gets its pipe first.
func ask(t testing.TB, p *phone, w calc.Waste, dryness string) string {
	catalog, err := theCatalog()
	require.NoError(t, err)
	name := catalog.Text("en", locales.ID("waste."+string(w)), nil)
	feed, err := calc.Feed(w)
	require.NoError(t, err)
	if feed.Suitability == calc.Chokes {
		p.says(name + " 1 drum")
		p.says("1")
		return strings.ReplaceAll(dryness, "-", " ")
	}
	return name + " 1 drum " + strings.ReplaceAll(dryness, "-", " ")
}

// TestC8TheDrumsPast: asked once; poison is refused; oil, fuel and unknown get
// no lighting time; never any cutting advice.
func TestC8TheDrumsPast(t *testing.T) {
	p := known(t)
	require.Contains(t, all(p.says("cobs 1 drum dry")), "What did the drum hold before?")
	require.Contains(t, all(p.says("3")), "Do not use that drum, not even after washing")
	for _, past := range []string{"2", "4", "diesel", "I do not know"} {
		p := known(t)
		p.says("cobs 1 drum dry")
		turn := p.says(past)
		require.Contains(t, all(turn), "Do not light that drum yet", past)
		require.NotContains(t, all(p.says("cobs 2 drums dry")), "Light by", past)
	}
	p = known(t)
	require.NotContains(t, all(p.says("cobs 2 drums dry the drum had pesticide")), "Light by")
	p = known(t)
	p.says("cobs 1 drum dry")
	p.says("1")
	require.NotContains(t, all(p.says("cobs 2 drums dry")), "What did the drum hold before?")
}

// TestC8OncePerDrum: the answer holds for the drums of the recipe it was given
// to; more drums are asked about, the same are not, and a drum that is lit without
// having been asked about brings the caution.
func TestC8OncePerDrum(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for l, words := range languages(t) {
		one, two, three := words.load(t, l, "1"), words.load(t, l, "2"), words.load(t, l, "3")
		ask, askAll := catalog.Text(l, "ask.drum-past", nil), catalog.Text(l, "ask.drums-past", nil)
		alight, lit := catalog.Text(l, "caution.drum-alight", nil), words.Say.Lit
		p := known(t)
		p.switchOn(l)
		p.state.Lang = l
		require.Contains(t, all(p.says(one)), ask)
		p.says("1")
		require.NotContains(t, all(p.says(one)), ask, "asked once")
		require.Contains(t, all(p.says(two)), askAll, "the second drum was not asked about")
		other := *p
		other.says(lit)
		require.Contains(t, all(other.says(lit+" B")), alight)
		p.says("1")
		require.NotContains(t, all(p.says(two)), askAll)
		require.NotContains(t, all(p.says(one)), ask)
		p.says(lit)
		require.NotContains(t, all(p.says(lit+" B")), alight)
		require.Contains(t, all(p.says(three)), askAll)
		p.says("2")
		require.NotContains(t, keys(p.says(three)), "recipe.light", "the worst of them counts")
	}
	p := known(t)
	p.state.DrumPast = "food" // of a conversation that kept no number of drums
	require.NotContains(t, all(p.says("cobs 3 drums dry")), "hold before?")
}

// TestC8IsAskedAgain: a text that is not understood does not lose the question
// behind a recipe; the second brings the menu.
func TestC8IsAskedAgain(t *testing.T) {
	p := known(t)
	p.says("cobs 2 drums dry")
	turn := p.says("no")
	require.Contains(t, all(turn), "What did the drums hold before?")
	require.Contains(t, keys(p.says("1")), "drum.good")
}

// TestC14ACryInAnotherLanguage that is not understood otherwise brings its line
// in the language of the cry.
func TestC14ACryInAnotherLanguage(t *testing.T) {
	p := known(t)
	turn := p.says("moto umetoka nje ya pipa")
	require.True(t, strings.HasPrefix(all(turn), "MOTO:"), all(turn))
	require.NotEmpty(t, turn.Heard.Tier)
	p = known(t)
	p.state.Lang = "sw"
	turn = p.says("moto umetoka nje ya pipa")
	require.True(t, strings.HasPrefix(all(turn), "MOTO:"), all(turn))
}

// TestC9NoUndatedOrders: every timed message about a hot drum names a clock
// time.
func TestC9NoUndatedOrders(t *testing.T) {
	p := known(t)
	p.says("LIT")
	rung := 0
	check := func(turn dialog.Turn) {
		for _, r := range turn.Replies {
			if strings.HasPrefix(r.Key, "burn.") && r.Key != "burn.closed" {
				require.Regexp(t, `\d\d:\d\d`, r.Text, r.Key)
				rung++
			}
			require.Positive(t, r.Valid, r.Key)
		}
	}
	p.until(p.now.Add(2*time.Hour), check)
	p.says("COVERED")
	p.until(p.now.Add(60*time.Hour), check)
	require.GreaterOrEqual(t, rung, 5)

	p = known(t)
	p.now = time.Date(2026, 3, 2, 18, 20, 0, 0, p.place.Zone)
	p.says("LIT")
	rung = 0
	p.until(p.now.Add(time.Hour), check)
	require.Positive(t, rung, "a smoke check that falls into the dark")
}

// TestC9HarmlessWhenReadLate: an order to cover says what holds if it is done
// already, and one that speaks of opening names the hour before which it is not.
func TestC9HarmlessWhenReadLate(t *testing.T) {
	for l, words := range languages(t) {
		p := known(t)
		p.switchOn(l)
		p.state.Lang = l
		orders := map[string]int{}
		check := func(turn dialog.Turn) {
			for _, r := range turn.Replies {
				orders[r.Key]++
				switch r.Key {
				case "burn.smoke", "burn.cover":
					require.Contains(t, r.Text, words.Told.Leave)
				case "burn.may-open":
					require.Contains(t, r.Text, words.Told.Before)
				}
			}
		}
		p.says(words.Say.Lit)
		p.until(p.now.Add(50*time.Minute), check)
		p.says(words.Say.Covered)
		p.until(p.now.Add(40*time.Hour), check)
		for _, key := range []string{"burn.smoke", "burn.cover", "burn.may-open"} {
			require.Positive(t, orders[key], "%s %s", l, key)
		}
	}
}

// TestC10TheRecipeAloneIsEnough: sign to cover and not-before rule stand in the
// recipe, and a channel that cannot send on its own offers no timing.
func TestC10TheRecipeAloneIsEnough(t *testing.T) {
	p := known(t)
	text := all(p.says("cobs 1 drum dry"))
	for _, want := range []string{"Thin or blue smoke, 20 to 55 min", "Shut to next day 07:45: inside stays hot", "No text? Go by this."} {
		require.Contains(t, text, want)
	}
	p = known(t)
	p.channel.Sends = false
	require.NotContains(t, all(p.says("cobs 1 drum dry")), "No text?")
	require.NotContains(t, all(p.says("LIT")), "No text from me")
	p.says("COVERED")
	require.Empty(t, p.state.Timers)
	require.NotContains(t, all(p.says("qwerty")), "CALL")
	p.says("STOP")
	require.NotContains(t, keys(p.says("LIT B")), "consent.burn-only", "nothing could be sent")
}

// TestC28ACapNearItsEnd: before a drum is alight no timing is offered that could
// stay away for want of money; one that is alight is stayed with.
func TestC28ACapNearItsEnd(t *testing.T) {
	p := known(t)
	p.channel.Short = true
	text := all(p.says("cobs 1 drum dry"))
	require.Contains(t, text, "Shut to next day 07:45: inside stays hot")
	require.NotContains(t, text, "LIT")
	require.Contains(t, all(p.says("LIT")), "No text from me")
	require.NotEmpty(t, p.state.Timers)
}

// TestC11ReportsUseTheSentTime: the time the gateway gives counts, is repeated
// back, and of two sealing times the later sets the wait.
func TestC11ReportsUseTheSentTime(t *testing.T) {
	p := known(t)
	sent := p.now.Add(-5 * time.Hour)
	turn := p.step(dialog.Said{Text: "LIT", Via: dialog.SMS, SentAt: sent})
	require.WithinDuration(t, sent, p.state.Drums[0].LitAt, 0)
	require.Contains(t, all(turn), sent.Format("15:04"))

	p = sealed(t)
	first := p.state.Drums[0].SealedAt
	p.step(dialog.Said{Text: "COVERED", Via: dialog.SMS, SentAt: first.Add(-20 * time.Minute)})
	require.WithinDuration(t, first, p.state.Drums[0].SealedAt, 0, "an earlier report does not shorten the wait")
	p.now = p.now.Add(time.Hour)
	p.says("COVERED")
	require.WithinDuration(t, p.now, p.state.Drums[0].SealedAt, 0)

	p = known(t)
	p.says("COVERED") // out of order: placed, not refused
	require.Equal(t, "sealed", p.state.Drums[0].Stage)
	p = known(t)
	p.says("lit 20 minutes ago")
	require.WithinDuration(t, p.now.Add(-20*time.Minute), p.state.Drums[0].LitAt, 0)
}

// TestC12ATurnIsAtMostThreeMessages is held by the search and property tests;
// here the order of a recipe: load, what comes of it, lighting.
func TestC12ATurnIsAtMostThreeMessages(t *testing.T) {
	p := known(t)
	require.Equal(t, []string{"recipe.load", "recipe.expect", "recipe.light"}, keys(p.says("cobs 2 drums dry")))
}

// TestC12OwnMeasureFirst: amounts come first in the measure the producer gave,
// ranges are written "12 to 18", and the exact paste comes with the real
// kilograms.
func TestC12OwnMeasureFirst(t *testing.T) {
	for text, first := range map[string]string{"cobs 3 sacks dry": "3 sacks, ", "cobs 6 tins dry": "6 tins, ", "cobs 40 kg dry": "2.5 sacks, 40 kg"} {
		turn := known(t).says(text)
		load := turn.Replies[0].Text
		require.Contains(t, load, first, text)
		require.Less(t, strings.Index(load, first), strings.Index(load, " kg dry"), text)
		require.NotRegexp(t, `\d ?[-–] ?\d`, all(turn), text)
	}
	p := known(t)
	require.Contains(t, all(p.says("cobs 1 drum dry")), "Have 3.5 to 7 cups cassava flour")
	p.says("LIT")
	p.now = p.now.Add(30 * time.Minute)
	p.says("COVERED")
	p.now = p.now.Add(30 * time.Hour)
	p.says("OPENED")
	p.says("cold")
	require.Regexp(t, `For 7 kg charcoal: \d+ cups cassava flour\.`, all(p.says("weighed 7 kg")))
}

// TestC13SilenceIsNotBlamed: who answers nothing is told what to do and by when,
// and a batch nobody speaks of is closed kindly.
func TestC13SilenceIsNotBlamed(t *testing.T) {
	p := known(t)
	p.says("cobs 1 drum dry")
	p.says("LIT") // the question of the drum's past is left unanswered
	require.Equal(t, "lit", p.state.Drums[0].Stage)
	var said []string
	p.until(p.now.AddDate(0, 0, 7), func(turn dialog.Turn) {
		said = append(said, keys(turn)...)
		require.NotRegexp(t, `(?i)you did not|you have not|forgot|why have|must answer`, all(turn))
	})
	require.Contains(t, said, "burn.silent")
	require.Contains(t, said, "burn.closed")
	require.Empty(t, p.state.Drums)
}

// TestC13OneTextIsEnough: a recipe needs one text, and the first turn says what
// a text costs.
func TestC13OneTextIsEnough(t *testing.T) {
	p := newPhone(t)
	p.channel.Price = "2 shillings"
	turn := p.says("cobs 2 drums snaps")
	require.Contains(t, keys(turn), "recipe.light")
	require.Contains(t, all(turn), "One text costs you 2 shillings.")
}

// TestC14OrderOfEmergency: tier A overrides and what was asked is kept; tier B
// is said first; a smoke answer is ordinary.
func TestC14OrderOfEmergency(t *testing.T) {
	p := known(t)
	p.says("cobs 2 drums")
	for text, want := range map[string]string{
		"my child drank water and fainted near the kiln": "NOT WAKING:",
		"burned my hand": "BURN:", "he fell and is bleeding": "HURT:", "hot water on my child": "BURN:",
		"my child is hurt": "HURT:", "house on fire": "FIRE:", "clothes on fire": "CLOTHES ON FIRE:", "cannot breathe": "GAS DANGER!",
		"stop my child fainted": "NOT WAKING:",
	} {
		turn := p.says(text)
		require.True(t, strings.HasPrefix(turn.Replies[0].Text, want), "%q got %q", text, turn.Replies[0].Text)
		require.Equal(t, "a", turn.Heard.Tier, text)
		require.Equal(t, dialog.Emergency, turn.Replies[0].Urgency)
		require.Equal(t, dialog.Slot("dryness"), turn.State.Frames[len(turn.State.Frames)-1].Open, text)
	}
	require.False(t, p.state.Stopped, "inside a sentence the word ends nothing")
	require.Contains(t, keys(p.says("snaps")), "recipe.light")

	turn := p.says("STOP. My child fainted")
	require.True(t, strings.HasPrefix(turn.Replies[0].Text, "NOT WAKING:"))
	require.True(t, p.state.Stopped, "first aid first, then the opt-out")
	require.Contains(t, all(turn), "You get no more messages from me.")
	require.LessOrEqual(t, len(turn.Replies), 3)
	sw := known(t)
	sw.state.Lang = "sw"
	turn = sw.says("STOP. mtoto amezimia")
	require.True(t, sw.state.Stopped)
	require.Equal(t, []string{"aid.not-waking", "aid.not-waking"}, keys(turn)[:2])
	require.Contains(t, turn.Replies[2].Text, "Hutapata tena ujumbe")
	p.says("START")
	require.Contains(t, keys(known(t).says("help")), "line.help")
	require.Contains(t, keys(known(t).says("help!")), "aid.injury", "called out")
	require.Contains(t, keys(known(t).says("STOP")), "consent.stopped")

	turn = p.says("i am dizzy, cobs 1 drum dry")
	require.True(t, strings.HasPrefix(turn.Replies[0].Text, "GAS DANGER!"))
	require.Equal(t, "b", turn.Heard.Tier)
	require.Contains(t, keys(turn), "recipe.light")

	p = known(t)
	p.says("LIT")
	p.until(p.now.Add(21*time.Minute), nil)
	for _, text := range []string{"flames", "no smoke", "much smoke"} {
		other := *p
		turn := other.says(text)
		require.Empty(t, turn.Heard.Tier, text)
	}
}

// TestC15SomebodyIsTold: a tier-A text goes to the duty phones one after the
// other until one says SEEN; ordinary reminders pause, hot-drum messages go on.
func TestC15SomebodyIsTold(t *testing.T) {
	p := sealed(t)
	p.place.Duty = 3
	p.says("CALL")
	p.state.Timers = slices.Clone(p.state.Timers)
	for i, timer := range p.state.Timers {
		if timer.ID == "call" {
			p.state.Timers[i].At = p.now.Add(2 * time.Hour)
		}
	}
	turn := p.says("my child is burned")
	require.Equal(t, []dialog.Effect{dialog.TellDuty{AlertID: p.state.Alert.ID, Kind: "burn", Place: "home", Attempt: 1}}, turn.Effects)
	require.NotContains(t, all(turn), "is coming")
	var told []dialog.Effect
	p.until(p.now.Add(11*time.Minute), func(turn dialog.Turn) { told = append(told, turn.Effects...) })
	require.Equal(t, []dialog.Effect{dialog.TellDuty{AlertID: p.state.Alert.ID, Kind: "burn", Place: "home", Attempt: 2}}, told)
	p.step(dialog.Acknowledged{AlertID: p.state.Alert.ID})
	told = nil
	p.until(p.now.Add(time.Hour), func(turn dialog.Turn) { told = append(told, turn.Effects...) })
	require.Empty(t, told)
	var hot []string
	p.until(p.now.Add(22*time.Hour), func(turn dialog.Turn) { hot = append(hot, keys(turn)...) })
	require.Contains(t, hot, "burn.may-open")
	require.NotContains(t, hot, "ask.call-over", "an ordinary reminder pauses for a day")
	p.until(p.now.Add(2*time.Hour), func(turn dialog.Turn) { hot = append(hot, keys(turn)...) })
	require.Contains(t, hot, "ask.call-over")

	duty := known(t)
	alert := dialog.Alert{ID: "e1", Kind: "burn", Place: "home", At: duty.now, Number: "+254700000001", Attempt: 1}
	turn = duty.step(dialog.Alerted{Alert: alert})
	require.Contains(t, all(turn), "EMERGENCY: burn, Kisimani, 09:00. Call +254700000001 now.")
	require.Equal(t, dialog.Emergency, turn.Replies[0].Urgency)
	turn = duty.says("SEEN")
	require.Len(t, turn.Effects, 1)
	require.Equal(t, "e1", turn.Effects[0].(dialog.Seen).Alert.ID)
}

// TestC16TierBAsksForTheWord: HURT, or 9 on a list of options, never 1.
func TestC16TierBAsksForTheWord(t *testing.T) {
	p := known(t)
	turn := p.says("gas smell")
	require.Contains(t, all(turn), "Text HURT")
	turn = p.says("1")
	require.NotContains(t, keys(turn), "hurt.which")
	require.Empty(t, turn.Heard.Tier)
	turn = p.says("HURT")
	require.Contains(t, all(turn), "1 gas, dizzy, headache\n2 burn\n3 fire\n4 not waking\n5 eye, cut or other")
	require.True(t, strings.HasPrefix(all(p.says("2")), "BURN:"))
	p.says("cobs 2 drums")
	require.Contains(t, all(p.says("9")), "What happened?")
}

// TestC17FixedLines: the English masters, letter by letter, one segment each.
func TestC17FixedLines(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for id, want := range map[locales.ID]string{
		"aid.gas":          "GAS DANGER! All go out to fresh air now. Do not go back in. Very sick, pregnant, old or child: go to clinic now. If someone will not wake, call for help.",
		"aid.burn":         "BURN: hold under clean cool running water 20 minutes. Take off rings. No oil, paste or ice. Cover with clean cloth. Child, face, hand or big burn: clinic now.",
		"aid.not-waking":   "NOT WAKING: call emergency help now. Carry to open air if safe for you. Breathing: lay on side. Not breathing: push hard and fast on chest. No food or drink.",
		"aid.fire":         "FIRE: get people away first. Call neighbours and fire help. Only if small: use water, sand or soil. Stay upwind. If it grows, leave. Do not open the drum.",
		"aid.clothes":      "CLOTHES ON FIRE: lie down and roll. Cover with thick cloth or pour water. Then cool the burn with clean water 20 minutes. Go to clinic now.",
		"aid.eye":          "EYE: do not rub. Rinse with lots of clean water 20 minutes. If something is stuck in the eye, do not pull it. Cover lightly. Go to clinic now.",
		"aid.chemical":     "CHEMICAL: take off wet clothes. Wash skin with much water 20 minutes. If swallowed do not make them vomit. Keep the label. Call poison help or clinic now.",
		"aid.injury":       "HURT: press on bleeding with clean cloth. Do not pull out a deep object. Deep cut, bone, cannot move, hit on head or a child: clinic now.",
		"caution.drum":     "Before you start: use only a drum that never held poison, fuel or paint. Never cut an old drum with torch or grinder. No plastic, mouldy or sprayed waste.",
		"caution.place":    "Place: outside, bare ground 3 m all round, far from houses, crops, dry grass. Strong wind or fire ban: do not light. Keep 2 buckets water and sand ready.",
		"caution.lighting": "Lighting: never use petrol or kerosene. Light with dry grass on a stick. Stand to the side, wind on your back. Children and animals stay 10 big steps away.",
		"caution.covering": "Covering: smoke can catch fire. Use a long stick and gloves. Do not lean over the drum. 2 people move hot supports, never alone, never bare hands or feet.",
		"caution.opening":  "Do not open before the hour I sent, even if the drum feels cold: the middle stays hot. Then: any heat or smoke, wait. Water ready. Stand upwind, face turned.",
		"caution.glowing":  "Fire inside when you open? Close it and seal with soil again. Do not pour water into a hot drum: steam burns and poison gas. Wait until cold.",
		"burn.rain":        "Rain: leave the drum where it is, lid and soil on. Rain cools the outside only. Never bring warm charcoal into a house or shed: its gas kills.",
		"caution.drying":   "Dry briquettes outside or under an open shed. Never where people sleep. Never on or near a lit stove. Throw away mouldy ones.",
		"caution.people":   "No one under 18 works at the drum, paste or press. Pregnant women and babies stay away from the smoke. Children and animals stay 10 big steps away.",
		"caution.storing":  "Store only when cold and dry: keep charcoal outside 1 full day after opening, no heat inside heap. Never in a room where people sleep. Away from fire and rain.",
		"caution.buyers":   "Tell buyers: burn briquettes outside or under an open shed. Never where people sleep, even with a window open. The gas has no smell and kills.",
	} {
		require.Equal(t, want, catalog.Text("en", id, nil), id)
	}
	require.Equal(t, "Drum sealed. Do not open before Tuesday 07:30, even if it feels cold. Inside stays hot. Leave it where it is, also in rain. Do not leave it alone near grass.",
		catalog.Text("en", "burn.wait", locales.Args{"When": "Tuesday 07:30"}))
	for _, l := range catalog.Langs() {
		lines, _ := catalog.Unreviewed(l)
		require.NotEmpty(t, lines, "safety lines wait for a reviewer")
	}
}

// TestC18OneDigitOneMeaning: 0, 7, 8 and 9 are keys on lists of options only; on
// a number question every digit is a number.
func TestC18OneDigitOneMeaning(t *testing.T) {
	for _, digit := range []string{"0", "1", "9"} {
		p := known(t)
		p.says("cobs")
		require.Equal(t, dialog.Slot("drums"), p.state.Frames[0].Open)
		turn := p.says(digit)
		require.NotContains(t, keys(turn), "hurt.which", digit)
		require.NotContains(t, keys(turn), "line.menu", digit)

		p = known(t)
		p.says("cobs 1 drum")
		require.Equal(t, dialog.Slot("dryness"), p.state.Frames[0].Open)
		want := map[string]string{"0": "line.menu", "1": "recipe.light", "9": "hurt.which"}[digit]
		require.Contains(t, keys(p.says(digit)), want, digit)
	}
}

// questions are all that the line asks, by topic and slot, and a way there. A
// number or a text has no keys; all else is a list.
var questions = map[string]struct{ path, kind string }{
	"ask.question": {"ask", "text"}, "asking-or-done.doubt": {"not opened", "list"},
	"binder.char_kg": {"MENU > 3", "number"}, "binder.starch": {"9 kg charcoal", "list"}, "binder.short": {"9 kg charcoal > 2 kg cassava root", "list"}, "binder.doubt:char_kg": {"900 kg charcoal cassava flour", "list"},
	"check.drop": {"check", "list"}, "check.core": {"check > 1 > 2", "list"}, "check.ring": {"check > 1 > 2 > 5", "list"}, "check.weight": {"check > 1", "list"},
	"check.rub": {"check > 2 > 2", "list"}, "check.sink": {"check > 2", "list"}, "check.boil": {"check > 1 > 1", "list"}, "check.ash": {"check > 1 > 1 > 2", "list"},
	"enrol.group": {"join", "text"}, "enrol.consent": {"join > Umoja", "list"},
	"fix.symptom": {"fix", "list"}, "fix.cause": {"my briquettes crumble", "list"},
	"forget.forget": {"FORGET ME", "list"}, "hurt.hurt": {"HURT", "list"}, "inside.inside": {"COVERED > +30h > OPENED", "list"},
	"lobby.language": {"LANGUAGE", "list"}, "lobby.menu": {"MENU", "list"}, "stuck.stuck": {"qwerty > qwerty > qwerty", "list"},
	"plan.want_kg": {"plan", "number"}, "plan.waste": {"plan 50 kg", "list"}, "plan.drums": {"plan 50 kg cobs > 300 drums", "number"}, "plan.doubt:want_kg": {"plan 2000 kg", "list"},
	"price.charcoal_price": {"price", "number"}, "price.starch_price": {"price > 60", "number"},
	"recipe.waste": {"husk", "list"}, "recipe.drums": {"cobs", "number"}, "recipe.dryness": {"cobs 1 drum", "list"}, "recipe.flue": {"rice husk", "list"},
	"recipe.drum_past": {"cobs 1 drum dry", "list"}, "recipe.starch": {"cobs 1 drum cassava", "list"}, "recipe.doubt:drums": {"cobs 20 drums", "list"},
	"sale.sold": {"sold", "number"}, "sale.sold_unit": {"sold 20", "list"}, "sale.sold_money": {"sold 20 kg", "number"},
	"safety.stage": {"safety", "list"}, "sealed-when.sealed": {"OPENED", "list"}, "smoke.smoke": {"LIT > +20m", "list"}, "stop.stop": {"LIT > leave me alone", "list"},
	"waste-drying.waste": {"MENU > 8 > 1", "list"}, "which-drum.which": {"LIT > LIT", "list"}, "batches.ash_seen": {"LIT > +30m > COVERED > +30h > OPENED > cold > weighed 9 kg > my batches", "list"},
}

// TestC18EveryQuestion presses 0, 1 and 9 on every question: on a list they are
// the menu, its first option and the emergency list; a number or a text has no
// keys.
func TestC18EveryQuestion(t *testing.T) {
	for name, q := range questions {
		at := func() *phone {
			p := known(t)
			p.follows(strings.Split(q.path, " > "))
			open := p.state.Frames[len(p.state.Frames)-1]
			require.Equal(t, name, open.Topic+"."+string(open.Open), q.path)
			require.Equal(t, q.kind == "list", len(open.Options) > 0, q.path)
			return p
		}
		zero, one, nine := keys(at().says("0")), at().says("1"), keys(at().says("9"))
		if q.kind == "list" {
			require.Contains(t, zero, "line.menu", name)
			require.Contains(t, nine, "hurt.which", name)
			require.True(t, one.Heard.Understood, "%s: %s", name, all(one))
			continue
		}
		for _, got := range [][]string{zero, keys(one), nine} {
			require.NotContains(t, got, "line.menu", name)
			require.NotContains(t, got, "hurt.which", name)
		}
		require.True(t, one.Heard.Understood, "%s: %s", name, all(one))
	}
}

// TestC19OptOut: STOP at once in every language; an everyday word only in the
// session's language; during a burn the confirmation carries the not-before
// time; LIT after STOP is consent for that burn.
func TestC19OptOut(t *testing.T) {
	p := known(t)
	turn := p.says("STOP")
	require.True(t, turn.State.Stopped)
	require.Len(t, turn.Replies, 1)
	for range 2 {
		turn = p.says("STOP")
		require.Empty(t, turn.Replies, "one confirmation")
		require.True(t, turn.Heard.OptOut)
	}
	require.NotEmpty(t, p.dials("STOP", false).Replies, "a screen cannot stay empty")
	require.NotEmpty(t, p.says("cobs").Replies, "what is asked is still answered")
	require.False(t, p.says("START").State.Stopped)
	require.Len(t, p.says("STOP").Replies, 1, "after START it is another one")

	p = known(t)
	require.False(t, p.says("the smoke stopped").State.Stopped)
	require.False(t, p.says("acha").State.Stopped, "a Swahili word is no opt-out for an English speaker")
	p.state.Lang = "sw"
	require.True(t, p.says("ondoa").State.Stopped)

	p = sealed(t)
	turn = p.says("STOP")
	require.Contains(t, all(turn), "do not open before Tuesday 07:45")
	require.Empty(t, turn.State.Timers)
	p = sealed(t)
	p.state.Lang = "sw"
	turn = p.says("acha")
	require.False(t, turn.State.Stopped, "while a drum is open it is asked once")
	require.True(t, p.says("1").State.Stopped)

	p = known(t)
	p.state.DrumPast = "food"
	p.says("STOP")
	turn = p.says("LIT")
	require.Contains(t, keys(turn), "consent.burn-only")
	require.NotEmpty(t, turn.State.Timers)
	require.True(t, turn.State.Stopped)
	require.Equal(t, []string{"consent.stopped-lit"}, keys(p.says("STOP")), "it ends what LIT had allowed")
	require.Empty(t, p.says("STOP").Replies)
}

// TestC19StopBesideEveryDrum: the confirmation carries the hour of the drum there
// is, also of one whose wait is over and that nobody has opened.
func TestC19StopBesideEveryDrum(t *testing.T) {
	p := sealed(t)
	before := p.state.Drums[0].NotBefore
	for _, later := range []time.Duration{0, 30 * time.Hour} {
		q := *p
		q.now = q.now.Add(later)
		turn := q.says("STOP")
		require.True(t, turn.State.Stopped)
		require.Equal(t, []string{"consent.stopped-burn"}, keys(turn))
		require.Contains(t, turn.Replies[0].Text, before.In(p.place.Zone).Format("Monday 15:04"))
	}
	p = known(t)
	p.state.DrumPast = "food"
	p.says("LIT")
	require.Equal(t, []string{"consent.stopped-lit"}, keys(p.says("STOP")))
}

// TestC20ForgetMe: everything is erased after a yes; with a hot drum the
// not-before time comes first.
func TestC20ForgetMe(t *testing.T) {
	p := sealed(t)
	turn := p.says("FORGET ME")
	require.Contains(t, turn.Replies[0].Text, "Do not open before Tuesday 07:45")
	turn = p.says("yes")
	require.Equal(t, []dialog.Effect{dialog.Erase{}}, turn.Effects)
	require.Equal(t, dialog.State{}.Encode(), turn.State.Encode())
	p = known(t)
	p.says("STOP")
	p.says("FORGET ME")
	require.Equal(t, []dialog.Effect{dialog.Erase{KeepOptOut: true}}, p.says("1").Effects)
	p = sealed(t)
	p.says("forget me")
	require.NotEmpty(t, p.says("no").State.Drums)
}

// TestC20ForgottenOnRequest: an administrator's word erases as the person's own
// does; a hot drum comes first, and whoever opted out hears of nothing else.
func TestC20ForgottenOnRequest(t *testing.T) {
	p := sealed(t)
	turn := p.step(dialog.Forgotten{})
	require.Equal(t, []string{"burn.wait", "consent.forgotten"}, keys(turn))
	require.Contains(t, turn.Replies[0].Text, "Do not open before Tuesday 07:45")
	require.Equal(t, []dialog.Effect{dialog.Erase{}}, turn.Effects)
	require.Equal(t, dialog.State{}.Encode(), turn.State.Encode())
	p = sealed(t)
	p.says("STOP")
	turn = p.step(dialog.Forgotten{})
	require.Equal(t, []string{"burn.wait"}, keys(turn))
	require.Equal(t, []dialog.Effect{dialog.Erase{KeepOptOut: true}}, turn.Effects)
	p = known(t)
	p.says("STOP")
	require.Empty(t, p.step(dialog.Forgotten{}).Replies)
}

// TestC21ANumberIsNotAPerson: NOT ME ends timers and detaches the record; after
// 120 quiet days no drum of the past is spoken of, and whoever writes is told
// again who answers.
func TestC21ANumberIsNotAPerson(t *testing.T) {
	p := sealed(t)
	p.state.Batches = []dialog.Batch{{At: p.now, Name: "A", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 7}}
	turn := p.says("NOT ME")
	require.Contains(t, all(turn), "it must stay shut to Tuesday 07:45")
	require.Empty(t, turn.State.Timers)
	require.Empty(t, turn.State.Drums)
	require.Contains(t, keys(p.says("my batches")), "record.none")
	p = sealed(t)
	p.now = p.now.AddDate(0, 0, 121)
	turn = p.says("hello")
	require.Empty(t, turn.State.Drums)
	require.Contains(t, all(turn), "I am Cobline, a machine.")
}

// absent returns a phone with a record whose person was quiet for 121 days.
func absent(t testing.TB, l locales.Lang) *phone {
	p := known(t)
	p.switchOn(l)
	p.state.Lang, p.state.DrumPast, p.state.PasteKg = l, "food", 9
	p.says("MENU")
	p.state.Batches = []dialog.Batch{{At: p.now, Name: "simba", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 9}}
	p.now = p.now.AddDate(0, 0, 121)
	return p
}

// TestC21HistoryIsShownAfterAQuestion that shows nothing: after 120 quiet days
// the record is opened by a yes, detached by a no, and used for nothing before.
func TestC21HistoryIsShownAfterAQuestion(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for l, words := range languages(t) {
		p := absent(t, l)
		turn := p.says(words.Say.Batches)
		require.Contains(t, all(turn), catalog.Text(l, "ask.same", nil))
		require.NotContains(t, all(turn), "simba")
		require.Contains(t, all(p.says(words.Say.Yes)), "simba", l)
		require.Contains(t, all(p.says(words.Say.Batches)), "simba", "asked once")

		p = absent(t, l)
		p.says(words.Say.Batches)
		turn = p.says(words.Say.No)
		require.Contains(t, keys(turn), "consent.not-me", l)
		require.Empty(t, turn.State.Batches)
	}
	for text, shows := range map[string]string{"plan 50 kg": "maize cobs: ", "press": "9 kg", "cobs 1 drum dry": "Never cut a drum."} {
		require.NotContains(t, all(absent(t, "en").says(text)), shows, text)
	}
	p := absent(t, "en")
	require.Equal(t, all(known(t).says("cobs 1 drum dry")), func() string {
		p.state.Chosen = true
		p.says("hello")
		p.now = time.Date(2026, 3, 2, 9, 0, 0, 0, p.place.Zone)
		p.state.Seen = p.now
		return all(p.says("cobs 1 drum dry"))
	}(), "the yield of somebody else is not reckoned with")
}

// TestC21NoticesWaitForTheOwner: after 120 quiet days a notice waits until the
// person says that they are there, also if they wrote before it came.
func TestC21NoticesWaitForTheOwner(t *testing.T) {
	for _, wrote := range []bool{false, true} {
		p := absent(t, "en")
		if wrote {
			p.says("cobs 1 drum dry")
		}
		notice := dialog.Told{Notice: dialog.Notice{ID: "n", Texts: map[locales.Lang]string{"en": "Market day is Thursday."}, Expires: p.now.Add(8 * time.Hour)}}
		turn := p.step(notice)
		require.Equal(t, []string{"notice.still-you"}, keys(turn))
		require.NotContains(t, all(turn), "Thursday")
		p.says("START")
		require.Contains(t, all(p.step(notice)), "Thursday", "wrote %v", wrote)
		require.Contains(t, all(p.says("my batches")), "simba", "one question is enough")
	}
}

// TestC21OnAGroupsPhone a text may begin with a name, each named drum learns for
// itself, and STOP and FORGET ME say whom they affect.
func TestC21OnAGroupsPhone(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for l, words := range languages(t) {
		p, say := known(t), words.Say
		p.switchOn(l)
		p.state.Lang, p.state.DrumPast, p.state.Profile.Group = l, "food", "Umoja"
		p.state.Batches = []dialog.Batch{{At: p.now, Name: "mary", Waste: "maize-cob", Drums: 1, FeedKg: 33, CharKg: 3}}
		p.says("Asha: " + say.Lit)
		require.Equal(t, "asha", p.state.Drums[0].Name, l)
		p.now = p.now.Add(30 * time.Minute)
		p.says("Mary: " + say.Lit)
		p.says("asha: " + say.Covered)
		require.Equal(t, "sealed", p.state.Drums[0].Stage, l)
		require.Equal(t, "lit", p.state.Drums[1].Stage, "the clock of Mary's drum is her own")
		p.now = p.now.Add(25 * time.Hour)
		p.says("Asha - " + say.Opened)
		p.says("Asha: " + say.Cold)
		p.says("Asha: " + say.Weighed)
		require.Len(t, p.state.Batches, 2, l)
		require.Equal(t, "asha", p.state.Batches[1].Name, l)
		p.says("Asha: " + say.Batches)
		own := all(p.says("1"))
		require.Contains(t, own, "asha", l)
		require.NotContains(t, own, "mary", l)

		forAll := catalog.Text(l, "consent.for-all", locales.Args{"Group": "Umoja"})
		require.Contains(t, all(p.says("Mary: "+say.Forget)), forAll)
		require.Contains(t, all(p.says("Mary: STOP")), forAll)
		require.True(t, p.state.Stopped)
	}
	p := known(t)
	require.NotContains(t, all(p.says("STOP")), "all who use")
	p.says("Asha: LIT")
	require.Empty(t, p.state.Drums, "on the phone of one person a name is asked about")
}

// TestC22WhoCannotReadIsServedFirst: the first answer to a text that was not
// understood holds the digit or the word for a person who calls.
func TestC22WhoCannotReadIsServedFirst(t *testing.T) {
	for _, text := range []string{"qwerty", "?", "", "..."} {
		p := known(t)
		turn := p.says(text)
		require.Contains(t, all(turn), "a person phones me", text)
		turn = p.says("CALL")
		require.Equal(t, []dialog.Effect{dialog.CallBack{}}, turn.Effects)
		require.Contains(t, all(turn), "within 3 days")
		var back []string
		p.until(p.now.Add(73*time.Hour), func(turn dialog.Turn) { back = append(back, keys(turn)...) })
		require.Contains(t, back, "ask.call-over")
	}
	p := known(t)
	p.says("cobs 1 drum")
	turn := p.says("qwerty")
	require.Contains(t, all(turn), "5 a person phones me")
	require.Equal(t, []dialog.Effect{dialog.CallBack{}}, p.says("5").Effects)
}

// TestC22ADigitForAPerson: the first answer to a text that was not understood
// holds one digit for a person who calls, on every list, also where five options
// leave only the sixth, and for somebody never met before.
func TestC22ADigitForAPerson(t *testing.T) {
	for _, tc := range []struct {
		texts []string
		digit string
	}{
		{[]string{"MENU"}, "6"},
		{[]string{"rice husk"}, "4"},
		{[]string{"cobs 1 drum"}, "5"},
		{[]string{"check"}, "5"},
		{[]string{"my briquettes crumble"}, "6"},
		{[]string{"maize"}, "4"},
		{nil, "6"},
	} {
		p := known(t)
		for _, text := range tc.texts {
			p.says(text)
		}
		turn := p.says("qwerty")
		require.Contains(t, all(turn), "\n"+tc.digit+" a person phones me", tc.texts)
		require.Equal(t, []dialog.Effect{dialog.CallBack{}}, p.says(tc.digit).Effects, tc.texts)
	}
	for _, text := range []string{"?", "", "qwerty"} {
		p := newPhone(t)
		require.Contains(t, all(p.says(text)), "\n4 a person phones me", text)
		require.Equal(t, []dialog.Effect{dialog.CallBack{}}, p.says("4").Effects, text)
	}
	p := known(t)
	p.says("MENU")
	p.says("qwerty")
	require.Contains(t, all(p.says("8")), "1 drying the waste", "the sixth option keeps no page back")
}

// TestC22ThreeDigitsInARow: who goes from list to list by digits alone is
// offered a person, and the next text that is not understood is the second.
func TestC22ThreeDigitsInARow(t *testing.T) {
	p := known(t)
	for _, text := range []string{"MENU", "8", "8"} {
		require.NotContains(t, all(p.says(text)), "a person phones", text)
	}
	p = known(t)
	p.says("MENU")
	p.says("8")
	p.says("8")
	require.Contains(t, all(p.says("7")), "\n6 a person phones me")
	require.NotContains(t, keys(p.says("qwerty")), "ask.stuck")
	require.Contains(t, keys(p.says("qwerty")), "ask.stuck", "the third failure")

	p = known(t)
	p.says("MENU")
	p.says("1")
	p.says("1")
	require.Contains(t, all(p.says("2")), "\n5 a person phones me")
	p = known(t)
	p.says("check")
	p.says("1")
	p.says("1")
	require.NotContains(t, all(p.says("1")), "a person phones me", "an answer came of them")
}

// TestC22EveryPromiseOfAPerson says how many days it can take, and the line comes
// back when they are over.
func TestC22EveryPromiseOfAPerson(t *testing.T) {
	for l, words := range languages(t) {
		say, ask := words.Say, words.Journey["ask"][0]
		for _, path := range [][]string{{say.Call}, {say.Hurt, "1", say.Call}, {"qwerty", "6"}, {"qwerty", "qwerty", "qwerty", "1"}, {ask, say.Asked}, {ask + ": " + say.Asked}} {
			p := known(t)
			p.switchOn(l)
			p.state.Lang = l
			promised := 0
			for _, text := range path {
				turn := p.says(text)
				for _, effect := range turn.Effects {
					switch effect.(type) {
					case dialog.CallBack, dialog.Question:
						promised++
						require.Regexp(t, `\b3\b`, turn.Replies[0].Text, path)
					}
				}
			}
			require.Positive(t, promised, path)
			var back []string
			p.until(p.now.Add(5*24*time.Hour), func(turn dialog.Turn) { back = append(back, keys(turn)...) })
			require.Condition(t, func() bool {
				return slices.Contains(back, "ask.call-over") || slices.Contains(back, "ask.sent-over")
			}, "%s: %v", l, path)
		}
	}
}

// TestC23TheFirstTurn: a machine, the gas caution, a row of languages by digit;
// one stray word never changes the language of a running burn.
func TestC23TheFirstTurn(t *testing.T) {
	p := newPhone(t)
	turn := p.says("hi")
	require.True(t, strings.HasPrefix(all(turn), "I am Cobline, a machine. Charcoal gas kills and has no smell."))
	require.True(t, strings.HasSuffix(all(turn), "\n1 English\n2 Francais\n3 Kiswahili"), all(turn))
	require.Equal(t, locales.Lang("sw"), p.says("3").State.Lang)

	p = newPhone(t)
	turn = p.says("cobs 2 drums snaps")
	require.True(t, strings.HasSuffix(all(turn), "\n1 English\n2 Francais\n3 Kiswahili"), all(turn))
	require.LessOrEqual(t, len(turn.Replies), 3)
	require.Contains(t, keys(p.says("1")), "ask.drums-past")

	p = newPhone(t)
	p.says("cobs 1 drum dry")
	p.says("LIT")
	require.Equal(t, locales.Lang("en"), p.says("moshi").State.Lang)
}

// TestLapsedSafetyBringsTheSafeText: what was not sent in time is replaced, and
// a replacement that lapses brings no other.
func TestLapsedSafetyBringsTheSafeText(t *testing.T) {
	p := sealed(t)
	for _, why := range []dialog.Why{dialog.Expired, dialog.Refused} {
		turn := p.step(dialog.Lapsed{Ref: "r", Key: "burn.hold", Why: why})
		require.Equal(t, []string{"burn.lapsed"}, keys(turn))
		require.Contains(t, all(turn), "Leave drum A shut to Tuesday 07:45, even if it feels cold")
	}
	require.Empty(t, p.step(dialog.Lapsed{Key: "burn.lapsed", Why: dialog.Expired}).Replies)
	require.Empty(t, p.step(dialog.Lapsed{Key: "recipe.load", Why: dialog.Expired}).Replies)
	p.now = p.now.AddDate(0, 0, 2)
	require.Empty(t, p.step(dialog.Lapsed{Key: "burn.hold", Why: dialog.Expired}).Replies)
}

// TestC7AQuestionAboutDrynessIsNoAnswer: only a statement changes the band.
func TestC7AQuestionAboutDrynessIsNoAnswer(t *testing.T) {
	for _, text := range []string{"how long must i dry it", "when will it be dry?", "is it dry?", "must it be dry", "it is not dry", "what if it is not dry", "not yet dry"} {
		p := known(t)
		p.says("groundnut shell 3 sacks, bends")
		require.NotContains(t, all(p.says(text)), "Light by", text)
	}
	p := known(t)
	p.says("cobs 1 drum snaps")
	require.NotContains(t, all(p.says("it is not dry")), "Light by")
}

// TestC4ByDaylightOnly: in the dark nobody is sent to the drum, whatever is
// asked; two drums are lit so that the last is covered by daylight; before
// sunrise the recipe says from when.
func TestC4ByDaylightOnly(t *testing.T) {
	p := known(t)
	p.says("cobs 1 drum dry")
	p.says("LIT")
	p.now = p.now.Add(11 * time.Hour)
	for _, text := range []string{"it is dark now can i open", "it rains", "strong wind", "should i cover"} {
		turn := p.says(text)
		require.Contains(t, all(turn), "It is dark", text)
		require.NotContains(t, all(turn), "Cover when", text)
	}
	p = known(t)
	p.now = time.Date(2026, 3, 2, 15, 30, 0, 0, p.place.Zone)
	require.Contains(t, all(p.says("cobs 2 drums dry")), "Light by 15:45, 1 hour apart")
	p.now = time.Date(2026, 3, 2, 2, 0, 0, 0, p.place.Zone)
	require.Contains(t, all(p.says("cobs 1 drum dry")), "Light 06:45 to 16:45")
}

// TestC11ToldTimes: a time that was told counts, by a clock of twelve hours, of
// 24, or in Swahili from six.
func TestC11ToldTimes(t *testing.T) {
	for _, tc := range []struct {
		lang locales.Lang
		text string
		want string
	}{{"en", "lit at 8", "08:00"}, {"en", "lit 8:40", "08:40"}, {"en", "lit at 7:15", "07:15"}, {"en", "lit 7:00", "07:00"}, {"hi-Latn", "subah 7 baje jalaya", "07:00"}, {"hi", "7:30 बजे जलाया", "07:30"}, {"sw", "nimewasha saa 2", "08:00"}, {"en", "lit", "09:00"}} {
		p := known(t)
		p.state.Lang, p.langs = tc.lang, append(slices.Clone(p.langs), tc.lang)
		require.Contains(t, all(p.says(tc.text)), tc.want, tc.text)
		require.Equal(t, tc.want, p.state.Drums[0].LitAt.In(p.place.Zone).Format("15:04"), tc.text)
	}
}

// TestC19AfterStop: only LIT is consent, and says so; COVERED sets no timer.
func TestC19AfterStop(t *testing.T) {
	p := known(t)
	p.says("cobs 1 drum dry")
	p.says("LIT")
	require.Regexp(t, `leave it shut until \w+day \d\d:\d\d`, all(p.says("STOP")))
	p.now = p.now.Add(time.Hour)
	p.says("covered")
	require.Empty(t, p.state.Timers)
	p = known(t)
	p.says("STOP")
	p.says("cobs 1 drum dry")
	turn := p.says("LIT")
	require.Contains(t, all(turn), "You said STOP before. I write about this burn only.")
	require.NotEmpty(t, p.state.Timers)
	require.LessOrEqual(t, len(turn.Replies), 3)
}

// TestNoQuestionIsLost: a tie is asked again after WHY, a question under the
// smoke question comes back, a report ends an old opt-out question, and a bare
// number after the drum was opened is its weight.
func TestNoQuestionIsLost(t *testing.T) {
	p := known(t)
	first := p.says("maize").Replies[0].Choices
	turn := p.says("WHY")
	require.Equal(t, first, turn.Replies[len(turn.Replies)-1].Choices)

	p = known(t)
	p.says("LIT")
	p.says("LIT")
	p.until(p.now.Add(20*time.Minute), nil)
	require.Contains(t, all(p.says("1")), "Is this another drum?")

	p = sealed(t)
	p.state.Lang = "sw"
	p.says("acha")
	p.now = p.now.AddDate(0, 0, 2)
	p.says("nimefungua")
	p.says("1")
	require.Contains(t, all(p.says("7")), "Kwa mkaa kilo 7")
}

// TestKindWords: thanks and a greeting cost nobody a menu of errors.
func TestKindWords(t *testing.T) {
	p := sealed(t)
	require.Contains(t, all(p.says("hi")), "not before Tuesday 07:45")
	require.Contains(t, all(p.says("thanks")), "You are welcome.")
	require.True(t, strings.HasPrefix(all(p.says("poison")), "CHEMICAL:"))
	require.True(t, strings.HasPrefix(all(p.says("it smells of gas")), "GAS DANGER!"))
}

// TestC2SwahiliQuestionsAndFutures: a when, an if, a not-yet and a shall-I are no
// reports; beside a hot drum each brings the not-before time.
func TestC2SwahiliQuestionsAndFutures(t *testing.T) {
	for _, text := range []string{"nimefungua lini", "sijafungua", "bado sijafungua", "nitafungua", "nikifungua", "usifungue", "hajafungua"} {
		p := sealed(t)
		p.state.Lang = "sw"
		before := drums(p.state)
		turn := p.says(text)
		require.Equal(t, before, drums(turn.State), text)
		require.Contains(t, all(turn), "07:45", text)
	}
	for _, text := range []string{"kama nimefungua", "kama nimefunika"} {
		p := sealed(t)
		p.state.Lang = "sw"
		before := drums(p.state)
		require.Equal(t, before, drums(p.says(text).State), text)
	}
}

// TestSmokeWords: flames of unknown height are no sign to cover, and half
// covered is not covered; a fire that went out has an answer.
func TestSmokeWords(t *testing.T) {
	for _, text := range []string{"flames 3 m high", "big flames", "flames"} {
		p := known(t)
		p.says("LIT")
		p.until(p.now.Add(20*time.Minute), nil)
		turn := p.says(text)
		require.NotContains(t, all(turn), "cover it now", text)
	}
	p := known(t)
	p.says("LIT")
	p.says("half covered")
	require.Equal(t, "lit", p.state.Drums[0].Stage)
	require.Contains(t, all(p.says("fire went out")), "do not look in")
	p = known(t)
	p.says("lit 2 drums")
	require.Len(t, p.state.Drums, 2)
	p = known(t)
	p.says("lit drum 2")
	require.Equal(t, "2", p.state.Drums[0].Name)
}
