package gateway_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

func TestReceiveCarries(t *testing.T) {
	for _, tt := range []struct {
		channel  string
		shown    []string
		out      []string
		sendsOut string // the channel of out
	}{
		{"none", nil, []string{"a", "b"}, "none"},
		{"first", []string{"a"}, []string{"b"}, "first"},
		{"all", []string{"a", "b"}, nil, "all"},
		{"mute", []string{"a", "b"}, nil, "none"},
	} {
		t.Run(tt.channel, func(t *testing.T) {
			l := newLine(t)
			l.step = says(answer("a"), answer("b"))
			shown := l.receive(l.inbound(tt.channel, "hello"))
			require.Equal(t, tt.shown, shown.Texts)
			require.Equal(t, tt.out, l.out(tt.sendsOut))
			require.Equal(t, len(tt.out) > 0, len(l.poked) > 0)
			e := l.entries()[0]
			require.Equal(t, "hello", e.Text)
			require.Equal(t, "p1", e.Provider)
			for i, r := range e.Replies {
				require.Equal(t, 1, r.Segments, "an inline text is counted like any other")
				require.Equal(t, i < len(tt.shown), r.Inline)
				require.Equal(t, i >= len(tt.shown), r.Out)
			}
		})
	}
}

// TestC28WhatBelongsToABurn: what neither caps nor quiet hours keep.
func TestC28WhatBelongsToABurn(t *testing.T) {
	hot, cold := []dialog.Drum{{Name: "A", Stage: "sealed"}}, []dialog.Drum{{Name: "A", Stage: "opened"}}
	for name, c := range map[string]struct {
		before, after []dialog.Drum
		urgency       dialog.Urgency
		key           string
		burn          bool
	}{
		"an answer beside a drum":        {hot, hot, dialog.Answer, "dry.days", true},
		"the answer that begins it":      {nil, hot, dialog.Answer, "burn.lit", true},
		"the answer that ends it":        {hot, cold, dialog.Answer, "burn.opened", true},
		"an answer to one with no drum":  {nil, nil, dialog.Answer, "recipe.load", false},
		"an answer after it":             {cold, cold, dialog.Answer, "bind.mix", false},
		"that the drum may be opened":    {hot, hot, dialog.Reminder, "burn.may-open", true},
		"that the record is closed":      {hot, nil, dialog.Reminder, "burn.closed", false},
		"a reminder of something else":   {hot, hot, dialog.Reminder, "ask.call-over", false},
		"a bulletin":                     {hot, hot, dialog.Bulletin, "notice", false},
		"first aid, which is vital, too": {nil, nil, dialog.Emergency, "aid.burn", false},
	} {
		t.Run(name, func(t *testing.T) {
			l := newLine(t)
			l.step = func(s dialog.State, _ dialog.Event, _ dialog.World) dialog.Turn {
				s.Drums = c.before
				return dialog.Turn{State: s}
			}
			l.receive(l.inbound("none", "hello"))
			l.step = func(s dialog.State, _ dialog.Event, _ dialog.World) dialog.Turn {
				s.Drums = c.after
				return dialog.Turn{State: s, Replies: []dialog.Reply{{Key: c.key, Text: "a", Urgency: c.urgency}}}
			}
			l.receive(l.inbound("none", "hello"))
			m := l.waiting("none")[0]
			require.Equal(t, c.burn, m.Burn)
			require.Equal(t, c.burn || c.urgency == dialog.Emergency, m.Vital())
		})
	}
}

