package dialog_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// night is an hour of the evening at which nobody works at a drum.
func (p *phone) night() { p.now = time.Date(2026, 3, 2, 21, 0, 0, 0, p.place.Zone) }

// TestC5ResealingCountsFromNow: a drum that is told to be closed again waits from
// then, however long ago it was opened.
func TestC5ResealingCountsFromNow(t *testing.T) {
	for _, text := range []string{"opened 3 hours ago", "opened at 1", "weighed 9 kg 2 hours ago"} {
		p := speaks(t, "en")
		p.lasts("LIT", "COVERED") // an unknown waste: a day and a night
		p.now = p.now.Add(6 * time.Hour)
		require.Contains(t, all(p.says(text)), "Too early!", text)
		require.False(t, p.state.Drums[0].NotBefore.Before(p.now.Add(24*time.Hour)), text)
	}
}

// TestC11NothingIsCoveredBeforeItIsLit: a time that cannot be, such as one still to
// come, does not shorten a wait: of two possible times the later counts.
func TestC11NothingIsCoveredBeforeItIsLit(t *testing.T) {
	for _, text := range []string{"covered at 11", "covered 12 hours ago"} {
		p := speaks(t, "en")
		p.says("LIT")
		p.now = p.now.Add(time.Hour)
		p.says(text)
		require.Equal(t, p.now.Unix(), p.state.Drums[0].SealedAt.Unix(), text)
	}
	p := speaks(t, "en")
	p.lasts("LIT", "not covered yet")
	p.now = p.now.Add(2 * time.Hour)
	p.says("2") // done, since it was asked
	require.Equal(t, p.now.Unix(), p.state.Drums[0].SealedAt.Unix())
}

// TestC4NobodyGoesToASealedDrumAtNight: a leak or a wind is no work for the dark,
// and what leaks all night waits from the morning.
func TestC4NobodyGoesToASealedDrumAtNight(t *testing.T) {
	for _, text := range []string{"leak", "is it leaking?", "strong wind", "rain"} {
		p := sealed(t)
		p.night()
		answer := all(p.says(text))
		require.NotContains(t, answer, "soil on the", text)
		require.NotContains(t, answer, "Clear dry grass", text)
		require.Contains(t, answer, p.state.Drums[0].NotBefore.In(p.place.Zone).Format("Monday 15:04"), text)
	}
	p := sealed(t)
	p.night()
	p.says("leak")
	morning := time.Date(2026, 3, 3, 6, 0, 0, 0, p.place.Zone)
	require.False(t, p.state.Drums[0].NotBefore.Before(morning.Add(12*time.Hour)))
}

// TestC4NothingIsSpreadInTheDark: who opened a drum at night, after its wait, is
// not told to spread charcoal before it is light.
func TestC4NothingIsSpreadInTheDark(t *testing.T) {
	p := sealed(t)
	p.night()
	p.now = p.now.AddDate(0, 0, 2)
	p.says("OPENED")
	turn := p.says("cold")
	require.Equal(t, []string{"burn.spread-dark", "caution.storing"}, keys(turn))
}

// TestC18NoWeightAmongTheWordsForInside: a digit beyond the list is no weight
// while it is open how the charcoal looks.
func TestC18NoWeightAmongTheWordsForInside(t *testing.T) {
	p := sealed(t)
	p.now = p.now.AddDate(0, 0, 1)
	p.says("OPENED")
	require.Contains(t, keys(p.says("4")), "burn.inside")
	require.Equal(t, "opened", p.state.Drums[0].Stage)
	require.Contains(t, all(p.says("5 kg")), "For 5 kg charcoal")
}

// TestC1NotUnderstoodBesideAHotDrum: a text that may have been a misspelt report is
// answered with the not-before time too.
func TestC1NotUnderstoodBesideAHotDrum(t *testing.T) {
	for _, text := range []string{"upened", "xqz", "shal i opin"} {
		p := sealed(t)
		require.Equal(t, "burn.not-before", keys(p.says(text))[0], text)
	}
	for _, text := range []string{"can i opn", "is it time to opem"} {
		require.Equal(t, "burn.not-before", keys(sealed(t).says(text))[0], text)
	}
	require.Contains(t, all(sealed(t).says("opned")), "Too early!")
}

// TestC7WetStaysWetAfterOtherTalk: who was refused for wet waste and insists is
// refused again, and LIT is met as of wet waste whatever was spoken of since.
func TestC7WetStaysWetAfterOtherTalk(t *testing.T) {
	p := newPhone(t) // the row of languages lies on the first answer
	p.says("maize stalks 3 drums wet")
	require.Contains(t, all(p.says("but i want to burn today")), "do not light yet")
	for _, between := range []string{"weather", "price", "safety", "what about a drum that is lit"} {
		p := speaks(t, "en")
		p.lasts("cobs 1 drum wet", between)
		require.Contains(t, keys(p.says("LIT")), "burn.lit-wet", between)
	}
	p = speaks(t, "en")
	p.lasts("cobs 1 drum wet", "dry", "weather")
	require.Contains(t, keys(p.says("LIT")), "burn.lit")
}

// TestC6BothAnswersWhichDrum: "both" covers both.
func TestC6BothAnswersWhichDrum(t *testing.T) {
	p := speaks(t, "en")
	p.lasts("lit 2 drums", "COVERED", "both")
	for _, d := range p.state.Drums {
		require.Equal(t, "sealed", d.Stage)
	}
}
