package gateway_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// from brings a text of one of the people.
func (o *officers) from(n gateway.Number, text string) {
	in := o.inbound("none", text)
	in.From = n
	o.receive(in)
}

// replies returns the keys of what the newest entry said.
func (o *officers) replies() (keys []string) {
	entries := o.entries()
	for _, r := range entries[len(entries)-1].Replies {
		keys = append(keys, r.Key)
	}
	return keys
}

func (o *officers) state(n gateway.Number) dialog.State {
	c, err := o.store.Load(o.ctx, n)
	require.NoError(o, err)
	return c.State
}

func (o *officers) timers(n gateway.Number) (ids []dialog.TimerID) {
	for _, t := range o.state(n).Timers {
		ids = append(ids, t.ID)
	}
	return ids
}

// rings brings everything due until a time.
func (o *officers) rings(until time.Time) {
	due, err := o.store.DueAlarms(o.ctx, until, 100)
	require.NoError(o, err)
	for _, a := range due {
		require.NoError(o, o.service.Ring(o.ctx, a, later(o.now, a.At)))
	}
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// TestC27EnrolmentTellsWhatBecameOfEachRow: greeted once, known, or left alone;
// and never without how consent was given.
func TestC27EnrolmentTellsWhatBecameOfEachRow(t *testing.T) {
	o := newOfficers(t)
	fresh, left, quiet := number(o.line, 1), number(o.line, 2), number(o.line, 3)
	p := dialog.Profile{Lang: "en", Place: "home", Group: "Umoja", Consent: "signed list"}
	enrol := func(n gateway.Number) (gateway.Enrolment, error) {
		return o.service.Enrol(o.ctx, n, p, "asha", o.now)
	}
	_, err := o.service.Enrol(o.ctx, fresh, dialog.Profile{Lang: "en"}, "asha", o.now)
	require.ErrorContains(t, err, "how consent was given")

	got, err := enrol(fresh)
	require.NoError(t, err)
	require.Equal(t, gateway.Greeted, got)
	require.Equal(t, []string{"enrol.hello"}, o.replies())
	require.Equal(t, "asha", o.entries()[0].By)
	got, err = enrol(fresh)
	require.NoError(t, err)
	require.Equal(t, gateway.Known, got, "nobody is greeted twice")
	require.Empty(t, o.replies())
	o.from(fresh, "hello")
	require.Contains(t, o.entries()[2].Replies[0].Text, "Charcoal gas kills", "the first answer brings the caution")

	o.from(left, "STOP")
	_, err = enrol(left)
	require.ErrorIs(t, err, gateway.ErrOptedOut)
	require.Empty(t, o.state(left).Profile, "nothing is kept of who left")

	for _, text := range []string{"join", "no", "2"} {
		o.from(quiet, text)
	}
	require.True(t, o.state(quiet).Declines())
	got, err = enrol(quiet)
	require.NoError(t, err)
	require.Equal(t, gateway.Known, got)
	require.True(t, o.state(quiet).Declines(), "their own word counts more than a list")
}

// TestOfficerRepliesToAPerson: the reply ends the promise, and what nobody wants
// is not sent.
func TestOfficerRepliesToAPerson(t *testing.T) {
	o := newOfficers(t)
	n := number(o.line, 1)
	_, err := o.service.Answer(o.ctx, n, gateway.Key{}, "Come to the market.", "asha", o.now)
	require.ErrorIs(t, err, gateway.ErrNotFound)
	for _, text := range []string{"hello", "ask", "where do i buy a press"} {
		o.from(n, text)
	}
	require.Equal(t, []dialog.TimerID{"ask"}, o.timers(n))
	asked := o.entries()[2]
	require.Equal(t, "where do i buy a press", asked.Question)
	waits, err := o.service.Answer(o.ctx, n, asked.Key, " Come to the office at Kisimani. ", "asha", o.now.Add(time.Hour))
	require.NoError(t, err)
	require.False(t, waits)
	require.Empty(t, o.timers(n), "the promise is kept")
	e := o.entries()[3]
	require.Equal(t, gateway.Answered, e.Kind)
	require.Equal(t, "answered", e.Kind.String())
	require.Equal(t, asked.Key, e.About)
	require.Equal(t, "asha", e.By)
	require.Equal(t, "From your officer: Come to the office at Kisimani.", e.Replies[0].Text)
	require.Equal(t, dialog.Reminder, e.Replies[0].Urgency, "it waits for the end of the quiet hours")
	for text, why := range map[string]string{" ": "empty", "Reply with 1 to join.": "digit", string(make([]byte, 600)): "empty"} {
		_, err := o.service.Answer(o.ctx, n, asked.Key, text, "asha", o.now)
		require.ErrorContains(t, err, why)
	}
}

// TestC19ReplyToWhoLeft: after STOP an officer writes once, to who has texted
// again.
func TestC19ReplyToWhoLeft(t *testing.T) {
	o := newOfficers(t)
	n := number(o.line, 1)
	for _, text := range []string{"hello", "ask", "where do i buy a press", "STOP"} {
		o.from(n, text)
	}
	reply := func() error {
		_, err := o.service.Answer(o.ctx, n, gateway.Key{}, "At the office.", "asha", o.now)
		return err
	}
	require.ErrorIs(t, reply(), gateway.ErrOptedOut, "asked before they left")
	o.from(n, "STOP")
	require.ErrorIs(t, reply(), gateway.ErrOptedOut)
	o.from(n, "where do i buy a press")
	require.NoError(t, reply())
	require.ErrorIs(t, reply(), gateway.ErrOptedOut, "one reply, not two")
	require.True(t, o.state(n).Stopped)
}

// TestC21ReplyAfterALongAbsence: whoever has the number now is asked something
// that shows nothing, and gets the reply only when they say that they are there.
func TestC21ReplyAfterALongAbsence(t *testing.T) {
	for name, c := range map[string]struct {
		says string
		told bool
	}{"the same person": {"START", true}, "a new owner": {"NOT ME", false}, "who wants none": {"STOP", false}} {
		t.Run(name, func(t *testing.T) {
			o := newOfficers(t)
			n := number(o.line, 1)
			for _, text := range []string{"hello", "ask", "where do i buy a press"} {
				o.from(n, text)
			}
			o.now = o.now.Add(121 * 24 * time.Hour)
			waits, err := o.service.Answer(o.ctx, n, gateway.Key{}, "At the office.", "asha", o.now)
			require.NoError(t, err)
			require.True(t, waits)
			require.Equal(t, []string{"notice.still-you"}, o.replies())
			o.from(n, c.says)
			o.rings(o.now)
			require.Equal(t, c.told, slices.Contains(o.replies(), "ask.answered"))
			require.Empty(t, o.state(n).Held)
		})
	}
}

// TestC22CalledEndsThePromise: who was phoned is not asked whether somebody did.
func TestC22CalledEndsThePromise(t *testing.T) {
	o := newOfficers(t)
	n := number(o.line, 1)
	o.from(n, "hello")
	o.from(n, "CALL")
	require.Equal(t, []dialog.TimerID{"call"}, o.timers(n))
	require.NoError(t, o.service.Called(o.ctx, n, o.entries()[1].Key, "asha", o.now))
	require.Empty(t, o.timers(n))
	require.Empty(t, o.replies())
	require.ErrorIs(t, o.service.Called(o.ctx, number(o.line, 7), gateway.Key{}, "asha", o.now), gateway.ErrNotFound)
}

// TestC15OfficerAcknowledges: an emergency that an officer has seen wakes no
// further phone, and its person is told nothing of it.
func TestC15OfficerAcknowledges(t *testing.T) {
	o := newOfficers(t)
	require.NoError(t, o.knowledge.SetPlace(t.Context(), gateway.Place{
		Key: "home", Name: "Kisimani", Zone: "Africa/Nairobi", Lat: -1.29, Lon: 36.82, Duty: []string{"254700000801", "254700000802"}, By: "asha", At: o.now,
	}))
	n := number(o.line, 1)
	require.ErrorIs(t, o.service.Acknowledge(o.ctx, n, gateway.Key{}, "asha", o.now), gateway.ErrNotFound)
	o.from(n, "my child is burned")
	require.Contains(t, o.timers(n), dialog.TimerID("duty"))
	require.NoError(t, o.service.Acknowledge(o.ctx, n, o.entries()[0].Key, "asha", o.now))
	require.Empty(t, o.replies())
	require.NotContains(t, o.timers(n), dialog.TimerID("duty"))
	o.rings(o.now.Add(time.Hour))
	second, err := gateway.NumberOf("254700000802")
	require.NoError(t, err)
	require.Empty(t, o.state(second).Alerts)
	require.ErrorIs(t, o.service.Acknowledge(o.ctx, n, gateway.Key{}, "asha", o.now), gateway.ErrNotFound)
}
