package dialog_test

import (
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// opens finds what sends somebody to a drum in a language, once the phrases that
// forbid it, ask about it or speak of something else are taken out.
var opens = map[locales.Lang]struct {
	word     *regexp.Regexp
	harmless []*strings.Replacer
}{
	"en": {openingWord, []*strings.Replacer{harmlessOpen, strings.NewReplacer("open air", "", " opening\n", "")}},
	"sw": {regexp.MustCompile(`(?i)fungu[ae]`), []*strings.Replacer{strings.NewReplacer(
		"Usifungue", "", "usifungue", "", "Usilifungue", "", "usilifungue", "", "Moto ndani ukifungua? Funga", "",
		"umefungua?", "", "NIMEFUNGUA ukiangalia ndani", "", "baada ya kufungua", "", " kufungua\n", "",
		"Fungua pipa likiwa limepoa tu", "", "dirisha likiwa wazi", "",
	)}},
}

// walkTexts are what a person beside two drums may write.
var walkTexts = map[locales.Lang][]string{
	"en": {
		"OPENED", "OPENED A", "OPENED B", "open?", "can i open", "is it cold", "1", "2", "3", "A", "B", "cold", "warm", "COVERED", "COVERED A", "COVERED B",
		"LEAK", "LEAK A", "LIT", "LIT B", "weighed 9 kg", "9 kg", "rain", "wind", "STOP", "START", "MENU", "BACK", "WHY", "MORE", "cobs 1 drum dry", "new drum",
		"i am dizzy", "my child fainted", "HURT", "9", "0", "NOT ME", "FORGET ME", "LANGUAGE", "thin smoke", "no smoke", "help", "", "how long", "what now",
		"LIT rice husk", "COVERED A coconut shells", "no, it is rice husk", "14 kg", "no glow", "opened and it is hot", "opened A, not warm", "yes", "i poured water on it", "no one is there", "lit at 7", "status",
	},
	"sw": {
		"NIMEFUNGUA", "NIMEFUNGUA A", "NIMEFUNGUA B", "nifungue?", "naweza kufungua", "limepoa", "1", "2", "3", "A", "B", "baridi", "joto", "NIMEFUNIKA", "NIMEFUNIKA B",
		"NIMEWASHA", "NIMEWASHA B", "nimepima kilo 9", "kilo 9", "mvua", "upepo", "ACHA", "STOP", "ANZA", "MENYU", "RUDI", "KWANINI", "ZAIDI", "magunzi pipa 1 kavu",
		"kizunguzungu", "mtoto amezimia", "UMIA", "9", "0", "SI MIMI", "NISAHAU", "LUGHA", "moshi hafifu", "hakuna moshi", "msaada", "", "muda gani", "usalama",
		"NIMEWASHA pumba za mpunga", "NIMEFUNIKA A maganda ya karanga", "hapana, ni bagasi", "hakuna kaa la moto", "nimefungua bado moto", "kilo 14", "ndiyo", "hali ya pipa", "nimewasha saa moja",
	},
}

// TestTwoDrumsStayShut walks at random through texts in both languages, keys,
// timers on time and early, lapsed messages and hours, beside two drums that
// were sealed at different times and hold different waste: the rule of
// TestNothingOpensASealedDrum, where the search cannot reach.
func TestTwoDrumsStayShut(t *testing.T) {
	walks := 1500
	if os.Getenv("COBLINE_SCALE") == "long" {
		walks = 100_000
	}
	for _, lang := range []locales.Lang{"en", "sw"} {
		r := rand.New(rand.NewPCG(3, uint64(len(walkTexts[lang]))))
		start := sealed(t)
		start.state.Lang = lang
		start.says("LIT B")
		start.says(map[locales.Lang]string{"en": "COVERED B", "sw": "NIMEFUNIKA B"}[lang])
		require.Len(t, start.state.Drums, 2)
		require.Equal(t, "sealed", start.state.Drums[1].Stage)
		for range walks {
			p := *start
			var path []string
			for range 8 {
				name, ev := drawNext(r, &p, lang)
				path = append(path, name)
				before := p.state
				turn := p.e.Step(p.state, ev, p.world())
				require.LessOrEqual(t, len(turn.Replies), 3, "%s", path)
				checkTwo(t, lang, before, turn, p.now, path)
				p.state = turn.State
			}
		}
	}
}

// drawNext moves the clock and returns what happens next.
func drawNext(r *rand.Rand, p *phone, lang locales.Lang) (string, dialog.Event) {
	p.now = p.now.Add(time.Duration(r.IntN(5)*r.IntN(60)) * time.Minute)
	switch n := r.IntN(12); {
	case n == 0:
		return "lapsed", dialog.Lapsed{Ref: "r", Key: "burn.hold", Why: dialog.Expired}
	case n < 4 && len(p.state.Timers) > 0:
		timer := p.state.Timers[r.IntN(len(p.state.Timers))]
		if timer.At.After(p.now) && r.IntN(2) == 0 {
			p.now = timer.At.In(p.place.Zone)
		}
		return "timer " + string(timer.ID), dialog.Due{Timer: timer}
	}
	text := walkTexts[lang][r.IntN(len(walkTexts[lang]))]
	return text, dialog.Said{Text: text, Via: dialog.SMS}
}

// checkTwo fails if a turn sends somebody to a drum before its wait is over.
func checkTwo(t *testing.T, lang locales.Lang, before dialog.State, turn dialog.Turn, now time.Time, path []string) {
	var free []string
	shut := 0
	for _, d := range before.Drums {
		if d.Stage == "sealed" && now.Before(d.SealedAt.Add(bindingWait(d.Waste))) {
			for _, is := range turn.State.Drums {
				require.False(t, is.Name == d.Name && is.Stage != "sealed" && is.Stage != "lit", "a drum left its wait: %s", path)
				require.False(t, is.Name == d.Name && is.Stage == "sealed" && is.NotBefore.Before(is.SealedAt.Add(bindingWait(is.Waste))), "the wait is too short: %s", path)
			}
			shut++
		} else {
			free = append(free, d.Name)
		}
	}
	if shut == 0 {
		return
	}
	o, known := opens[turn.State.Lang]
	if !known { // a person who is forgotten or has not chosen yet
		o = opens[lang]
	}
	for _, reply := range turn.Replies {
		text := reply.Plain()
		for _, h := range o.harmless {
			text = h.Replace(text)
		}
		named := slices.ContainsFunc(free, func(name string) bool { return strings.Contains(reply.Text, " "+name+":") })
		if !named && o.word.MatchString(text) {
			require.Fail(t, "an opening word before the wait is over", "%s at %s\n%s", strings.Join(path, " > "), now.Format("Mon 15:04"), reply.Plain())
		}
	}
}
