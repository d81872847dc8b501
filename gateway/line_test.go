package gateway_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/gateway/boltstore"
	"cobline/gateway/ussd"
	"cobline/gateway/webhook"
	"cobline/locales"
)

// start is the time of every test, a Monday morning in Nairobi.
var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// stepper is a dialogue in a function.
type stepper func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn

func (f stepper) Step(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	return f(s, ev, w)
}

// turns is a store whose commits may be made to fail, before or after they are
// durable.
type turns struct {
	*boltstore.Store
	before func(gateway.Change) error
	after  error
}

func (t *turns) Commit(ctx context.Context, c gateway.Change) error {
	if t.before != nil {
		if err := t.before(c); err != nil {
			return err
		}
	}
	return errors.Join(t.Store.Commit(ctx, c), t.after)
}

// line is a service on a store of its own. Its dialogue answers every event with
// one reply that counts them, unless a test gives another.
type line struct {
	*testing.T
	ctx     context.Context
	store   *turns
	path    string
	service *gateway.Service
	options gateway.Options
	step    stepper
	mu      sync.Mutex
	steps   int
	poked   []string
	now     time.Time
	serial  int
}

func newLine(t *testing.T, more ...func(*gateway.Options)) *line {
	l := &line{T: t, ctx: context.Background(), path: filepath.Join(t.TempDir(), "store"), step: count, now: start}
	sends := dialog.Ability{Sends: true}
	o := gateway.Options{
		Main: "none",
		Channels: map[string]gateway.Channel{
			"none":  {Ability: sends, From: "2020"},
			"first": {Ability: sends, Carry: gateway.CarryFirst},
			"all":   {Ability: sends, Carry: gateway.CarryAll},
			"mute":  {Carry: gateway.CarryFirst},
			"bare":  {Ability: sends, Carry: gateway.CarryAll, RetryWindow: 5 * time.Second},
			"ussd":  {Ability: dialog.Ability{Limit: 40}, RetryWindow: 2 * time.Second, Keys: pageKeys},
		},
		Join: webhook.Join,
		Poke: func(channel string) { l.poked = append(l.poked, channel) },
	}
	for _, f := range more {
		f(&o)
	}
	l.options = o
	l.open()
	t.Cleanup(func() { require.NoError(t, l.store.Close()) })
	return l
}

// open opens the store and makes a service on it.
func (l *line) open() {
	st, err := boltstore.Open(l.path, boltstore.Options{NoSync: true})
	require.NoError(l, err)
	l.store = &turns{Store: st}
	l.service = gateway.NewService(stepper(func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		l.mu.Lock()
		l.steps++
		l.mu.Unlock()
		return l.step(s, ev, w)
	}), l.store, l.options)
}

// restart ends the line and begins it again.
func (l *line) restart() {
	require.NoError(l, l.store.Close())
	l.open()
}

func pageKeys(locales.Lang) ussd.Keys {
	return ussd.Keys{Back: ussd.Key{Press: "7", Label: "back"}, More: ussd.Key{Press: "8", Label: "more"}}
}

// count answers the nth event of a conversation.
func count(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
	s.Serial++
	return dialog.Turn{State: s, Replies: []dialog.Reply{answer(fmt.Sprint("answer ", s.Serial))}}
}

// says returns a dialogue that gives the same replies to everything.
func says(replies ...dialog.Reply) stepper {
	return func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		s.Serial++
		return dialog.Turn{State: s, Replies: replies}
	}
}

// does returns a dialogue of one effect.
func does(effects ...dialog.Effect) stepper {
	return func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		s.Serial++
		return dialog.Turn{State: s, Effects: effects, Replies: []dialog.Reply{answer("done")}}
	}
}

func answer(text string) dialog.Reply {
	return dialog.Reply{Key: "test.answer", Text: text, Urgency: dialog.Answer}
}

func number(t testing.TB, last int) gateway.Number {
	n, err := gateway.NumberOf(fmt.Sprintf("999%09d", last))
	require.NoError(t, err)
	return n
}

// inbound is a text of person 1 with an id of its own.
func (l *line) inbound(channel, text string) gateway.Inbound {
	l.serial++
	n := number(l, 1)
	return gateway.Inbound{
		ID: gateway.NewMessageID(channel, n.Digits(), fmt.Sprint(l.serial)), Provider: fmt.Sprint("p", l.serial),
		Channel: channel, Sender: n.Digits(), From: n, Via: dialog.SMS, Text: text, At: l.now,
	}
}

func (l *line) receive(in gateway.Inbound) gateway.Shown {
	shown, err := l.service.Receive(l.ctx, in)
	require.NoError(l, err)
	return shown
}

// out returns the texts that wait to be sent on a channel, as one person's phone
// would get them.
func (l *line) out(channel string) (texts []string) {
	for _, m := range l.waiting(channel) {
		texts = append(texts, m.Text)
	}
	return texts
}

// waiting takes everything out of the outbox of a channel.
func (l *line) waiting(channel string) (all []gateway.Outbound) {
	for {
		page, err := l.store.Lease(l.ctx, channel, l.now, time.Minute, 100)
		require.NoError(l, err)
		if len(page) == 0 {
			return all
		}
		for _, m := range page {
			require.NoError(l, l.store.Settle(l.ctx, m.Ref, gateway.Settlement{Outcome: gateway.Sent, At: l.now}))
		}
		all = append(all, page...)
	}
}

func (l *line) load(last int) gateway.Conversation {
	c, err := l.store.Load(l.ctx, number(l, last))
	require.NoError(l, err)
	return c
}

func (l *line) entries() []gateway.Entry {
	all, err := l.store.After(l.ctx, gateway.Key{}, 1<<20)
	require.NoError(l, err)
	return all
}

func (l *line) due() []gateway.Alarm {
	due, err := l.store.DueAlarms(l.ctx, l.now, 1<<20)
	require.NoError(l, err)
	return due
}

// ring rings what is due now, once each.
func (l *line) ring() {
	for _, a := range l.due() {
		require.NoError(l, l.service.Ring(l.ctx, a, l.now))
	}
}

func (l *line) pass(d time.Duration) { l.now = l.now.Add(d) }

func repeat(s string, n int) string { return strings.TrimSpace(strings.Repeat(s+" ", n)) }