// TestC28InlineIsSpent: an answer in a response costs like any other text, once
// however often it is fetched. At the cap it waits in the outbox, if it can and
// need not be said at once.
func TestC28InlineIsSpent(t *testing.T) {
	tariff := gateway.Tariff{PerSegment: 5, Day: gateway.Spend{Segments: 2}, Warn: 0.5, Reserve: 0.1}
	l := newLine(t, func(o *gateway.Options) {
		for _, name := range []string{"all", "mute"} {
			ch := o.Channels[name]
			ch.Tariff = tariff
			o.Channels[name] = ch
		}
	})
	var short bool
	reply := answer("a")
	l.step = func(s dialog.State, _ dialog.Event, w dialog.World) dialog.Turn {
		short = w.Channel.Short
		return dialog.Turn{State: s, Replies: []dialog.Reply{reply}}
	}
	spent := func(channel string) gateway.Spend { return l.store.Spent(channel, l.now).Day }
	in := l.inbound("all", "hello")
	require.Equal(t, []string{"a"}, l.receive(in).Texts)
	require.False(t, short)
	for range 3 {
		require.Equal(t, gateway.Spend{Segments: 1, Money: 5}, spent("all"))
		require.Equal(t, []string{"a"}, l.receive(in).Texts)
	}
	require.Equal(t, []string{"a"}, l.receive(l.inbound("all", "again")).Texts)
	require.True(t, short, "half of the cap is used")
	require.Empty(t, l.receive(l.inbound("all", "and again")).Texts)
	require.Equal(t, gateway.Spend{Segments: 2, Money: 10}, spent("all"))
	require.Equal(t, []string{"a"}, l.out("all"))
	reply.Urgency = dialog.Emergency
	require.Equal(t, []string{"a"}, l.receive(l.inbound("all", "help")).Texts)
	for range 3 {
		require.NotEmpty(t, l.receive(l.inbound("mute", "hello")).Texts, "nothing else could be said there")
	}
	require.Equal(t, gateway.Spend{Segments: 3, Money: 15}, spent("mute"))
}

func TestOutboundSaysWhatItIs(t *testing.T) {
	l := newLine(t)
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		s.Place = "hill"
		return dialog.Turn{State: s, Replies: []dialog.Reply{
			{Key: "a", Text: "don’t " + repeat("open", 40), Urgency: dialog.Answer},
			{Key: "b", Text: "pick", Choices: []string{"one", "two"}, Urgency: dialog.Safety, Valid: time.Hour},
			{Key: "c", Text: "c", Urgency: dialog.Safety},
			{Key: "d", Text: "d", Urgency: dialog.Reminder},
		}}
	}
	l.receive(l.inbound("none", "hello"))
	out := l.waiting("none")
	require.Len(t, out, 4)
	key := l.entries()[0].Key
	for i, m := range out {
		require.Equal(t, key.Ref(i), m.Ref)
		require.Equal(t, "2020", m.From)
		require.Equal(t, "hill", m.Place)
		require.Equal(t, l.load(1).Person, m.Person)
		require.Equal(t, string("abcd"[i]), m.Key)
		require.Equal(t, start, m.NotBefore)
	}
	require.True(t, strings.HasPrefix(out[0].Text, "don't open"), "the cheaper letters")
	require.Equal(t, 2, out[0].Segments)
	require.Equal(t, "pick\n1 one\n2 two", out[1].Text)
	for i, valid := range []time.Duration{24 * time.Hour, time.Hour, 2 * time.Hour, 12 * time.Hour} {
		require.Equal(t, start.Add(valid), out[i].Expires)
	}
}

// again returns what a repeat of the message shows.
func again(s gateway.Shown) gateway.Shown {
	s.Again = true
	return s
}

func TestSameMessageAgain(t *testing.T) {
	l := newLine(t)
	a, b := l.inbound("all", "a"), l.inbound("all", "b")
	first := l.receive(a)
	require.Equal(t, []string{"answer 1"}, first.Texts)
	require.Equal(t, []string{"answer 2"}, l.receive(b).Texts)
	before := l.load(1)
	for range 3 {
		l.pass(time.Minute)
		a.At, b.At = l.now, l.now
		require.Equal(t, again(first), l.receive(a))
		require.Equal(t, []string{"answer 2"}, l.receive(b).Texts)
	}
	require.Equal(t, before, l.load(1))
	require.Len(t, l.entries(), 2)
}

