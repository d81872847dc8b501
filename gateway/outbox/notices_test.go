package outbox_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// rain is a warning of rain some hours ahead.
func rain(in time.Duration) gateway.Notice {
	return gateway.Notice{Message: dialog.Notice{Ready: "rain", Hour: time.Now().Add(in)}, By: "officer"}
}

// written is a notice in an officer's own words, for those who accepted
// messages.
func written(in time.Duration) gateway.Notice {
	return gateway.Notice{Message: dialog.Notice{
		Texts:   map[locales.Lang]string{"en": "Training on Friday. Coming? Text ASK.", "sw": "Mafunzo Ijumaa. Utakuja? Andika ULIZA."},
		Expires: time.Now().Add(in),
	}}
}

// send starts a notice and returns its id.
func (w *world) send(n gateway.Notice) string {
	started, err := w.notices.Start(w.ctx, n, time.Now())
	require.NoError(w, err)
	return started.Message.ID
}

func (w *world) tally(id string) gateway.Tally {
	t, err := w.store.Tally(w.ctx, id)
	require.NoError(w, err)
	return t
}

// told returns when a number was sent notices.
func (w *world) told(n gateway.Number) (at []time.Time) {
	for _, m := range w.gateway.by(n) {
		if m.Key == dialog.NoticeKey {
			at = append(at, m.at)
		}
	}
	return at
}

func (w *world) cook(numbers ...gateway.Number) {
	for _, n := range numbers {
		w.says(n, "cobs 1 drum dry")
	}
}

// accepts enrols a number that an officer has on a list of consents.
func (w *world) accepts(n gateway.Number, lang locales.Lang) {
	_, err := w.service.Enrol(w.ctx, n, dialog.Profile{Lang: lang, Consent: "list"}, "asha", time.Now())
	require.NoError(w, err)
}

func people(t *testing.T, n int) (all []gateway.Number) {
	for i := range n {
		all = append(all, person(t, i))
	}
	return all
}

// TestC24NoticeReachesEachOnce: those who asked for a recipe are warned of rain,
// once, by the hour it names, before other notices and after what is more
// urgent.
func TestC24NoticeReachesEachOnce(t *testing.T) {
	play(t, 100, func(w *world) {
		all := people(t, 30)
		w.cook(all...)
		accepted := person(t, 99)
		w.accepts(accepted, "sw")
		time.Sleep(time.Hour)

		p, err := w.notices.Preview(w.ctx, rain(3*time.Hour), time.Now())
		require.NoError(t, err)
		require.Equal(t, 30, p.Persons)
		require.Equal(t, map[string]int{"likely": 30}, p.Rings)
		require.Equal(t, map[string]int{"not whom it is for": 1}, p.LeftOut, "accepted, but the ring is the default")

		w.gateway.failing(func(gateway.Outbound) error { return errors.New("down") })
		training := w.send(written(24 * time.Hour))
		wide := rain(3 * time.Hour)
		wide.Audience.Ring = dialog.RingAccepted
		warning := w.send(wide)
		time.Sleep(time.Minute)
		w.says(all[0], "my child fainted")
		w.gateway.failing(nil)
		time.Sleep(2 * time.Hour)
		for _, n := range all {
			require.Len(t, w.told(n), 1, n)
		}
		require.Len(t, w.told(accepted), 2)
		require.Contains(t, w.gateway.by(accepted)[1].Text, "Mvua inatarajiwa", "the weather goes ahead, in their language")
		require.Contains(t, w.gateway.by(accepted)[2].Text, "Mafunzo")
		keys := w.gateway.keysOf(all[0])
		require.Less(t, slices.Index(keys, "aid.gas"), slices.Index(keys, dialog.NoticeKey), keys)
		require.Equal(t, gateway.Tally{Enlisted: 31, Reached: 31}, w.tally(warning))
		require.Equal(t, gateway.Tally{Enlisted: 1, Reached: 1}, w.tally(training))
	})
}

