package gateway_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// lists is a store that notes how references are written, and may fail.
type lists struct {
	*turns
	sizes []int
	fail  func(batch int) error
}

func (l *lists) Enlist(ctx context.Context, n gateway.Notice, rev uint64, to []gateway.Outbound, at time.Time) error {
	if len(to) > 0 {
		if err := l.fail(len(l.sizes)); err != nil {
			return err
		}
		l.sizes = append(l.sizes, len(to))
	}
	return l.turns.Enlist(ctx, n, rev, to, at)
}

// greets is a dialogue whose people accepted messages and are told notices.
func greets(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	s.Profile.Consent = "list"
	t := dialog.Turn{State: s, Heard: dialog.Heard{Lang: "en"}}
	switch ev := ev.(type) {
	case dialog.Said:
		t.State.Seen = w.Now
	case dialog.Told:
		t.Replies = []dialog.Reply{{Key: dialog.NoticeKey, Text: ev.Notice.Texts["en"], Urgency: dialog.Bulletin}}
	}
	return t
}

// TestNoticeListGoesOnWhereItWas: a run that ends between two batches is taken
// up by the next one; nobody is left out, and nobody is listed twice.
func TestNoticeListGoesOnWhereItWas(t *testing.T) {
	const people = 1200
	synctest.Test(t, func(t *testing.T) {
		l := newLine(t)
		l.step, l.now = greets, time.Now()
		for i := range people {
			in := l.inbound("none", "hi")
			in.From = number(l, i)
			l.receive(in)
		}
		st := &lists{turns: l.store}
		gone := errors.New("the disk is gone")
		st.fail = func(batch int) error {
			if batch == 1 {
				return gone
			}
			return nil
		}
		notices := gateway.NewNotices(st, l.service)
		started, err := notices.Start(l.ctx, gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": "hello"}}}, time.Now())
		require.NoError(t, err)
		require.ErrorIs(t, notices.Run(l.ctx), gone)
		st.fail = func(int) error { return nil }

		ctx, stop := context.WithCancel(l.ctx)
		ended := make(chan error)
		go func() { ended <- notices.Run(ctx) }()
		time.Sleep(time.Minute)
		stop()
		require.NoError(t, <-ended)
		require.Equal(t, []int{500, 500, 200}, st.sizes)
		all, err := notices.List(l.ctx)
		require.NoError(t, err)
		require.True(t, all[0].Notice.Listed)
		require.Empty(t, all[0].Notice.After, "nobody's number stays")
		tally, err := l.store.Tally(l.ctx, started.Message.ID)
		require.NoError(t, err)
		require.Equal(t, gateway.Tally{Enlisted: people}, tally)
		l.now = time.Now()
		leased, err := l.store.Lease(l.ctx, "none", l.now, time.Minute, 2*people)
		require.NoError(t, err)
		seen := map[gateway.Number]bool{}
		for _, m := range leased {
			require.Equal(t, started.Message.ID, m.Notice)
			seen[m.To] = true
		}
		require.Len(t, seen, people)
		require.Len(t, leased, people)
	})
}

// TestNoticeFollowsThePerson: whoever writes on another channel between the list
// and the sending is told there, once, and the message has the reference's name.
func TestNoticeFollowsThePerson(t *testing.T) {
	l := newLine(t)
	l.step = greets
	l.receive(l.inbound("none", "hi"))
	notices := gateway.NewNotices(l.store, l.service)
	n := l.notice("a", number(t, 1))
	leased, err := l.store.Lease(l.ctx, "none", l.now, time.Minute, 1)
	require.NoError(t, err)
	l.receive(l.inbound("first", "hi"))
	told, s, send, err := notices.Tell(l.ctx, leased[0], l.now)
	require.NoError(t, err)
	require.False(t, send, "not from here")
	require.Zero(t, s)
	require.Equal(t, "first", told.Channel)
	require.Empty(t, l.waiting("none"))

	other, err := l.store.Lease(l.ctx, "first", l.now, time.Minute, 1)
	require.NoError(t, err)
	require.Equal(t, leased[0].Ref, other[0].Ref)
	told, _, send, err = notices.Tell(l.ctx, other[0], l.now)
	require.NoError(t, err)
	require.True(t, send)
	require.True(t, told.Trying)
	require.Equal(t, "hi", told.Text)
	require.Equal(t, n.Message.ID, l.load(1).Notices[0].Notice)
}

// TestNoticeIsChecked: what is wrong with a notice is told before anybody gets
// it.
func TestNoticeIsChecked(t *testing.T) {
	l := newLine(t)
	notices := gateway.NewNotices(l.store, l.service)
	words := func(text string) dialog.Notice {
		return dialog.Notice{Texts: map[locales.Lang]string{"en": text}}
	}
	for wrong, n := range map[string]gateway.Notice{
		"has no text":                      {},
		"the text in en is empty":          {Message: words(" ")},
		"takes 4 segments; 3 is the most":  {Message: words(repeat("word", 100))},
		"asks for a digit":                 {Message: words("Coming? Reply 1.")},
		"there is no ready text \"snow\"":  {Message: dialog.Notice{Ready: "snow", Hour: l.now.Add(time.Hour)}},
		"names the hour of the weather":    {Message: dialog.Notice{Ready: "rain"}},
		"would expire before it":           {Message: dialog.Notice{Ready: "rain", Hour: l.now}},
		"a notice lasts 14 days at most":   {Message: dialog.Notice{Ready: "rain", Hour: l.now.AddDate(0, 0, 15)}},
		"would expire before it can be se": {Message: dialog.Notice{Ready: "rain", Hour: l.now.Add(time.Hour)}, NotBefore: l.now.Add(2 * time.Hour)},
	} {
		_, err := notices.Start(l.ctx, n, l.now)
		require.ErrorContains(t, err, wrong)
		_, err = notices.Preview(l.ctx, n, l.now)
		require.ErrorContains(t, err, wrong)
	}
	all, err := notices.List(l.ctx)
	require.NoError(t, err)
	require.Empty(t, all)
}

// TestNoticeAudience: places, groups, languages, stages and wastes leave others
// out; an empty list leaves nobody out.
func TestNoticeAudience(t *testing.T) {
	l := newLine(t, func(o *gateway.Options) {
		ch := o.Channels["none"]
		ch.Tariff.PerSegment = gateway.MoneyOf(0.8)
		o.Channels["none"] = ch
	})
	person := dialog.State{
		Met: true, Seen: l.now, Lang: "en", Place: "lakeside", Profile: dialog.Profile{Consent: "list", Group: "Umoja"},
		Drums:   []dialog.Drum{{Name: "A", Stage: "sealed"}},
		Batches: []dialog.Batch{{At: l.now, Waste: "maize-cob"}},
	}
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		t := greets(person, ev, w)
		return t
	}
	l.receive(l.inbound("none", "hi"))
	notices := gateway.NewNotices(l.store, l.service)
	for name, tc := range map[string]struct {
		audience gateway.Audience
		reaches  bool
	}{
		"everybody":      {gateway.Audience{}, true},
		"place":          {gateway.Audience{Places: []string{"hillside", "lakeside"}}, true},
		"another place":  {gateway.Audience{Places: []string{"hillside"}}, false},
		"group":          {gateway.Audience{Groups: []string{"umoja"}}, true},
		"another group":  {gateway.Audience{Groups: []string{"tumaini"}}, false},
		"language":       {gateway.Audience{Langs: []locales.Lang{"en"}}, true},
		"another one":    {gateway.Audience{Langs: []locales.Lang{"sw"}}, false},
		"stage":          {gateway.Audience{Stages: []string{"sealed"}}, true},
		"drying":         {gateway.Audience{Stages: []string{"drying"}}, true},
		"another stage":  {gateway.Audience{Stages: []string{"lit"}}, false},
		"waste":          {gateway.Audience{Wastes: []string{"maize-cob"}}, true},
		"another waste":  {gateway.Audience{Wastes: []string{"bagasse"}}, false},
		"all of several": {gateway.Audience{Places: []string{"lakeside"}, Stages: []string{"lit"}}, false},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := notices.Preview(l.ctx, gateway.Notice{
				Audience: tc.audience, Message: dialog.Notice{Texts: map[locales.Lang]string{"en": repeat("word", 40)}},
			}, l.now)
			require.NoError(t, err)
			if !tc.reaches {
				require.Zero(t, p.Persons)
				left := map[string]int{"not whom it is for": 1}
				if name == "another place" {
					left = map[string]int{} // of those at its places only
				}
				require.Equal(t, left, p.LeftOut)
				return
			}
			require.Equal(t, 1, p.Persons)
			require.Equal(t, map[string]int{"reported": 1}, p.Rings)
			require.Equal(t, 2, p.Segments)
			require.InDelta(t, 1.6, p.Price, 1e-9)
			require.Equal(t, []gateway.Variant{{Lang: "en", Text: repeat("word", 40), Persons: 1, Segments: 2}}, p.Texts)
		})
	}
}