// C29 Doubles by content count only if no new question was asked since.
func TestC29RepeatWithoutID(t *testing.T) {
	for _, tt := range []struct {
		name    string
		step    stepper
		channel string
		second  string
		after   time.Duration
		repeat  bool
	}{
		{"soon after", count, "bare", "1", 3 * time.Second, true},
		{"too late", count, "bare", "1", 6 * time.Second, false},
		{"another text", count, "bare", "2", time.Second, false},
		{"two honest answers", asks, "bare", "1", 3 * time.Second, false},
		{"no window", count, "all", "1", time.Second, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := newLine(t)
			l.step = tt.step
			in := l.inbound(tt.channel, "1")
			in.ID = gateway.MessageID{}
			require.Equal(t, []string{"answer 1"}, l.receive(in).Texts)
			in.Text, in.At = tt.second, in.At.Add(tt.after)
			want := []string{"answer 2"}
			if tt.repeat {
				want = []string{"answer 1"}
			}
			require.Equal(t, want, l.receive(in).Texts)
		})
	}
}

// C29 While the first is in flight the person cannot have seen its question.
func TestC29RepeatInFlight(t *testing.T) {
	l := newLine(t)
	answering, release := make(chan struct{}), make(chan struct{})
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		close(answering)
		<-release
		turn := count(s, ev, w)
		turn.State.Frames = []dialog.Frame{{Topic: "recipe", Open: "drums"}}
		return turn
	}
	in := l.inbound("bare", "1")
	in.ID = gateway.MessageID{}
	var wg sync.WaitGroup
	shown := make([]gateway.Shown, 2)
	errs := make([]error, 2)
	wg.Go(func() { shown[0], errs[0] = l.service.Receive(l.ctx, in) })
	<-answering
	second := in
	second.At = in.At.Add(8 * time.Second)
	wg.Go(func() { shown[1], errs[1] = l.service.Receive(l.ctx, second) })
	time.Sleep(20 * time.Millisecond) // the second must reach the lock
	close(release)
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	require.Equal(t, []string{"answer 1"}, shown[0].Texts)
	require.Equal(t, again(shown[0]), shown[1])
	require.Equal(t, 1, l.steps)
}

func TestForeignSenderIsNeverAnswered(t *testing.T) {
	l := newLine(t)
	in := l.inbound("all", "Your balance is low\x00\xff")
	in.From, in.Sender = gateway.Number{}, "BANK"
	require.Equal(t, gateway.Shown{}, l.receive(in))
	require.Zero(t, l.steps)
	e := l.entries()[0]
	require.Equal(t, gateway.Foreign, e.Kind)
	require.Equal(t, "BANK", e.Sender)
	require.Equal(t, "Your balance is low\ufffd", e.Text)
}

func TestUnknownChannel(t *testing.T) {
	l := newLine(t)
	_, err := l.service.Receive(l.ctx, l.inbound("nowhere", "a"))
	require.ErrorContains(t, err, "nowhere")
}

func TestSecretStaysOutOfTheJournal(t *testing.T) {
	l := newLine(t)
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		turn.Heard.Secret = true
		return turn
	}
	l.receive(l.inbound("all", "PIN 1234"))
	require.Equal(t, "...", l.entries()[0].Text)
}

// C11 Reports use the sent time when the gateway gives one that can be believed.
func TestC11SentTime(t *testing.T) {
	for _, tt := range []struct {
		name         string
		sent, passed time.Time
	}{
		{"none", time.Time{}, time.Time{}},
		{"delayed", start.Add(-3 * time.Hour), start.Add(-3 * time.Hour)},
		{"a little ahead", start.Add(2 * time.Second), start},
		{"another day", start.Add(-25 * time.Hour), time.Time{}},
		{"another zone's year", start.AddDate(1, 0, 0), time.Time{}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := newLine(t)
			var said dialog.Said
			l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
				said = ev.(dialog.Said)
				return count(s, ev, w)
			}
			in := l.inbound("all", "LIT")
			in.SentAt = tt.sent
			l.receive(in)
			require.Equal(t, tt.passed, said.SentAt)
		})
	}
}

