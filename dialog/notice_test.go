package dialog_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/locales"
)

// told lets a notice reach the phone.
func (p *phone) told(n dialog.Notice) []dialog.Reply { return p.step(dialog.Told{Notice: n}).Replies }

func (p *phone) rain(in time.Duration) dialog.Notice {
	return dialog.Notice{ID: "n", Ready: "rain", Hour: p.now.Add(in), Expires: p.now.Add(in), Weather: true}
}

// C24 A ready notice is in the person's language, names its place and hour, and
// is worth nothing after it. A notice in words falls back to the line's own
// language.
func TestC24ReadyNotice(t *testing.T) {
	catalog, err := theCatalog()
	require.NoError(t, err)
	for lang := range languages(t) {
		when := catalog.Text(lang, "when.day", locales.Args{"Day": catalog.Text(lang, "day.mon", nil), "Time": "15:00"})
		want := catalog.Text(lang, "notice.rain", locales.Args{"Place": "Kisimani", "When": when})
		p := known(t)
		p.switchOn(lang)
		p.state.Lang = lang
		p.place.Name = "Kisimani"
		replies := p.told(p.rain(6 * time.Hour))
		require.Len(t, replies, 1)
		require.Contains(t, replies[0].Text, want)
		require.Equal(t, dialog.NoticeKey, replies[0].Key)
		require.Equal(t, dialog.Bulletin, replies[0].Urgency)
		require.Equal(t, 6*time.Hour, replies[0].Valid)
		require.Empty(t, p.told(p.rain(0)), "its hour has come")
	}
	p := known(t)
	p.state.Lang = "sw"
	english := dialog.Notice{ID: "n", Texts: map[locales.Lang]string{"en": "Training on Friday."}, Expires: p.now.Add(time.Hour)}
	require.Equal(t, "Training on Friday.", p.told(english)[0].Text)
	p.says("STOP")
	require.Empty(t, p.told(english))
}

// C24 Beside a drum the rain line comes with a notice about the weather, and
// with no other.
func TestC24RainLineBesideADrum(t *testing.T) {
	keysOf := func(replies []dialog.Reply) (keys []string) {
		for _, r := range replies {
			keys = append(keys, r.Key)
			if r.Key != dialog.NoticeKey {
				require.Equal(t, dialog.Safety, r.Urgency)
			}
		}
		return keys
	}
	p := sealed(t)
	require.Equal(t, []string{"notice", "burn.rain"}, keysOf(p.told(p.rain(time.Hour))))
	other := dialog.Notice{ID: "n", Texts: map[locales.Lang]string{"en": "hi"}, Expires: p.now.Add(time.Hour)}
	require.Equal(t, []string{"notice"}, keysOf(p.told(other)))
	p = known(t)
	p.says("cobs 1 drum snaps")
	p.says("1")
	require.Equal(t, []string{"notice"}, keysOf(p.told(p.rain(time.Hour))))
	p.says("LIT")
	require.Equal(t, []string{"notice", "burn.rain", "burn.rain-lit"}, keysOf(p.told(p.rain(time.Hour))))
}

// C24 The rings: what was reported, what is likely, who accepted.
func TestC24Rings(t *testing.T) {
	p := known(t)
	ring := func() dialog.Ring { return p.state.Ring(p.now) }
	require.Zero(t, ring())
	p.says("cobs 1 drum snaps")
	p.says("1")
	require.Equal(t, dialog.RingLikely, ring())
	p.says("LIT")
	require.Equal(t, dialog.RingReported, ring())
	require.Equal(t, []string{"lit"}, p.state.Stages(p.now))
	require.True(t, p.state.Burning())
	p.now = p.now.Add(30 * time.Minute)
	p.says("COVERED")
	require.Equal(t, []string{"sealed"}, p.state.Stages(p.now))
	p.now = p.now.Add(24 * time.Hour)
	p.says("OPENED")
	require.False(t, p.state.Burning())
	p.says("WEIGHED 9 kg")
	require.Equal(t, []string{"maize-cob"}, p.state.Drying(p.now))
	require.Contains(t, p.state.Stages(p.now), dialog.StageDrying)
	require.Equal(t, dialog.RingReported, ring())
	p.now = p.now.Add(11 * 24 * time.Hour)
	require.Zero(t, ring())
	p.state.Profile.Consent = "text-yes"
	require.Equal(t, dialog.RingAccepted, ring())
	p.state.Profile.Consent = "text-no"
	require.Zero(t, ring())
	require.True(t, p.state.Declines())
}