// TestC24NoticeAtNight: a notice waits for the morning and expires by its hour;
// those beside a drum are warned at once, with the rain line.
func TestC24NoticeAtNight(t *testing.T) {
	play(t, 100, func(w *world) {
		cook, burner := person(t, 1), person(t, 2)
		time.Sleep(7 * time.Hour)
		w.cook(cook)
		w.says(burner, "cobs 1 drum dry")
		w.says(burner, "new drum")
		w.says(burner, "LIT")
		time.Sleep(time.Hour)
		w.says(burner, "COVERED")
		time.Sleep(5 * time.Hour) // ten in the evening
		early, morning := w.send(rain(6*time.Hour)), w.send(rain(12*time.Hour))
		time.Sleep(5 * time.Minute)
		require.Empty(t, w.told(cook))
		require.Len(t, w.told(burner), 2)
		require.Contains(t, w.gateway.keysOf(burner), "burn.rain")
		time.Sleep(11 * time.Hour)
		require.Len(t, w.told(cook), 1)
		require.Equal(t, 6, w.told(cook)[0].In(time.FixedZone("local", 9*60*60)).Hour())
		require.Equal(t, gateway.Tally{Enlisted: 2, Reached: 1, Expired: 1}, w.tally(early))
		require.Equal(t, gateway.Tally{Enlisted: 2, Reached: 2}, w.tally(morning))
	})
}

// TestC24NoticeToABurnThatEnded: who had a drum alight when the notice was listed
// and has none when it begins is not woken by it.
func TestC24NoticeToABurnThatEnded(t *testing.T) {
	play(t, 100, func(w *world) {
		n := person(t, 1)
		for _, text := range []string{"cobs 1 drum dry", "new drum", "LIT"} {
			w.says(n, text)
		}
		time.Sleep(time.Hour)
		w.says(n, "COVERED")
		time.Sleep(23 * time.Hour)
		night := rain(24 * time.Hour)
		night.NotBefore = time.Now().Add(13 * time.Hour) // ten in the evening
		w.send(night)
		time.Sleep(2 * time.Hour)
		w.says(n, "OPENED")
		time.Sleep(12 * time.Hour)
		require.Empty(t, w.told(n))
		time.Sleep(8 * time.Hour)
		require.Len(t, w.told(n), 1)
		require.Equal(t, 6, w.told(n)[0].In(zone).Hour())
	})
}

// TestC21NoticePutOffIsNotForANewOwner: what was told and could not be sent is
// not sent to whoever says that the number is theirs now.
func TestC21NoticePutOffIsNotForANewOwner(t *testing.T) {
	play(t, 100, func(w *world) {
		n := person(t, 1)
		w.cook(n)
		time.Sleep(time.Hour)
		w.gateway.failing(func(gateway.Outbound) error { return errors.New("down") })
		id := w.send(rain(6 * time.Hour))
		time.Sleep(time.Minute)
		w.says(n, "NOT ME")
		w.gateway.failing(nil)
		time.Sleep(time.Hour)
		require.Empty(t, w.told(n))
		require.Equal(t, gateway.Tally{Enlisted: 1, Left: 1}, w.tally(id))
	})
}

// TestC28NoticeOfUnknownFate: a notice that may have been sent is counted and
// not sent again; where the gateway knows a reference again, it is.
func TestC28NoticeOfUnknownFate(t *testing.T) {
	unsure := func(gateway.Outbound) error { return gateway.ErrUnsure }
	play(t, 100, func(w *world) {
		w.cook(person(t, 1))
		time.Sleep(time.Hour)
		w.gateway.failing(unsure)
		id := w.send(rain(6 * time.Hour))
		time.Sleep(time.Minute)
		w.gateway.failing(nil)
		time.Sleep(5 * time.Hour)
		require.Empty(t, w.told(person(t, 1)))
		require.Equal(t, gateway.Tally{Enlisted: 1, Unknown: 1}, w.tally(id))
	})
}

