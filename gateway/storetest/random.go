package storetest

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/dialog"
	"cobline/gateway"
)

// model is what a store must hold after some operations.
type model struct {
	rev    map[gateway.Number]uint64
	seen   map[gateway.Number]map[int]string // message -> what it was answered
	alarms map[string]gateway.Alarm
	out    map[string]gateway.Outbound
	log    int
}

func testRandom(b *bench) {
	t := b.TestingT.(*testing.T)
	rapid.Check(t, func(rt *rapid.T) {
		dir, err := os.MkdirTemp(b.dir, "")
		require.NoError(rt, err)
		r := newBench(rt, dir, b.open)
		defer func() { require.NoError(rt, r.store.Close()) }()
		m := &model{
			rev: map[gateway.Number]uint64{}, seen: map[gateway.Number]map[int]string{},
			alarms: map[string]gateway.Alarm{}, out: map[string]gateway.Outbound{},
		}
		rt.Repeat(map[string]func(*rapid.T){
			"say":    func(rt *rapid.T) { m.say(r, rt) },
			"ring":   func(rt *rapid.T) { m.ring(r, rt) },
			"defer":  func(rt *rapid.T) { m.deferOne(r, rt) },
			"settle": func(rt *rapid.T) { m.settle(r, rt) },
			"wait": func(rt *rapid.T) {
				r.now = r.now.Add(time.Duration(rapid.IntRange(1, 90).Draw(rt, "minutes")) * time.Minute)
			},
			"reopen": func(rt *rapid.T) { r.reopen() },
			"":       func(rt *rapid.T) { m.check(r) },
		})
	})
}

func drawNumber(rt *rapid.T) gateway.Number { return number(rapid.IntRange(0, 2).Draw(rt, "person")) }

func alarmKey(a gateway.Alarm) string { return fmt.Sprint(a.Number.Digits(), a.Moment(), a.ID) }

func (m *model) say(b *bench, rt *rapid.T) {
	n, id := drawNumber(rt), rapid.IntRange(0, 30).Draw(rt, "message")
	u := rapid.SampledFrom([]dialog.Urgency{dialog.Emergency, dialog.Answer, dialog.Safety, dialog.Reminder}).Draw(rt, "urgency")
	text := fmt.Sprint("reply ", b.texts)
	c := b.text(n, message(id), reply(text, u))
	if rapid.Bool().Draw(rt, "sets") {
		name := dialog.TimerID(rapid.SampledFrom([]string{"x", "y"}).Draw(rt, "timer"))
		at := b.now.Add(time.Duration(rapid.IntRange(0, 200).Draw(rt, "in")) * time.Minute)
		for _, a := range m.alarms {
			if a.Number == n && a.ID == name {
				c.Clear = append(c.Clear, a)
			}
		}
		c.Set = []gateway.Alarm{{Number: n, ID: name, At: at}}
	}
	stale := rapid.IntRange(0, 5).Draw(rt, "stale") == 0
	if stale {
		c.Conversation.Rev += 3
	}
	err := b.store.Commit(b.ctx, c)
	_, known := m.seen[n][id]
	switch {
	case known:
		require.ErrorIs(rt, err, gateway.ErrSeen)
		return
	case stale:
		require.ErrorIs(rt, err, gateway.ErrConflict)
		return
	}
	require.NoError(rt, err)
	if m.seen[n] == nil {
		m.seen[n] = map[int]string{}
	}
	m.seen[n][id] = text
	m.rev[n]++
	m.log++
	for _, a := range c.Clear {
		delete(m.alarms, alarmKey(a))
	}
	for _, a := range c.Set {
		a.Due = a.At
		m.alarms[alarmKey(a)] = a
	}
	o := c.Out[0]
	o.Ref = b.recall(n, message(id)).Key.Ref(0)
	m.out[o.Ref] = o
}

// draw picks an alarm, if one is set.
func (m *model) draw(rt *rapid.T) (gateway.Alarm, bool) {
	if len(m.alarms) == 0 {
		return gateway.Alarm{}, false
	}
	keys := slices.Sorted(maps.Keys(m.alarms))
	return m.alarms[rapid.SampledFrom(keys).Draw(rt, "alarm")], true
}

func (m *model) ring(b *bench, rt *rapid.T) {
	a, ok := m.draw(rt)
	if !ok {
		return
	}
	require.NoError(rt, b.ring(a))
	require.ErrorIs(rt, b.ring(a), gateway.ErrSeen)
	delete(m.alarms, alarmKey(a))
	m.rev[a.Number]++
	m.log++
}

func (m *model) deferOne(b *bench, rt *rapid.T) {
	a, ok := m.draw(rt)
	if !ok {
		return
	}
	a.Due = b.now.Add(time.Duration(rapid.IntRange(1, 300).Draw(rt, "later")) * time.Minute)
	require.NoError(rt, b.store.Defer(b.ctx, a, a.Due))
	a.Tries++
	m.alarms[alarmKey(a)] = a
}

// settle leases what it can, checks that it may be sent, and settles it.
func (m *model) settle(b *bench, rt *rapid.T) {
	flying := map[gateway.Number]bool{}
	for _, o := range b.lease(b.now, 10) {
		want, ok := m.out[o.Ref]
		require.True(rt, ok, "a settled message was leased")
		require.Equal(rt, want, o)
		require.False(rt, o.NotBefore.After(b.now))
		if o.Urgency != dialog.Emergency {
			require.False(rt, flying[o.To], "one in flight")
			flying[o.To] = true
			for _, other := range m.out {
				earlier := other.To == o.To && other.Ref < o.Ref && !other.NotBefore.After(b.now)
				require.False(rt, earlier && other.Urgency != dialog.Emergency, "an earlier one is due")
			}
		}
		until := b.now.Add(time.Duration(rapid.IntRange(1, 60).Draw(rt, "until")) * time.Minute)
		switch rapid.IntRange(0, 2).Draw(rt, "outcome") {
		case 0:
			b.settle(o.Ref, sent)
			delete(m.out, o.Ref)
			m.log++
		case 1:
			b.settle(o.Ref, failed(until))
			o.Tries++
			m.out[o.Ref] = o
		case 2:
			b.settle(o.Ref, asleep(until))
			o.NotBefore = until
			m.out[o.Ref] = o
		}
	}
}

func (m *model) check(b *bench) {
	for n, rev := range m.rev {
		require.Equal(b, rev, b.load(n).Rev)
		for id, text := range m.seen[n] {
			require.Equal(b, text, b.recall(n, message(id)).Replies[0].Text)
		}
	}
	due := b.due(b.now.Add(1000 * time.Hour))
	require.Len(b, due, len(m.alarms))
	for i, a := range due {
		require.Equal(b, m.alarms[alarmKey(a)], a)
		require.True(b, i == 0 || !a.Due.Before(due[i-1].Due), "earliest first")
	}
	require.Len(b, b.entries(), m.log)
}