// C21 After 120 quiet days the number is asked once, by a word, what shows
// nothing of its person; notices wait until somebody who belongs to it answers.
func TestC21NoticeAfterALongAbsence(t *testing.T) {
	for text, waits := range map[string]bool{
		"START": false, "cobs 1 drum snaps": false, "qwzx": true, "STOP": false, "NOT ME": false,
	} {
		t.Run(text, func(t *testing.T) {
			p := known(t)
			p.says("hi")
			p.now = p.now.Add(121 * 24 * time.Hour)
			asked := p.told(p.rain(5 * time.Hour))
			require.Len(t, asked, 1)
			require.Equal(t, "notice.still-you", asked[0].Key)
			require.False(t, dialog.AsksForDigit(asked[0].Text))
			require.Empty(t, p.told(p.rain(6*time.Hour)), "asked once")
			p.says(text)
			require.Equal(t, waits, len(p.told(p.rain(7*time.Hour))) == 0 && !p.state.Stopped)
		})
	}
	t.Run("again when the question has lapsed", func(t *testing.T) {
		// It may have been refused, or its notice cancelled before it left.
		p := known(t)
		p.says("hi")
		p.now = p.now.Add(121 * 24 * time.Hour)
		long := p.told(p.rain(30 * 24 * time.Hour))
		require.Equal(t, 7*24*time.Hour, long[0].Valid, "no two of them wait at once")
		p.now = p.now.Add(long[0].Valid - time.Minute)
		require.Empty(t, p.told(p.rain(5*time.Hour)))
		p.now = p.now.Add(time.Minute)
		again := p.told(p.rain(5 * time.Hour))
		require.Len(t, again, 1)
		require.Equal(t, "notice.still-you", again[0].Key)
		require.Empty(t, p.told(p.rain(6*time.Hour)))
		p.says("START")
		require.Equal(t, dialog.NoticeKey, p.told(p.rain(7 * time.Hour))[0].Key)
	})
	p := known(t)
	p.says("hi")
	p.now = p.now.Add(119 * 24 * time.Hour)
	require.Equal(t, dialog.NoticeKey, p.told(p.rain(5 * time.Hour))[0].Key)
}

// C18 A notice asks for a word, never for a digit, which belongs to the question
// that is open. Digits that are amounts and times are no matter.
func TestC18NoticeAsksForAWord(t *testing.T) {
	for text, asks := range map[string]bool{
		"Coming on Friday? Reply 1 for yes, 2 for no.":      true,
		"Coming? reply with 1":                              true,
		"Utakuja? Jibu 1":                                   true,
		"Coming?\n1 yes\n2 no":                              true,
		"Coming?\n1. yes":                                   true,
		"Send \"1\" if you come":                            true,
		"Bring 2 bags of cobs on Friday. Coming? Text ASK.": false,
		"Rain at 15:00. Cover 5 racks.":                     false,
		"Text ASK by 5 March.":                              false,
		"Call 0700 000 001":                                 false,
	} {
		require.Equal(t, asks, dialog.AsksForDigit(text), text)
	}
	catalog, err := theCatalog()
	require.NoError(t, err)
	for _, lang := range catalog.Langs() {
		for _, ready := range dialog.ReadyNotices {
			text := catalog.Text(lang, locales.ID("notice."+ready), locales.Args{"Place": "Kisimani", "When": "Monday 15:00"})
			require.False(t, dialog.AsksForDigit(text), text)
		}
	}
}
