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

// stage is a stage of a batch, what must be said in the turn that brings its
// message or before, and ways to come to that message. A step "+13h" moves the
// clock and rings what comes due; a step "notice rain" is an officer's notice
// about the weather. What must be said is a message of the catalogue, or words of
// a message that says it shorter.
type stage struct {
	name  string
	ids   []locales.ID
	words map[locales.Lang][]string
	paths map[locales.Lang][]string // steps parted by " > "
}

// stages are those of a batch, and of what is sent to many, in order.
var stages = []stage{
	{
		name: "before gathering: a plan",
		ids:  []locales.ID{"caution.drum", "caution.young"},
		paths: map[locales.Lang][]string{
			"en": {"plan 50 kg cobs", "cobs 1 drum dry > plan > 50 kg", "MENU > 8 > 2 > 50 > 1", "plan 50 kg > maize stalks"},
			"sw": {"mpango kilo 50 magunzi", "magunzi pipa 1 kavu > mpango > kilo 50", "MENYU > 8 > 2 > 50 > 1"},
			"fr": {"plan 50 kg rafles", "rafles 1 fut sec > plan > 50 kg", "MENU > 8 > 2 > 50 > 1"},
		},
	},
	{
		name: "before gathering, the place and lighting: a recipe",
		words: map[locales.Lang][]string{
			"en": {"ever cut", "Outside, bare ground, no wind, no fire ban", "water, sand", "No petrol", "Children 10 steps off", "inside stays hot"},
			"sw": {"sikate", "Nje, ardhi tupu, bila upepo au marufuku ya moto", "maji, mchanga", "Si petroli", "Watoto hatua 10", "ndani moto"},
			"fr": {"oupe", "Dehors, sol nu, sans vent, feu permis", "eau, sable", "Sans essence", "Enfants à 10 pas", "chaud dedans"},
		},
		paths: map[locales.Lang][]string{
			"en": {"cobs 1 drum dry", "MENU > 1 > 1 > 2 > 1", "cobs > 3 sacks > snaps", "rice husk > 1 > 1 > crackles", "wet cobs 1 drum > dry", "cobs 1 drum dry > no, 3 drums", "300 drums > 2 > cobs > dry"},
			"sw": {"magunzi pipa 1 kavu", "MENYU > 1 > 1 > 2 > 1", "magunzi > gunia 3 > kavu", "magunzi pipa 1 mbichi > kavu", "magunzi pipa 1 kavu > hapana, pipa 3"},
			"fr": {"rafles 1 fut sec", "MENU > 1 > 1 > 2 > 1", "rafles > 3 sacs > sec", "rafles mouillees 1 fut > sec", "rafles 1 fut sec > non, 3 futs"},
		},
	},
	{
		name: "lighting: asked first",
		words: map[locales.Lang][]string{
			"en": {"Never petrol or kerosene", "outside on bare ground", "calm weather"},
			"sw": {"petroli", "nje kwenye ardhi tupu", "upepo ukitulia"},
			"fr": {"essence", "dehors sur sol nu", "sans vent"},
		},
		paths: map[locales.Lang][]string{"en": {"can i light it", "should i light"}, "sw": {"naweza kuwasha", "niwashe"}, "fr": {"puis je allumer", "dois je allumer"}},
	},
	{
		name: "covering",
		ids:  []locales.ID{"caution.covering"},
		paths: map[locales.Lang][]string{
			"en": {"LIT", "cobs 1 drum dry > LIT", "cobs 1 drum wet > LIT", "LIT B", "lit 40 minutes ago", "lit 2 drums", "STOP > LIT"},
			"sw": {"NIMEWASHA", "magunzi pipa 1 kavu > NIMEWASHA", "magunzi pipa 1 mbichi > NIMEWASHA", "STOP > NIMEWASHA"},
			"fr": {"ALLUME", "rafles 1 fut sec > ALLUME", "rafles 1 fut mouille > ALLUME", "STOP > ALLUME"},
		},
	},
	{
		name: "the wait",
		ids:  []locales.ID{"caution.opening"},
		words: map[locales.Lang][]string{
			"en": {"even if it feels cold", "also in rain", "Do not leave it alone near grass"},
			"sw": {"hata ukihisi limepoa", "hata mvua", "Usiliache peke yake karibu na nyasi"},
			"fr": {"même s'il semble froid", "même sous la pluie", "seul près de l'herbe"},
		},
		paths: map[locales.Lang][]string{
			"en": {"LIT > COVERED", "COVERED", "LIT > LIT B > COVERED > B", "LIT > LIT B > covered both", "LIT > +20m > 3 > COVERED", "LIT > fire went out > COVERED"},
			"sw": {"NIMEWASHA > NIMEFUNIKA", "NIMEFUNIKA", "NIMEWASHA > +20m > 3 > NIMEFUNIKA"},
			"fr": {"ALLUME > COUVERT", "COUVERT", "ALLUME > +20m > 3 > COUVERT"},
		},
	},
	{
		name: "opening",
		ids:  []locales.ID{"caution.glowing"},
		words: map[locales.Lang][]string{
			"en": {"not before", "cold all over and no smoke"}, "sw": {"si kabla", "baridi kote na hakuna moshi"}, "fr": {"pas avant", "froids partout et sans fumée"},
		},
		paths: map[locales.Lang][]string{"en": {"COVERED > +30h", "COVERED > +30h > open?"}, "sw": {"NIMEFUNIKA > +30h", "NIMEFUNIKA > +30h > nifungue?"}, "fr": {"COUVERT > +30h", "COUVERT > +30h > ouvrir?"}},
	},
	{
		name: "opened",
		ids:  []locales.ID{"caution.glowing"},
		paths: map[locales.Lang][]string{
			"en": {"COVERED > +30h > OPENED", "OPENED", "COVERED > OPENED", "COVERED > +30h > OPENED > warm", "COVERED > +30h > OPENED > glow", "OPENED > 3", "COVERED > +30h > OPENED > COVERED"},
			"sw": {"NIMEFUNIKA > +30h > NIMEFUNGUA", "NIMEFUNGUA", "NIMEFUNIKA > NIMEFUNGUA", "NIMEFUNIKA > +30h > NIMEFUNGUA > joto"},
			"fr": {"COUVERT > +30h > OUVERT", "OUVERT", "COUVERT > OUVERT", "COUVERT > +30h > OUVERT > tiede"},
		},
	},
	{
		name: "storing charcoal",
		ids:  []locales.ID{"caution.storing"},
		paths: map[locales.Lang][]string{
			"en": {"COVERED > +30h > OPENED > cold", "COVERED > +30h > OPENED > 1", "the sack is hot", "drying > 10 days"},
			"sw": {"NIMEFUNIKA > +30h > NIMEFUNGUA > baridi", "NIMEFUNIKA > +30h > NIMEFUNGUA > 1", "kukausha > siku 10"},
			"fr": {"COUVERT > +30h > OUVERT > froid", "COUVERT > +30h > OUVERT > 1", "secher > 10 jours"},
		},
	},
	{
		name: "crushing and paste",
		ids:  []locales.ID{"caution.crushing", "caution.paste"},
		paths: map[locales.Lang][]string{
			"en": {"9 kg charcoal cassava flour", "COVERED > +30h > OPENED > cold > weighed 9 kg", "weighed 9 kg", "MENU > 3 > 9 > 1", "9 kg charcoal, 2 kg cassava root > 1", "9 kg charcoal, 2 kg cassava root > 2"},
			"sw": {"mkaa kilo 9 unga wa muhogo", "nimepima kilo 9", "MENYU > 3 > 9 > 1", "mkaa kilo 9, muhogo kilo 2 > 1"},
			"fr": {"9 kg charbon farine de manioc", "pese 9 kg", "MENU > 3 > 9 > 1", "9 kg charbon, 2 kg manioc frais > 1"},
		},
	},
	{
		name:  "crushing, with a binder that is not cooked",
		ids:   []locales.ID{"caution.crushing"},
		paths: map[locales.Lang][]string{"en": {"9 kg charcoal molasses", "9 kg charcoal clay"}, "sw": {"mkaa kilo 9 molasi", "mkaa kilo 9 udongo wa mfinyanzi"}, "fr": {"9 kg charbon melasse", "9 kg charbon argile"}},
	},
	{
		name:  "pressing",
		ids:   []locales.ID{"caution.pressing"},
		paths: map[locales.Lang][]string{"en": {"press", "press 12 kg", "MENU > 4", "9 kg charcoal cassava flour > press", "press > 3 people"}, "sw": {"kandamiza", "kandamiza kilo 12", "MENYU > 4"}, "fr": {"presser", "presser 12 kg", "MENU > 4"}},
	},
	{
		name:  "drying",
		ids:   []locales.ID{"caution.drying"},
		paths: map[locales.Lang][]string{"en": {"drying", "MENU > 5", "drying big ones", "drying > 2 days", "my briquettes are mouldy > 1", "check > 4 > 4 > 4"}, "sw": {"kukausha", "MENYU > 5", "kukausha > siku 2"}, "fr": {"secher", "MENU > 5", "secher > 2 jours"}},
	},
	{
		name:  "selling",
		ids:   []locales.ID{"caution.buyers"},
		paths: map[locales.Lang][]string{"en": {"price > 60 > 90", "MENU > 8 > 3 > 60 > 90", "price > 60 > no", "check > 1 > 1 > 1"}, "sw": {"bei > 60 > 90", "MENYU > 8 > 3 > 60 > 90", "ubora > 1 > 1 > 1"}, "fr": {"prix > 60 > 90", "MENU > 8 > 3 > 60 > 90", "test > 1 > 1 > 1"}},
	},
	{
		name:  "rain told to many",
		ids:   []locales.ID{"burn.rain"},
		paths: map[locales.Lang][]string{"en": {"LIT > notice rain", "COVERED > notice rain", "COVERED > rain", "rain"}, "sw": {"NIMEWASHA > notice rain", "NIMEFUNIKA > notice rain", "NIMEFUNIKA > mvua", "mvua"}, "fr": {"ALLUME > notice rain", "COUVERT > notice rain", "COUVERT > pluie", "pluie"}},
	},
	{
		name:  "wind told to many",
		words: map[locales.Lang][]string{"en": {"Light no drum"}, "sw": {"Usiwashe pipa"}, "fr": {"N'allumez aucun fût"}},
		paths: map[locales.Lang][]string{"en": {"cobs 1 drum dry > notice wind"}, "sw": {"magunzi pipa 1 kavu > notice wind"}, "fr": {"rafles 1 fut sec > notice wind"}},
	},
}

// TestMustCautions plays every way to every stage in every language, on a channel
// that sends and on one that cannot, with the drum's past known or not.
func TestMustCautions(t *testing.T) {
	catalog, err := locales.Load()
	require.NoError(t, err)
	for _, stage := range stages {
		for _, l := range []locales.Lang{"en", "sw", "fr"} {
			require.NotEmpty(t, stage.paths[l], stage.name)
			for _, path := range stage.paths[l] {
				for _, sends := range []bool{true, false} {
					if !sends && (strings.Contains(path, "notice") || strings.HasSuffix(path, "h") || strings.Contains(path, "m > 3")) {
						continue // nothing is sent
					}
					for _, past := range []string{"", "food"} {
						p := speaks(t, l)
						p.channel.Sends, p.state.DrumPast = sends, past
						said := p.follows(strings.Split(path, " > "))
						for _, id := range stage.ids {
							assertContains(t, said, catalog.Text(l, id, nil), "%s: %s (sends %v)", stage.name, path, sends)
						}
						for _, words := range stage.words[l] {
							assertContains(t, said, words, "%s: %s (sends %v)", stage.name, path, sends)
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