// TestC19OptOutEndsNotices: whoever says STOP while a notice is on its way to
// them does not get it, and gets one confirmation.
func TestC19OptOutEndsNotices(t *testing.T) {
	play(t, 100, func(w *world) {
		all := people(t, 3)
		w.cook(all...)
		w.says(all[0], "STOP")
		time.Sleep(13 * time.Hour) // ten in the evening
		id := w.send(rain(12 * time.Hour))
		time.Sleep(time.Minute)
		w.says(all[1], "STOP")
		w.says(all[1], "what is starch")
		time.Sleep(11 * time.Hour)
		require.Empty(t, w.told(all[0]))
		require.Empty(t, w.told(all[1]))
		require.Len(t, w.told(all[2]), 1)
		require.Equal(t, gateway.Tally{Enlisted: 2, Reached: 1, OptedOut: 1}, w.tally(id))
		keys := w.gateway.keysOf(all[1])
		require.Equal(t, 1, strings.Count(strings.Join(keys, " "), "consent.stopped"), keys)
		require.NotEqual(t, "consent.stopped", keys[len(keys)-1], "a direct question is still answered")

		w.says(all[1], "START")
		w.cook(all[1])
		again := w.send(rain(3 * time.Hour))
		time.Sleep(time.Minute)
		require.Len(t, w.told(all[1]), 1)
		require.Len(t, w.told(all[2]), 2)
		require.Equal(t, gateway.Tally{Enlisted: 2, Reached: 2}, w.tally(again))
	})
}

// TestC20ForgottenNumberIsLeftAlone: the keyed hash of a number that opted out
// and was forgotten keeps it out of imports and notices.
func TestC20ForgottenNumberIsLeftAlone(t *testing.T) {
	play(t, 100, func(w *world) {
		n := person(t, 1)
		for _, text := range []string{"cobs 1 drum dry", "STOP", "FORGET ME", "yes"} {
			w.says(n, text)
		}
		time.Sleep(time.Minute)
		before := len(w.gateway.by(n))
		_, err := w.service.Enrol(w.ctx, n, dialog.Profile{Lang: "en", Consent: "list"}, "asha", time.Now())
		require.ErrorIs(w, err, gateway.ErrOptedOut)
		id := w.send(written(6 * time.Hour))
		time.Sleep(time.Hour)
		require.Len(t, w.gateway.by(n), before)
		require.Zero(t, w.tally(id).Enlisted)
	})
}

// TestC21NoticesAfterALongAbsence: after 120 quiet days a number is asked, once,
// something that shows nothing. What waits comes when it is answered; a new
// owner gets none of it.
func TestC21NoticesAfterALongAbsence(t *testing.T) {
	play(t, 100, func(w *world) {
		same, other, silent := person(t, 1), person(t, 2), person(t, 3)
		for _, n := range []gateway.Number{same, other, silent} {
			w.says(n, "hi")
			w.accepts(n, "en")
		}
		time.Sleep(time.Minute)
		w.idle(121 * 24 * time.Hour)
		p, err := w.notices.Preview(w.ctx, written(24*time.Hour), time.Now())
		require.NoError(t, err)
		require.Equal(t, 3, p.Asked)
		first, second := w.send(written(24*time.Hour)), w.send(written(48*time.Hour))
		time.Sleep(time.Hour)
		for _, n := range []gateway.Number{same, other, silent} {
			keys := w.gateway.keysOf(n)
			require.Equal(t, "notice.still-you", keys[len(keys)-1])
			require.Equal(t, 1, strings.Count(strings.Join(keys, " "), "still-you"))
			require.Empty(t, w.told(n))
		}
		w.says(same, "START")
		w.says(other, "NOT ME")
		time.Sleep(time.Minute)
		require.Len(t, w.told(same), 2)
		time.Sleep(60 * time.Hour)
		require.Empty(t, w.told(other))
		require.Empty(t, w.told(silent))
		for _, id := range []string{first, second} {
			require.Equal(t, gateway.Tally{Enlisted: 3, Reached: 1, Left: 1, Expired: 1}, w.tally(id))
		}
	})
}

