package dialog_test

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
)

// bindingWait is the wait of a waste by a table of its own, apart from the code
// under test: 12 hours for coarse waste, 24 for the rest and the unknown.
func bindingWait(waste string) time.Duration {
	switch waste {
	case "maize-cob", "maize-stalk", "sorghum-stalk", "sunflower-stalk", "cotton-stalk", "cassava-stem", "woody-stalk", "bamboo", "prunings":
		return 12 * time.Hour
	}
	return 24 * time.Hour
}

// checkShut fails if a turn can send somebody to a drum that must stay shut.
func checkShut(t *testing.T, before dialog.State, turn dialog.Turn, now time.Time, path func() string) {
	var shut, free []string
	for _, d := range turn.State.Drums {
		if d.Stage == "sealed" && now.Before(d.SealedAt.Add(bindingWait(d.Waste))) {
			shut = append(shut, d.Name)
		} else if d.Stage == "sealed" || d.Stage == "opened" {
			free = append(free, d.Name)
		}
	}
	for _, was := range before.Drums {
		if was.Stage != "sealed" || !now.Before(was.SealedAt.Add(bindingWait(was.Waste))) {
			continue
		}
		for _, is := range turn.State.Drums {
			if is.Name != was.Name {
				continue
			}
			require.Equal(t, "sealed", is.Stage, "a drum left its wait: %s", path())
			require.False(t, is.SealedAt.Before(was.SealedAt), "the wait became shorter: %s", path())
			require.False(t, is.NotBefore.Before(is.SealedAt.Add(bindingWait(is.Waste))), "the wait is too short: %s", path())
		}
	}
	if len(shut) == 0 {
		return
	}
	english := languages(t)["en"]
	for _, r := range turn.Replies {
		text := english.harmless.Replace(r.Plain())
		named := slices.ContainsFunc(free, func(name string) bool { return strings.HasPrefix(r.Text, "Drum "+name+":") })
		if english.invites.MatchString(text) && !named {
			require.Fail(t, "an opening word before the wait is over", "%s\n%s", path(), r.Plain())
		}
	}
}

// TestNothingOpensASealedDrum searches all sequences of four events after a
// drum was sealed: texts, keys, timers on time and early, messages that lapsed,
// and hours that pass. None of them brings an opening word before the binding
// wait is over, takes the drum out of its wait, or shortens it.
func TestNothingOpensASealedDrum(t *testing.T) {
	said := []string{
		"OPENED", "open?", "can i open", "is it cold", "1", "2", "3", "cold", "COVERED", "LEAK", "LIT", "weighed 9 kg", "9 kg",
		"rain", "STOP", "MENU", "BACK", "WHY", "cobs 1 drum dry",
	}
	depth := 4
	if os.Getenv("COBLINE_SCALE") == "small" {
		depth = 2
	}
	start := sealed(t)
	sequences, steps := 0, 0
	var path []string
	trail := func() string { return strings.Join(path, " > ") }
	var walk func(s dialog.State, now time.Time, left int)
	walk = func(s dialog.State, now time.Time, left int) {
		if left == 0 {
			sequences++
			return
		}
		visit := func(name string, now time.Time, ev dialog.Event) {
			path = append(path, name)
			w := start.world()
			w.Now = now
			turn := start.e.Step(s, ev, w)
			steps++
			checkShut(t, s, turn, now, trail)
			walk(turn.State, now, left-1)
			path = path[:len(path)-1]
		}
		for _, text := range said {
			visit(text, now, dialog.Said{Text: text, Via: dialog.SMS})
		}
		visit("lapsed", now, dialog.Lapsed{Ref: "r", Key: "burn.hold", Why: dialog.Expired})
		if len(s.Timers) > 0 {
			visit("early "+string(s.Timers[0].ID), now, dialog.Due{Timer: s.Timers[0]})
			at := s.Timers[0].At
			if at.Before(now) {
				at = now
			}
			visit("due "+string(s.Timers[0].ID), at.In(start.place.Zone), dialog.Due{Timer: s.Timers[0]})
		}
		visit("3 hours, open", now.Add(3*time.Hour), dialog.Said{Text: "open", Via: dialog.SMS})
	}
	walk(start.state, start.now, depth)
	t.Logf("%d sequences, %d steps", sequences, steps)
	if depth == 4 {
		require.GreaterOrEqual(t, sequences, 200_000)
	}
}
