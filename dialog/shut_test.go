package dialog_test

import (
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// TestTwoDrumsStayShut walks at random through texts in every language, keys,
// timers on time and early, lapsed messages and hours, beside two drums that
// were sealed at different times and hold different waste: the rule of
// TestNothingOpensASealedDrum, where the search cannot reach.
func TestTwoDrumsStayShut(t *testing.T) {
	walks := 1500
	if os.Getenv("COBLINE_SCALE") == "long" {
		walks = 100_000
	}
	for lang, words := range languages(t) {
		require.GreaterOrEqual(t, len(words.Walk.Texts), 40, lang)
		r := rand.New(rand.NewPCG(3, uint64(len(words.Walk.Texts))))
		start := sealed(t)
		start.switchOn(lang)
		start.state.Lang = lang
		start.says("LIT B")
		start.says(words.Say.Covered + " B")
		require.Len(t, start.state.Drums, 2)
		require.Equal(t, "sealed", start.state.Drums[1].Stage)
		for range walks {
			p := *start
			var path []string
			for range 8 {
				name, ev := drawNext(r, &p, words.Walk.Texts)
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
func drawNext(r *rand.Rand, p *phone, texts []string) (string, dialog.Event) {
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
	text := texts[r.IntN(len(texts))]
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
	if turn.State.Lang != "" { // unlike a person who is forgotten or has not chosen yet
		lang = turn.State.Lang
	}
	opens := languages(t)[lang]
	for _, reply := range turn.Replies {
		named := slices.ContainsFunc(free, func(name string) bool {
			return strings.Contains(reply.Text, " "+name+":") || strings.Contains(reply.Text, " "+name+" :")
		})
		if !named && opens.invites.MatchString(opens.harmless.Replace(reply.Plain())) {
			require.Fail(t, "an opening word before the wait is over", "%s at %s\n%s", strings.Join(path, " > "), now.Format("Mon 15:04"), reply.Plain())
		}
	}
}