func TestWorldOfATurn(t *testing.T) {
	l := newLine(t)
	l.service.SetFacts(&dialog.Facts{Version: 7, Home: "hill"})
	var world dialog.World
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		world = w
		return count(s, ev, w)
	}
	l.receive(l.inbound("mute", "a"))
	require.Equal(t, dialog.World{Now: start, Facts: l.service.Facts(), Channel: dialog.Ability{}}, world)
	require.Equal(t, uint64(7), l.entries()[0].Facts)
	l.receive(l.inbound("ussd", "a"))
	require.Equal(t, 40, world.Channel.Limit)
}

func TestFailedCommitAnswersNothing(t *testing.T) {
	l := newLine(t)
	broken := errors.New("disk full")
	l.store.before = func(gateway.Change) error { return broken }
	in := l.inbound("none", "a")
	_, err := l.service.Receive(l.ctx, in)
	require.ErrorIs(t, err, broken)
	require.NotContains(t, err.Error(), in.From.Digits())
	require.Empty(t, l.poked)
	l.store.before = nil
	l.receive(in)
	require.Equal(t, []string{"answer 1"}, l.out("none"))
}

func TestConflictDecidesAnew(t *testing.T) {
	for _, tt := range []struct {
		conflicts int
		err       error
	}{{3, nil}, {4, gateway.ErrConflict}} {
		l := newLine(t)
		left := tt.conflicts
		l.store.before = func(gateway.Change) error {
			if left--; left >= 0 {
				return gateway.ErrConflict
			}
			return nil
		}
		_, err := l.service.Receive(l.ctx, l.inbound("all", "a"))
		require.ErrorIs(t, err, tt.err)
		require.Equal(t, 4, l.steps)
	}
}

func TestPanicKeepsToItsText(t *testing.T) {
	l := newLine(t)
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		if said, ok := ev.(dialog.Said); ok && said.Text == "bad" {
			panic("a fault in the dialogue")
		}
		return count(s, ev, w)
	}
	_, err := l.service.Receive(l.ctx, l.inbound("all", "bad"))
	require.ErrorContains(t, err, "a fault in the dialogue")
	require.Equal(t, []string{"answer 1"}, l.receive(l.inbound("all", "good")).Texts)
}

func TestTextsOfOneNumberFollowEachOther(t *testing.T) {
	l := newLine(t)
	const texts = 64
	in := make([]gateway.Inbound, texts)
	for i := range in {
		in[i] = l.inbound("all", "a")
	}
	var wg sync.WaitGroup
	errs := make([]error, 2*texts)
	for i := range errs { // each text arrives twice
		wg.Go(func() { _, errs[i] = l.service.Receive(l.ctx, in[i%texts]) })
	}
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	require.Equal(t, texts, l.load(1).State.Serial)
	require.Len(t, l.entries(), texts)
}

// timer returns a dialogue that sets a timer at each text and answers it when
// due.
func timer(id dialog.TimerID, in time.Duration) stepper {
	return func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		switch ev := ev.(type) {
		case dialog.Said:
			turn.State.Timers = []dialog.Timer{{ID: id, At: w.Now.Add(in), Kind: ev.Text}}
		case dialog.Due:
			turn.Replies[0].Text = "due " + ev.Timer.Kind
			turn.State.Timers = nil
		}
		return turn
	}
}

func TestTimersBecomeAlarms(t *testing.T) {
	l := newLine(t)
	l.pass(123 * time.Millisecond) // a state keeps whole seconds
	l.step = timer("a", time.Hour)
	l.receive(l.inbound("all", "first"))
	l.pass(30 * time.Minute)
	l.receive(l.inbound("all", "second"))
	l.pass(30 * time.Minute)
	require.Empty(t, l.due(), "setting a timer again replaces it")
	l.pass(30 * time.Minute)
	a := l.due()
	require.Len(t, a, 1)
	l.ring()
	require.Empty(t, l.due())
	require.Equal(t, []string{"due second"}, l.out("all"))
	require.NoError(t, l.service.Ring(l.ctx, a[0], l.now), "ringing twice is no error")
	require.Empty(t, l.out("all"))
	e := l.entries()[2]
	require.Equal(t, gateway.Rang, e.Kind)
	require.Equal(t, "second", e.Timer.Kind)
	require.Equal(t, "all", e.Channel)
}