// TestC27ImportedNumbersAreGreetedFirst: no notice goes to a number before the
// message that says who writes and why was taken for it.
func TestC27ImportedNumbersAreGreetedFirst(t *testing.T) {
	play(t, 100, func(w *world) {
		greeted, dead := person(t, 1), person(t, 2)
		w.gateway.failing(func(gateway.Outbound) error { return errors.New("down") })
		w.accepts(greeted, "en")
		w.accepts(dead, "en")
		early := w.send(written(3 * time.Hour))
		time.Sleep(time.Minute)
		require.Zero(t, w.tally(early).Enlisted, "nobody is greeted yet")
		w.gateway.failing(func(m gateway.Outbound) error {
			if m.To == dead {
				return gateway.Refused{Reason: "no such number"}
			}
			return nil
		})
		time.Sleep(2 * time.Hour)
		require.Equal(t, []string{"enrol.hello"}, w.gateway.keysOf(greeted))

		w.gateway.failing(nil)
		id := w.send(written(time.Hour))
		time.Sleep(2 * time.Hour)
		require.Equal(t, []string{"enrol.hello", dialog.NoticeKey}, w.gateway.keysOf(greeted))
		require.Empty(t, w.gateway.by(dead))
		require.Equal(t, gateway.Tally{Enlisted: 1, Reached: 1}, w.tally(id))
	})
}

// TestNoticePausedAndCancelled: a paused notice goes on where it was; of a
// cancelled one nothing more is sent. Answers are not held up.
func TestNoticePausedAndCancelled(t *testing.T) {
	play(t, 1, func(w *world) {
		all := people(t, 60)
		w.cook(all...)
		time.Sleep(time.Hour)
		reached := func(id string) int { return w.tally(id).Reached }
		set := func(id string, p gateway.Progress) {
			_, err := w.notices.Set(w.ctx, id, p, time.Now())
			require.NoError(t, err)
		}
		id := w.send(rain(6 * time.Hour))
		time.Sleep(20 * time.Second)
		set(id, gateway.Paused)
		time.Sleep(20 * time.Second)
		at := reached(id)
		require.Positive(t, at)
		require.Less(t, at, 60)
		w.says(all[59], "help")
		time.Sleep(10 * time.Minute)
		require.Equal(t, at, reached(id))
		require.Equal(t, "line.help", w.gateway.keysOf(all[59])[3])
		set(id, gateway.Running)
		time.Sleep(10 * time.Minute)
		require.Equal(t, gateway.Tally{Enlisted: 60, Reached: 60}, w.tally(id))

		id = w.send(rain(6 * time.Hour))
		time.Sleep(20 * time.Second)
		set(id, gateway.Cancelled)
		_, err := w.notices.Set(w.ctx, id, gateway.Running, time.Now())
		require.ErrorContains(t, err, "start another")
		time.Sleep(10 * time.Minute)
		end := w.tally(id)
		require.Equal(t, 60, end.Reached+end.Left)
		require.Positive(t, end.Left)
	})
}

// TestNoticeNotToldIsTriedAgain: one person whose notice cannot be decided keeps
// nobody else from theirs.
func TestNoticeNotToldIsTriedAgain(t *testing.T) {
	play(t, 100, func(w *world) {
		var mended atomic.Bool // the worker reads it while the test goes on
		w.cook(people(t, 3)...)
		time.Sleep(time.Hour)
		w.tell = func(m gateway.Outbound) error {
			if m.To == person(t, 1) && !mended.Load() {
				return errors.New("a fault")
			}
			return nil
		}
		id := w.send(rain(6 * time.Hour))
		time.Sleep(time.Minute)
		require.Equal(t, gateway.Tally{Enlisted: 3, Reached: 2}, w.tally(id))
		mended.Store(true)
		time.Sleep(time.Hour)
		require.Equal(t, gateway.Tally{Enlisted: 3, Reached: 3}, w.tally(id))
	})
}

// Tell lets a test make the notices of the world fail.
func (w *world) Tell(ctx context.Context, m gateway.Outbound, now time.Time) (gateway.Outbound, gateway.Settlement, bool, error) {
	if w.tell != nil {
		if err := w.tell(m); err != nil {
			return m, gateway.Settlement{}, false, err
		}
	}
	return w.notices.Tell(ctx, m, now)
}