// TestNoticeReplies: what a person texts within a day of a notice counts as a
// reply to it, once.
func TestNoticeReplies(t *testing.T) {
	l := newLine(t)
	l.step = greets
	l.receive(l.inbound("none", "hi"))
	notices := gateway.NewNotices(l.store, l.service)
	n := l.notice("a", number(t, 1))
	replied := func() int {
		tally, err := l.store.Tally(l.ctx, n.Message.ID)
		require.NoError(t, err)
		return tally.Replied
	}
	l.receive(l.inbound("none", "before"))
	require.Zero(t, replied())
	leased, err := l.store.Lease(l.ctx, "none", l.now, time.Minute, 1)
	require.NoError(t, err)
	_, _, send, err := notices.Tell(l.ctx, leased[0], l.now)
	require.NoError(t, err)
	require.True(t, send)
	l.receive(l.inbound("none", "it is on its way"))
	require.Zero(t, replied())
	require.NoError(t, l.store.Settle(l.ctx, leased[0].Ref, gateway.Settlement{Outcome: gateway.Sent, At: l.now}))
	for _, text := range []string{"ask", "thanks"} {
		l.pass(time.Hour)
		l.receive(l.inbound("none", text))
		require.Equal(t, 1, replied())
	}
}

// TestNoticeOnTrial: a phone that tries a notice gets it at once as others will,
// and nothing else of it changes.
func TestNoticeOnTrial(t *testing.T) {
	l := newLine(t)
	l.step = greets
	notices := gateway.NewNotices(l.store, l.service)
	n := gateway.Notice{Message: dialog.Notice{Texts: map[locales.Lang]string{"en": "Meeting on Friday."}}}
	texts, err := notices.Test(l.ctx, n, number(t, 1), "en", l.now)
	require.NoError(t, err)
	require.Equal(t, []string{"Meeting on Friday."}, texts)
	out := l.waiting("none")
	require.Len(t, out, 1)
	require.Equal(t, dialog.Answer, out[0].Urgency)
	require.Empty(t, out[0].Notice)
	require.Equal(t, dialog.State{}, l.load(1).State)
	all, err := notices.List(l.ctx)
	require.NoError(t, err)
	require.Empty(t, all)

	_, err = notices.Test(l.ctx, gateway.Notice{}, number(t, 1), "en", l.now)
	require.ErrorContains(t, err, "has no text")
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		s.Stopped = true
		return dialog.Turn{State: s}
	}
	l.receive(l.inbound("none", "stop"))
	_, err = notices.Test(l.ctx, n, number(t, 1), "en", l.now)
	require.ErrorContains(t, err, "wants no messages")
}

// TestNoticeStartsOnce: a notice that has its id before it is started starts once,
// however often somebody says so.
func TestNoticeStartsOnce(t *testing.T) {
	l := newLine(t)
	notices := gateway.NewNotices(l.store, l.service)
	n := gateway.Notice{Message: dialog.Notice{ID: gateway.NewNoticeID(l.now), Texts: map[locales.Lang]string{"en": "Meeting on Friday."}}}
	started, err := notices.Start(l.ctx, n, l.now)
	require.NoError(t, err)
	_, err = notices.Start(l.ctx, n, l.now.Add(time.Second))
	require.ErrorIs(t, err, gateway.ErrConflict)
	s, err := notices.Get(l.ctx, n.Message.ID)
	require.NoError(t, err)
	require.Equal(t, gateway.Standing{Notice: started}, s)
	n.Message.ID = "../" + n.Message.ID
	_, err = notices.Start(l.ctx, n, l.now)
	require.ErrorContains(t, err, "is no id")
	_, err = notices.Get(l.ctx, n.Message.ID)
	require.ErrorIs(t, err, gateway.ErrNotFound)
}