func TestTimerSetAgainAtItsOwnTime(t *testing.T) {
	l := newLine(t)
	keep := timer("a", 0)
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := keep(s, ev, w)
		turn.State.Timers = []dialog.Timer{{ID: "a", At: start}}
		return turn
	}
	l.receive(l.inbound("all", "first"))
	l.ring()
	require.Empty(t, l.due())
	require.Empty(t, l.load(1).State.Timers, "it would wait in vain")
}

func TestAlarmNobodyWants(t *testing.T) {
	l := newLine(t)
	n := number(t, 1)
	l.step = timer("a", 0)
	l.receive(l.inbound("all", "first"))
	stray := gateway.Alarm{Number: n, ID: "b", At: start}
	require.NoError(t, l.store.Commit(l.ctx, gateway.Change{Conversation: l.load(1), Set: []gateway.Alarm{stray}}))
	l.ring()
	require.Empty(t, l.due())
	require.Equal(t, 2, l.steps)
}

func TestRingThatFails(t *testing.T) {
	l := newLine(t)
	l.step = timer("a", 0)
	l.receive(l.inbound("all", "first"))
	broken := errors.New("disk full")
	l.store.before = func(gateway.Change) error { return broken }
	err := l.service.Ring(l.ctx, l.due()[0], l.now)
	require.ErrorIs(t, err, broken)
	require.NotContains(t, err.Error(), number(t, 1).Digits())
	require.Len(t, l.due(), 1)
}

// C15 Somebody is told: one phone after the other, and the person that it was.
func TestC15DutyPhones(t *testing.T) {
	l := newLine(t, func(o *gateway.Options) {
		o.Duty = func(place string) []gateway.Number {
			require.Equal(t, "hill", place)
			return []gateway.Number{number(t, 8), number(t, 9)}
		}
	})
	var alerts []dialog.Alert
	var acknowledged []string
	attempt := 0
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		switch ev := ev.(type) {
		case dialog.Said:
			if ev.Text == "SEEN" {
				turn.Effects = []dialog.Effect{dialog.Seen{Alert: s.Alerts[0]}}
				break
			}
			attempt++
			turn.State.Alert = &dialog.OwnAlert{ID: "e1", Kind: "gas", At: start}
			turn.Effects = []dialog.Effect{dialog.TellDuty{AlertID: "e1", Kind: "gas", Place: "hill", Attempt: attempt}}
		case dialog.Alerted:
			alerts = append(alerts, ev.Alert)
			turn.State.Alerts = []dialog.Alert{ev.Alert}
			turn.Replies = []dialog.Reply{{Text: "Call " + ev.Alert.Number, Urgency: dialog.Emergency}}
		case dialog.Acknowledged:
			acknowledged = append(acknowledged, ev.AlertID)
		}
		return turn
	}
	for range 3 {
		l.receive(l.inbound("all", "fainted"))
		require.Len(t, l.due(), 1, "at once")
		l.ring()
		l.pass(10 * time.Minute)
	}
	person := "+" + number(t, 1).Digits()
	for i, a := range alerts {
		require.Equal(t, dialog.Alert{ID: alerts[0].ID, Kind: "gas", Place: "hill", At: start, Number: person, Attempt: i + 1}, a)
	}
	sent := l.waiting("none")
	require.Len(t, sent, 3, "on the main channel: they never wrote")
	to := []gateway.Number{sent[0].To, sent[1].To, sent[2].To}
	require.Equal(t, []gateway.Number{number(t, 8), number(t, 9), number(t, 8)}, to)
	require.Equal(t, "Call "+person, sent[0].Text)
	for _, e := range l.entries() {
		for _, r := range e.Replies {
			require.NotContains(t, r.Text, person, "the journal holds no number")
		}
	}
	seen := l.inbound("all", "SEEN")
	seen.From = number(t, 9)
	l.receive(seen)
	l.ring()
	require.Equal(t, []string{"e1"}, acknowledged, "in the person's own words for it")
}

