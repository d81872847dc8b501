package dialog_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// stages are those of a batch, and of what is sent to many, in order, with the
// fixed lines that must be said in the turn that brings a stage's message or
// before. Ways to each, and words of a message that says it shorter, stand in the
// languages' files.
var stages = []struct {
	key, name string
	ids       []locales.ID
}{
	{"plan", "before gathering: a plan", []locales.ID{"caution.drum", "caution.young"}},
	{"recipe", "before gathering, the place and lighting: a recipe", nil},
	{"asked", "lighting: asked first", nil},
	{"covering", "covering", []locales.ID{"caution.covering"}},
	{"wait", "the wait", []locales.ID{"caution.opening"}},
	{"opening", "opening", []locales.ID{"caution.glowing"}},
	{"opened", "opened", []locales.ID{"caution.glowing"}},
	{"storing", "storing charcoal", []locales.ID{"caution.storing"}},
	{"paste", "crushing and paste", []locales.ID{"caution.crushing", "caution.paste"}},
	{"uncooked", "crushing, with a binder that is not cooked", []locales.ID{"caution.crushing"}},
	{"pressing", "pressing", []locales.ID{"caution.pressing"}},
	{"drying", "drying", []locales.ID{"caution.drying"}},
	{"selling", "selling", []locales.ID{"caution.buyers"}},
	{"rain", "rain told to many", []locales.ID{"burn.rain"}},
	{"wind", "wind told to many", nil},
}

// TestMustCautions plays every way to every stage in every language, on a channel
// that sends and on one that cannot, with the drum's past known or not.
func TestMustCautions(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for l, words := range languages(t) {
		require.Len(t, words.Caution, len(stages), l)
		for _, stage := range stages {
			ways := words.Caution[stage.key]
			require.NotEmpty(t, ways.Paths, "%s: %s", l, stage.key)
			require.NotEmpty(t, len(stage.ids)+len(ways.Words), "%s: %s", l, stage.key)
			for _, path := range ways.Paths {
				for _, sends := range []bool{true, false} {
					if !sends && (strings.Contains(path, "notice") || strings.HasSuffix(path, "h") || strings.Contains(path, "m > 3")) {
						continue // nothing is sent
					}
					for _, past := range []string{"", "food"} {
						p := speaks(t, l)
						p.channel.Sends, p.state.DrumPast = sends, past
						said := p.follows(strings.Split(path, " > "))
						for _, id := range stage.ids {
							assertContains(t, said, catalog.Text(l, id, nil), "%s, %s: %s (sends %v)", l, stage.name, path, sends)
						}
						for _, words := range ways.Words {
							assertContains(t, said, words, "%s, %s: %s (sends %v)", l, stage.name, path, sends)
						}
					}
				}
			}
		}
	}
}

// follows takes the steps of a path and returns what the last one brought.
func (p *phone) follows(steps []string) string {
	said := ""
	for _, step := range steps {
		said = ""
		if wait, ok := strings.CutPrefix(step, "+"); ok {
			d, err := time.ParseDuration(wait)
			require.NoError(p.t, err)
			p.until(p.now.Add(d), func(turn dialog.Turn) { said += all(turn) + "\n" })
		} else if ready, ok := strings.CutPrefix(step, "notice "); ok {
			n := dialog.Notice{ID: "n", Ready: ready, Hour: p.now.Add(6 * time.Hour), Expires: p.now.Add(6 * time.Hour), Weather: true}
			said = all(p.step(dialog.Told{Notice: n}))
		} else {
			said = all(p.says(step))
		}
	}
	return said
}

// besides is what a turn must say beside a message, whatever brought it.
var besides = map[string][]string{
	"plan.need": {"caution.drum"}, "recipe.light": {"recipe.load", "recipe.expect"},
	"burn.lit": {"caution.covering"}, "burn.lit-wet": {"caution.covering"}, "burn.lit-late": {"caution.covering"}, "burn.lit-long": {"caution.covering"}, "burn.lit-dark": {"caution.covering"},
	"burn.may-open":     {"caution.glowing"},
	"burn.opened-early": {"caution.glowing"}, "burn.still-hot": {"caution.glowing"}, "burn.resealed": {"caution.glowing"}, "burn.spread": {"caution.storing"},
	"binder.flour": {"caution.crushing", "caution.paste"}, "binder.root": {"caution.crushing", "caution.paste"}, "binder.sets": {"caution.crushing"}, "binder.packs": {"caution.crushing"},
	"press.pieces": {"caution.pressing"}, "press.day": {"caution.pressing"},
	"dry.briquettes": {"caution.drying"}, "dry.damp": {"caution.drying"}, "dry.ready": {"caution.storing"},
	"price.sell": {"caution.buyers"}, "check.fit": {"caution.buyers"}, "fault.mould": {"caution.drying"},
}

// lacking returns a message of a turn and the caution that is not beside it.
// Where four messages became three, the second stands in the first.
func lacking(turn dialog.Turn) (key, caution string) {
	for _, r := range turn.Replies {
		for _, id := range besides[r.Key] {
			beside := slices.ContainsFunc(turn.Replies, func(o dialog.Reply) bool { return o.Key == id })
			if !beside && !(len(turn.Replies) == 3 && strings.Contains(turn.Replies[0].Text, "\n")) {
				return r.Key, id
			}
		}
	}
	return "", ""
}

func assertContains(t *testing.T, said, want, f string, a ...any) {
	if !strings.Contains(said, want) {
		t.Errorf(f+"\nwant %q\n%s", append(a, want, said)...)
	}
}
