package storetest

import (
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

const hold = time.Minute

func (b *bench) lease(now time.Time, max int) []gateway.Outbound {
	out, err := b.store.Lease(b.ctx, "sms", now, hold, max)
	require.NoError(b, err)
	return out
}

func (b *bench) waiting() map[string]int {
	n, err := b.store.Waiting(b.ctx)
	require.NoError(b, err)
	return n
}

// leases expects exactly these texts to be leased, and returns their references.
func (b *bench) leases(now time.Time, want ...string) (refs []string) {
	var got []string
	for _, m := range b.lease(now, 100) {
		got, refs = append(got, m.Text), append(refs, m.Ref)
	}
	require.Equal(b, want, got)
	return refs
}

func (b *bench) settle(ref string, s gateway.Settlement) {
	s.At = b.now
	require.NoError(b, b.store.Settle(b.ctx, ref, s))
}

var (
	sent    = gateway.Settlement{Outcome: gateway.Sent}
	dropped = gateway.Settlement{Outcome: gateway.Dropped, Why: "expired"}
)

func failed(until time.Time) gateway.Settlement {
	return gateway.Settlement{Outcome: gateway.Later, Failed: true, Until: until}
}

func asleep(until time.Time) gateway.Settlement {
	return gateway.Settlement{Outcome: gateway.Later, Until: until}
}

func testFlight(b *bench) {
	b.say(number(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer))
	b.say(number(2), reply("2a", dialog.Answer))
	b.say(number(1), reply("1c", dialog.Answer), reply("help", dialog.Emergency))
	require.Empty(b, b.lease(b.now.Add(-time.Second), 100), "not before its time")
	other, err := b.store.Lease(b.ctx, "another channel", b.now, hold, 100)
	require.NoError(b, err)
	require.Empty(b, other)
	require.Equal(b, map[string]int{"sms": 5}, b.waiting())
	refs := b.leases(b.now, "help", "2a")
	b.settle(refs[1], sent)
	require.Empty(b, b.lease(b.now, 100), "something is in flight")
	b.settle(refs[0], sent)
	for _, text := range []string{"1a", "1b", "1c"} {
		b.settle(b.leases(b.now, text)[0], sent)
	}
	require.Empty(b, b.lease(b.now, 100))
	require.Empty(b, b.waiting())
	require.ErrorIs(b, b.store.Settle(b.ctx, refs[0], sent), gateway.ErrNotFound)

	b.say(number(1), reply("1d", dialog.Answer))
	b.leases(b.now, "1d")
	b.say(number(1), reply("more help", dialog.Emergency))
	b.leases(b.now, "more help")
}

func testUrgency(b *bench) {
	b.say(number(1), reply("bulletin", dialog.Bulletin))
	b.say(number(2), reply("reminder", dialog.Reminder))
	b.say(number(3), reply("safety", dialog.Safety))
	b.say(number(4), reply("answer", dialog.Answer))
	b.say(number(5), reply("emergency", dialog.Emergency))
	b.say(number(6), reply("old reminder", dialog.Reminder), reply("its answer", dialog.Answer))
	b.say(number(7), reply("old bulletin", dialog.Bulletin), reply("its caution", dialog.Safety))
	require.Equal(b, "emergency", b.lease(b.now, 1)[0].Text)
	refs := b.leases(b.now, "answer", "old reminder", "safety", "its caution", "reminder", "bulletin")
	b.settle(refs[3], sent)
	b.leases(b.now, "old bulletin")
}

func testFailed(b *bench) {
	refs := b.say(number(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer))
	b.leases(b.now, "1a")
	again := b.now.Add(10 * time.Second)
	b.settle(refs[0], failed(again))
	b.say(number(1), reply("1c", dialog.Answer))
	b.reopen()
	require.Empty(b, b.lease(again.Add(-time.Second), 100), "the others wait behind it")
	b.say(number(1), reply("help", dialog.Emergency))
	b.settle(b.leases(b.now, "help")[0], sent)
	m := b.lease(again, 100)
	require.Len(b, m, 1)
	require.Equal(b, refs[0], m[0].Ref)
	require.Equal(b, 1, m[0].Tries)
	b.settle(refs[0], sent)
	b.settle(b.leases(again, "1b")[0], sent)
	b.leases(again, "1c")
}

// testFirstAidInOrder: what first aid says in one turn comes in its order; that
// of another turn does not wait for it.
func testFirstAidInOrder(b *bench) {
	refs := b.say(number(1), reply("aid 1", dialog.Emergency), reply("aid 2", dialog.Emergency))
	b.leases(b.now, "aid 1")
	again := b.now.Add(10 * time.Second)
	b.settle(refs[0], failed(again))
	require.Empty(b, b.lease(b.now, 100))
	b.say(number(1), reply("another aid", dialog.Emergency))
	b.settle(b.leases(b.now, "another aid")[0], sent)
	b.settle(b.leases(again, "aid 1")[0], sent)
	b.leases(again, "aid 2")
}

func testAsleep(b *bench) {
	refs := b.say(number(1), reply("reminder", dialog.Reminder))
	morning := b.now.Add(8 * time.Hour)
	b.leases(b.now, "reminder")
	b.settle(refs[0], asleep(morning))
	b.say(number(1), reply("answer", dialog.Answer))
	b.reopen()
	b.settle(b.leases(b.now, "answer")[0], sent)
	require.Empty(b, b.lease(morning.Add(-time.Second), 100))
	m := b.lease(morning, 100)
	require.Len(b, m, 1)
	require.Zero(b, m[0].Tries, "waiting is no try")
	require.Equal(b, morning, m[0].NotBefore)
}

func testHold(b *bench) {
	refs := b.say(number(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer))
	b.leases(b.now, "1a")
	require.Empty(b, b.lease(b.now.Add(hold-time.Second), 100))
	b.leases(b.now.Add(hold), "1a")
	b.reopen()
	b.leases(b.now.Add(hold), "1a")
	b.settle(refs[0], sent)
	b.leases(b.now.Add(hold), "1b")
}

func testSettled(b *bench) {
	refs := b.say(number(1), reply("1a", dialog.Bulletin), reply("1b", dialog.Bulletin), reply("1c", dialog.Bulletin))
	person := b.load(number(1)).Person
	unknown := gateway.Settlement{Outcome: gateway.Unknown, Why: "unsure"}
	for i, s := range []gateway.Settlement{sent, dropped, unknown} {
		b.lease(b.now, 1)
		b.settle(refs[i], failed(b.now))
		b.lease(b.now, 1)
		b.settle(refs[i], s)
	}
	entries := b.entries()[1:]
	require.Len(b, entries, 3, "a message that waits is no news")
	for i, s := range []gateway.Settlement{sent, dropped, unknown} {
		e := entries[i]
		require.Equal(b, gateway.Entry{
			Key: e.Key, Kind: gateway.Settled, At: b.now, Person: person, Channel: "sms",
			Ref: refs[i], Outcome: s.Outcome, Why: s.Why,
		}, e)
	}
	require.Empty(b, b.due(b.now))
}

// testSpend is what messages take: each once, however it ends, over a restart.
func testSpend(b *bench) {
	spent := func(segments int, money gateway.Money) {
		want := gateway.Spend{Segments: segments, Money: money}
		require.Equal(b, gateway.Spent{Day: want, Month: want}, b.store.Spent("sms", b.now))
	}
	change := b.text(number(1), message(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer), reply("1c", dialog.Bulletin), reply("1d", dialog.Answer))
	for i := range change.Out {
		change.Out[i].Segments, change.Out[i].Price = 2, 30
	}
	require.NoError(b, b.store.Commit(b.ctx, change))
	spent(0, 0)
	var refs []string
	settle := func(s gateway.Settlement) {
		ref := b.lease(b.now, 1)[0].Ref
		refs = append(refs, ref)
		b.settle(ref, s)
	}
	settle(failed(b.now))
	spent(0, 0)
	settle(sent)
	spent(2, 30)
	require.ErrorIs(b, b.store.Settle(b.ctx, refs[0], sent), gateway.ErrNotFound)
	spent(2, 30)
	settle(dropped)
	spent(2, 30)
	settle(gateway.Settlement{Outcome: gateway.Unknown})
	spent(4, 60)

	inline := b.text(number(2), message(2))
	inline.Entry.Channel = "sms"
	inline.Entry.Replies = []gateway.Said{{Inline: true, Segments: 3, Price: 45}, {Out: true, Segments: 1, Price: 15}, {Inline: true, Out: true, Segments: 1, Price: 15}}
	require.NoError(b, b.store.Commit(b.ctx, inline))
	spent(7, 105)
	require.ErrorIs(b, b.store.Commit(b.ctx, inline), gateway.ErrSeen)
	b.reopen()
	spent(7, 105)
	settle(sent)
	spent(9, 135)

	b.now = b.now.AddDate(0, 0, 1)
	got := b.store.Spent("sms", b.now)
	require.Zero(b, got.Day)
	require.Equal(b, 9, got.Month.Segments)
	require.Zero(b, b.store.Spent("sms", b.now.AddDate(0, 1, 0)))
	require.Zero(b, b.store.Spent("another", b.now))
}

func testLapse(b *bench) {
	ref := b.say(number(1), reply("wait", dialog.Safety))[0]
	b.lease(b.now, 1)
	lapsed := dropped
	lapsed.Lapse = dialog.Expired
	b.settle(ref, lapsed)
	b.reopen()
	due := b.due(b.now)
	require.Len(b, due, 1)
	require.Equal(b, number(1), due[0].Number)
	require.Equal(b, &gateway.Errand{Lapse: &gateway.Lapse{Ref: ref, Key: "test.wait", Why: dialog.Expired}}, due[0].Errand)
	require.NoError(b, b.ring(due[0]))
	require.Empty(b, b.due(b.now))
}

func testWithdraw(b *bench) {
	b.say(number(1), reply("flying", dialog.Reminder), reply("bulletin", dialog.Bulletin), reply("safety", dialog.Safety), reply("reminder", dialog.Reminder))
	b.say(number(2), reply("another's", dialog.Bulletin))
	flying := b.lease(b.now, 1)
	require.Equal(b, "flying", flying[0].Text)
	change := b.text(number(1), message(1), reply("stopped", dialog.Answer))
	change.Withdraw = true
	require.NoError(b, b.store.Commit(b.ctx, change))
	b.settle(flying[0].Ref, failed(b.now))
	b.settle(b.leases(b.now, "safety", "another's")[0], sent)
	b.leases(b.now, "stopped")
	var why []string
	for _, e := range b.entries() {
		if e.Outcome == gateway.Dropped {
			why = append(why, e.Why)
		}
	}
	require.Equal(b, []string{"opted out", "opted out", "opted out"}, why, "what was in flight is not tried again")
}

// testWithdrawCrash is an opt-out while a message is in flight, and a crash.
func testWithdrawCrash(b *bench) {
	b.say(number(1), reply("flying", dialog.Bulletin))
	b.lease(b.now, 1)
	change := b.text(number(1), message(1))
	change.Withdraw = true
	require.NoError(b, b.store.Commit(b.ctx, change))
	b.reopen()
	require.Empty(b, b.lease(b.now.Add(time.Hour), 10))
}

// testOptOut is who opted out and came back, over a restart.
func testOptOut(b *bench) {
	for i, stopped := range []bool{true, false, false, true} {
		change := b.text(number(1), message(i))
		change.Conversation.State.Stopped = stopped
		require.NoError(b, b.store.Commit(b.ctx, change))
		require.Equal(b, stopped, b.load(number(1)).State.Stopped)
		b.reopen()
		require.Equal(b, stopped, b.load(number(1)).State.Stopped)
		require.False(b, b.load(number(2)).State.Stopped)
	}
	require.NoError(b, b.store.Each(b.ctx, gateway.Number{}, func(c gateway.Conversation) error {
		require.True(b, c.State.Stopped)
		return nil
	}))
}

// eraseWith makes a person with a past, and erases them.
func (b *bench) eraseWith(e dialog.Erase) {
	n := number(1)
	b.set(n, []gateway.Alarm{alarm(n, "vents", b.now), alarm(n, "later", b.now)}, nil)
	require.NoError(b, b.store.Defer(b.ctx, alarm(n, "later", b.now), b.now.Add(time.Minute)))
	b.say(n, reply("waiting", dialog.Answer))
	b.say(number(2), reply("another's", dialog.Answer))
	change := b.text(n, message(1), reply("forgotten", dialog.Answer))
	change.Erase = &e
	require.NoError(b, b.store.Commit(b.ctx, change))
	b.reopen()
}

func testErase(b *bench) {
	b.eraseWith(dialog.Erase{})
	n := number(1)
	require.Equal(b, gateway.Conversation{Number: n}, b.load(n))
	require.Empty(b, b.due(b.now.Add(time.Hour)))
	b.leases(b.now, "another's", "forgotten")
	for _, e := range b.entries() {
		whole := e.Text == "text 3" || e.Message == message(1)
		require.Equal(b, whole, e.Text != "")
		require.Equal(b, !whole, e.Erased)
		for _, r := range e.Replies {
			require.Equal(b, whole, r.Text != "")
			require.Equal(b, dialog.Answer, r.Urgency, "what can be counted stays")
		}
	}
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, message(1))), gateway.ErrSeen, "the request to be forgotten, brought again")
	require.Equal(b, "forgotten", b.recall(n, message(1)).Replies[0].Text)
	require.NoError(b, b.store.Each(b.ctx, gateway.Number{}, func(c gateway.Conversation) error {
		require.Equal(b, number(2), c.Number)
		return nil
	}))
	b.say(n, reply("welcome", dialog.Answer))
	require.Equal(b, uint64(1), b.load(n).Rev)
}

func testEraseOptOut(b *bench) {
	b.eraseWith(dialog.Erase{KeepOptOut: true})
	n := number(1)
	require.Equal(b, dialog.State{Stopped: true}, b.load(n).State)
	require.Zero(b, b.load(n).Rev)
	b.say(n, reply("hello again", dialog.Answer))
	require.True(b, b.load(n).State.Stopped, "only the person's own word lifts it")
	require.Equal(b, uint64(1), b.load(n).Rev)
	change := b.text(n, message(2))
	change.Conversation.State.Stopped = false
	require.NoError(b, b.store.Commit(b.ctx, change))
	b.reopen()
	require.False(b, b.load(n).State.Stopped)
}