func TestC15NoDutyPhone(t *testing.T) {
	l := newLine(t)
	l.step = does(dialog.TellDuty{AlertID: "e1"})
	l.receive(l.inbound("all", "fainted"))
	require.Empty(t, l.due())
	require.Equal(t, []string{"no duty phone"}, l.entries()[0].Flags)
}

func TestOfficersWork(t *testing.T) {
	l := newLine(t)
	l.step = does(dialog.Flag{Why: "stuck"}, dialog.Question{Text: "how much?"}, dialog.CallBack{})
	l.receive(l.inbound("all", "how much?"))
	e := l.entries()[0]
	require.Equal(t, []string{"stuck"}, e.Flags)
	require.Equal(t, "how much?", e.Question)
	require.True(t, e.CallBack)
}

func TestLapsedReplyIsTold(t *testing.T) {
	l := newLine(t)
	l.step = says(dialog.Reply{Key: "burn.wait", Text: "wait", Urgency: dialog.Safety})
	l.receive(l.inbound("none", "covered"))
	m, err := l.store.Lease(l.ctx, "none", l.now, time.Minute, 1)
	require.NoError(t, err)
	require.NoError(t, l.store.Settle(l.ctx, m[0].Ref, gateway.Settlement{
		Outcome: gateway.Dropped, At: l.now, Why: "expired", Lapse: dialog.Expired,
	}))
	var lapsed dialog.Event
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		lapsed = ev
		return count(s, ev, w)
	}
	l.ring()
	require.Equal(t, dialog.Lapsed{Ref: m[0].Ref, Key: "burn.wait", Why: dialog.Expired}, lapsed)
	require.Equal(t, []string{"answer 2"}, l.out("none"))
}

// C19 STOP at once: what waits is withdrawn in the same step.
func TestC19StopWithdraws(t *testing.T) {
	l := newLine(t)
	l.step = says(dialog.Reply{Text: "reminder", Urgency: dialog.Reminder}, dialog.Reply{Text: "hot", Urgency: dialog.Safety})
	l.receive(l.inbound("none", "a"))
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		s.Stopped = true
		return dialog.Turn{State: s, Replies: []dialog.Reply{answer("stopped")}}
	}
	l.receive(l.inbound("none", "STOP"))
	require.Equal(t, []string{"hot", "stopped"}, l.out("none"))
}

// C20 FORGET ME leaves a keyed hash of an opted-out number, and nothing else.
func TestC20Forget(t *testing.T) {
	l := newLine(t)
	l.step = timer("a", time.Hour)
	l.receive(l.inbound("all", "a secret place"))
	l.step = does(dialog.Erase{KeepOptOut: true})
	in := l.inbound("all", "FORGET ME")
	require.Equal(t, []string{"done"}, l.receive(in).Texts)
	require.Equal(t, dialog.State{Stopped: true}, l.load(1).State)
	l.pass(2 * time.Hour)
	require.Empty(t, l.due())
	require.Empty(t, l.entries()[0].Text)
	require.Equal(t, []string{"done"}, l.receive(in).Texts, "brought again")
	require.Len(t, l.entries(), 2)
}

func TestCancelled(t *testing.T) {
	l := newLine(t)
	ctx, cancel := context.WithCancel(l.ctx)
	cancel()
	_, err := l.service.Receive(ctx, l.inbound("all", "a"))
	require.ErrorIs(t, err, context.Canceled)
}

// dial is a key press in a session.
func (l *line) dial(session, text string) gateway.Inbound {
	in := l.inbound("ussd", text)
	in.Via, in.Session = dialog.USSD, session
	return in
}

func TestSessionPages(t *testing.T) {
	l := newLine(t)
	l.step = says(dialog.Reply{Text: repeat("load three sacks", 5), Choices: []string{"yes", "no"}, Urgency: dialog.Answer})
	first := l.receive(l.dial("s1", "*384#"))
	require.Greater(t, len(first.Screen.Pages), 2)
	require.True(t, first.More)
	more := l.dial("s1", "8")
	second := l.receive(more)
	require.Equal(t, 1, second.Screen.At)
	require.Equal(t, again(second), l.receive(more), "the same key press again")
	l.receive(l.dial("s1", "8"))
	require.Equal(t, 1, l.receive(l.dial("s1", "7")).Screen.At)
	require.Equal(t, 1, l.steps, "reading on is no step of the dialogue")
	require.Len(t, l.entries(), 1)
	require.Equal(t, 0, l.receive(l.dial("s2", "8")).Screen.At, "another session does not turn this one's pages")
	require.Equal(t, 2, l.steps)
}

func TestSessionEnds(t *testing.T) {
	l := newLine(t)
	l.step = says(dialog.Reply{Text: repeat("load three sacks", 3), Urgency: dialog.Answer, End: true})
	shown := l.receive(l.dial("s1", "1"))
	require.True(t, shown.More, "pages are left")
	for shown.Screen.At < len(shown.Screen.Pages)-1 {
		shown = l.receive(l.dial("s1", "8"))
	}
	require.False(t, shown.More)
}

// C31 What must be kept and what is urgent also goes out as a text.
func TestC31SessionCopies(t *testing.T) {
	l := newLine(t)
	l.step = says(answer("shown"), dialog.Reply{Text: "recipe", Urgency: dialog.Answer, Keep: true}, dialog.Reply{Text: "help", Urgency: dialog.Emergency})
	shown := l.receive(l.dial("s1", "1"))
	require.True(t, shown.More, "the session goes on")
	require.Equal(t, []string{"help"}, shown.Screen.Pages, "first aid has the screen to itself")
	require.Equal(t, []string{"help", "shown", "recipe"}, l.out("none"), "the session's own channel cannot send")

	l.step = says(dialog.Reply{Text: "what happened?", Choices: []string{"burn"}, Urgency: dialog.Emergency}, answer("shown"))
	shown = l.receive(l.dial("s1", "9"))
	require.Len(t, shown.Screen.Pages, 1)
	require.Contains(t, shown.Screen.Text(), "shown")
	require.Empty(t, l.out("none"), "a question is answered on the screen")

	mute := newLine(t, func(o *gateway.Options) { o.Main = "" })
	mute.step = says(dialog.Reply{Text: "help", Urgency: dialog.Emergency}, answer("shown"))
	require.Contains(t, mute.receive(mute.dial("s1", "1")).Screen.Text(), "shown", "where no text can be sent nothing is left out")
}

func TestSessionKeyWithoutID(t *testing.T) {
	l := newLine(t)
	l.step = says(dialog.Reply{Text: repeat("load three sacks", 9), Urgency: dialog.Answer, Choices: []string{"yes"}})
	press := func(text string, after time.Duration) int {
		in := l.dial("s1", text)
		in.ID, in.At = gateway.MessageID{}, start.Add(after)
		return l.receive(in).Screen.At
	}
	require.Equal(t, 0, press("*384#", 0))
	require.Equal(t, 1, press("8", time.Second))
	require.Equal(t, 2, press("8", 2*time.Second), "the page it turned is new")
}

// TestC20ForgottenOnRequest: who asks an administrator to be forgotten is, with their texts
// and all that waited; the opt-out stays.
func TestC20ForgottenOnRequest(t *testing.T) {
	l := newLine(t)
	n := number(t, 1)
	l.receive(l.inbound("none", "hello"))
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		require.IsType(t, dialog.Forgotten{}, ev)
		return dialog.Turn{Effects: []dialog.Effect{dialog.Erase{KeepOptOut: true}}, Replies: []dialog.Reply{answer("erased")}}
	}
	require.NoError(t, l.service.Forget(l.ctx, n, l.now))
	c := l.load(1)
	require.Zero(t, c.Rev)
	require.True(t, c.State.Stopped)
	require.Equal(t, []string{"erased"}, l.out("none"))
	require.Equal(t, []string{""}, l.texts())
	kinds := []string{}
	for _, e := range l.entries() {
		kinds = append(kinds, e.Kind.String())
	}
	require.Contains(t, kinds, "forgotten")
	require.ErrorIs(t, l.service.Forget(l.ctx, n, l.now), gateway.ErrNotFound)
}
