package storetest

import (
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// notice is a notice as it is started.
func (b *bench) notice(id string) gateway.Notice {
	return gateway.Notice{
		Message: dialog.Notice{ID: id, Expires: b.now.Add(time.Hour), Texts: map[locales.Lang]string{"en": "notice " + id}},
		At:      b.now, Progress: gateway.Running,
	}
}

// reference is to a notice, for a number.
func (b *bench) reference(id string, n gateway.Number) gateway.Outbound {
	return gateway.Outbound{
		Channel: "sms", To: n, Urgency: dialog.Bulletin, NotBefore: b.now, Key: dialog.NoticeKey,
		Segments: 1, Expires: b.now.Add(time.Hour), Notice: id,
	}
}

// enlist starts a notice, if it is new, and writes references to it.
func (b *bench) enlist(id string, numbers ...gateway.Number) {
	var to []gateway.Outbound
	for _, n := range numbers {
		to = append(to, b.reference(id, n))
	}
	n, rev := b.desk(id)
	require.NoError(b, b.store.Enlist(b.ctx, n, rev, to, b.now))
}

// desk returns a notice as it is kept, or a new one.
func (b *bench) desk(id string) (gateway.Notice, uint64) {
	var n gateway.Notice
	rev, err := b.store.Get(b.ctx, gateway.NoticeKind, id, &n)
	if err != nil {
		require.ErrorIs(b, err, gateway.ErrNotFound)
		return b.notice(id), 0
	}
	return n, rev
}

// tell returns the change that makes a leased reference a message.
func (b *bench) tell(ref gateway.Outbound) gateway.Change {
	c := b.load(ref.To)
	c.Person = gateway.PersonKey{7}
	c.State.Serial++
	c.Notices = append(c.Notices, gateway.Reached{Notice: ref.Notice, Until: b.now.Add(8 * 24 * time.Hour)})
	ref.Text, ref.Trying, ref.Person = "text of "+ref.Notice, true, c.Person
	return gateway.Change{
		Conversation: c, Source: gateway.Source{Bulletin: &ref},
		Entry: &gateway.Entry{Kind: gateway.Noticed, At: b.now, Person: c.Person, Ref: ref.Ref, Notice: ref.Notice},
	}
}

func (b *bench) tally(id string) gateway.Tally {
	t, err := b.store.Tally(b.ctx, id)
	require.NoError(b, err)
	return t
}

func testEnlist(b *bench) {
	const people = gateway.MaxEnlisted
	var to []gateway.Outbound
	for i := range people {
		to = append(to, b.reference("a", number(i)))
	}
	require.Error(b, b.store.Enlist(b.ctx, b.notice("a"), 0, append(to, to[0]), b.now), "too many at once")
	require.NoError(b, b.store.Enlist(b.ctx, b.notice("a"), 0, to, b.now))
	require.ErrorIs(b, b.store.Enlist(b.ctx, b.notice("a"), 0, to, b.now), gateway.ErrConflict)
	require.Equal(b, gateway.Tally{Enlisted: people}, b.tally("a"), "a conflict writes nothing")
	require.Zero(b, b.tally("b"))
	for range 2 {
		out := b.lease(b.now, 2*people)
		require.Len(b, out, people)
		refs := map[string]bool{}
		for i, m := range out {
			require.Equal(b, number(i), m.To, "in the order they were written")
			require.Empty(b, m.Text)
			require.Equal(b, "a", m.Notice)
			refs[m.Ref] = true
		}
		require.Len(b, refs, people, "each has a name of its own")
		n, rev := b.desk("a")
		require.Equal(b, gateway.Running, n.Progress)
		require.Equal(b, uint64(1), rev)
		b.reopen()
	}
}

func testBulletin(b *bench) {
	b.enlist("a", number(1))
	ref := b.lease(b.now, 1)[0]
	b.say(number(1), reply("answer", dialog.Answer))
	change := b.tell(ref)
	require.NoError(b, b.store.Commit(b.ctx, change))
	require.ErrorIs(b, b.store.Commit(b.ctx, b.tell(ref)), gateway.ErrSeen)
	require.Empty(b, b.lease(b.now, 10), "it is in flight still")
	require.Equal(b, change.Conversation.Notices, b.load(number(1)).Notices)
	b.settle(ref.Ref, sent)
	b.settle(b.leases(b.now, "answer")[0], sent)

	b.enlist("b", number(2))
	ref = b.lease(b.now, 1)[0]
	change = b.tell(ref)
	change.Source.Bulletin.Channel, change.Source.Bulletin.Trying = "other", false
	require.NoError(b, b.store.Commit(b.ctx, change))
	require.Empty(b, b.lease(b.now.Add(hold), 1))
	out, err := b.store.Lease(b.ctx, "other", b.now, hold, 10)
	require.NoError(b, err)
	require.Len(b, out, 1)
	require.Equal(b, ref.Ref, out[0].Ref)
	require.False(b, out[0].Trying)
}

func testBulletinAgain(b *bench) {
	b.enlist("a", number(1))
	ref := b.lease(b.now, 1)[0]
	require.NoError(b, b.store.Commit(b.ctx, b.tell(ref)))
	b.settle(ref.Ref, sent)
	for i := range 40 {
		b.now = b.now.Add(time.Hour)
		require.NoError(b, b.store.Commit(b.ctx, b.text(number(1), message(i))))
	}
	b.reopen()
	b.enlist("a", number(1), number(2))
	out := b.lease(b.now, 10)
	require.Len(b, out, 2)
	require.ErrorIs(b, b.store.Commit(b.ctx, b.tell(out[0])), gateway.ErrSeen, "a second reference to the same notice")
	require.NoError(b, b.store.Commit(b.ctx, b.tell(out[1])))
}

func testTrying(b *bench) {
	b.enlist("a", number(1), number(2))
	out := b.lease(b.now, 10)
	require.NoError(b, b.store.Commit(b.ctx, b.tell(out[0])))
	require.NoError(b, b.store.Commit(b.ctx, b.tell(out[1])))
	b.settle(out[1].Ref, failed(b.now))
	b.reopen()
	again := b.lease(b.now, 10)
	require.Len(b, again, 2)
	for i, trying := range []bool{true, false} {
		require.Equal(b, out[i].Ref, again[i].Ref)
		require.Equal(b, "text of a", again[i].Text)
		require.Equal(b, trying, again[i].Trying)
	}
	require.NoError(b, b.store.Try(b.ctx, again[1].Ref))
	b.reopen()
	require.True(b, b.lease(b.now, 10)[1].Trying)
	b.settle(again[1].Ref, sent)
	require.ErrorIs(b, b.store.Try(b.ctx, again[1].Ref), gateway.ErrNotFound)
}

func testPause(b *bench) {
	set := func(p gateway.Progress) {
		n, rev := b.desk("a")
		n.Progress = p
		require.NoError(b, b.store.Enlist(b.ctx, n, rev, nil, b.now))
	}
	b.enlist("a", number(1), number(2))
	b.enlist("b", number(1))
	set(gateway.Paused)
	for range 2 {
		out := b.lease(b.now, 10)
		require.Len(b, out, 1)
		require.Equal(b, "b", out[0].Notice, "another notice is not paused")
		b.reopen()
	}
	b.say(number(2), reply("answer", dialog.Answer))
	out := b.lease(b.now, 10)
	require.Len(b, out, 2)
	require.Equal(b, "answer", out[0].Text)
	for _, m := range out {
		b.settle(m.Ref, sent)
	}
	set(gateway.Running)
	require.Len(b, b.lease(b.now, 10), 2)
}

func testRelease(b *bench) {
	b.enlist("a", number(1), number(2))
	b.enlist("tomorrow", number(1))
	b.say(number(1), reply("reminder", dialog.Reminder))
	for range 3 {
		for _, m := range b.lease(b.now, 10) {
			until := b.now.Add(30 * time.Minute)
			if m.Notice == "a" {
				until = m.Expires // what waits for an answer waits to the end of its time
			}
			b.settle(m.Ref, asleep(until))
		}
	}
	change := b.text(number(1), message(1))
	change.Release = true
	require.NoError(b, b.store.Commit(b.ctx, change))
	out := b.lease(b.now, 10)
	require.Len(b, out, 1)
	require.Equal(b, "a", out[0].Notice)
	b.settle(out[0].Ref, sent)
	require.Empty(b, b.lease(b.now, 10), "what is no notice, what is another's, and what is for later waits on")
}

// testReleaseInFlight: the answer may come between the question and the moment
// at which its reference is told to wait for it.
func testReleaseInFlight(b *bench) {
	b.enlist("a", number(1), number(2))
	out := b.lease(b.now, 10)
	require.Len(b, out, 2)
	change := b.text(number(1), message(1))
	change.Release = true
	require.NoError(b, b.store.Commit(b.ctx, change))
	for _, m := range out {
		b.settle(m.Ref, asleep(m.Expires))
	}
	again := b.lease(b.now, 10)
	require.Len(b, again, 1)
	require.Equal(b, number(1), again[0].To)
	b.settle(again[0].Ref, asleep(again[0].Expires)) // the mark was for once
	require.Empty(b, b.lease(b.now, 10))
}

// testNoticeErased: also what is kept of a notice, for reports on it, is erased
// with the person.
func testNoticeErased(b *bench) {
	b.enlist("a", number(1))
	ref := b.lease(b.now, 1)[0]
	require.NoError(b, b.store.Commit(b.ctx, b.tell(ref)))
	b.settle(ref.Ref, sent)
	forget := b.text(ref.To, message(1))
	forget.Erase = &dialog.Erase{}
	require.NoError(b, b.store.Commit(b.ctx, forget))
	require.ErrorIs(b, b.report(gateway.Report{Channel: "sms", Ref: ref.Ref, OptedOut: true}), gateway.ErrNotFound)
	require.Empty(b, b.due(b.now))
}

func testTally(b *bench) {
	unknown := gateway.Settlement{Outcome: gateway.Unknown, Why: gateway.WhyCrash}
	drop := func(why string) gateway.Settlement { return gateway.Settlement{Outcome: gateway.Dropped, Why: why} }
	all := []gateway.Settlement{
		sent, sent, unknown, unknown, drop(gateway.WhyExpired), drop(gateway.WhyRefused), drop(gateway.WhyOptedOut), drop("cancelled"),
	}
	var numbers []gateway.Number
	for i := range len(all) + 3 {
		numbers = append(numbers, number(i))
	}
	b.enlist("a", numbers...)
	out := b.lease(b.now, 100)
	for i, s := range all {
		require.NoError(b, b.store.Commit(b.ctx, b.tell(out[i])))
		b.settle(out[i].Ref, s)
	}
	require.Equal(b, gateway.Tally{
		Enlisted: 11, Reached: 2, Unknown: 2, Expired: 1, Failed: 1, OptedOut: 1, Left: 1,
	}, b.tally("a"))
	require.Equal(b, 3, b.tally("a").Waiting())

	report := func(i int, d gateway.Delivery) {
		require.NoError(b, b.store.Report(b.ctx, gateway.Report{Channel: "sms", Ref: out[i].Ref, State: d, At: b.now}))
	}
	report(0, gateway.ReportSubmitted)
	report(0, gateway.ReportDelivered)
	report(1, gateway.ReportFailed)
	report(2, gateway.ReportDelivered)
	// One that is reported before its request ends, and one who is forgotten.
	early, gone := out[len(all)], out[len(all)+1]
	require.NoError(b, b.store.Commit(b.ctx, b.tell(early)))
	report(len(all), gateway.ReportDelivered)
	b.settle(early.Ref, unknown)
	forget := b.text(gone.To, message(1))
	forget.Erase = &dialog.Erase{}
	require.NoError(b, b.store.Commit(b.ctx, forget))
	stop := b.text(out[len(all)+2].To, message(2))
	stop.Withdraw = true
	require.NoError(b, b.store.Commit(b.ctx, stop))
	b.reopen()
	require.Equal(b, gateway.Tally{
		Enlisted: 11, Reached: 4, Unknown: 1, Expired: 1, Failed: 1, OptedOut: 2, Left: 2, Delivered: 3, Undelivered: 1,
	}, b.tally("a"))
	require.Empty(b, b.lease(b.now, 100))
}

func testGreeted(b *bench) {
	ref := b.say(number(1), reply("hello", dialog.Answer))[0]
	require.False(b, b.load(number(1)).Greeted)
	before := b.load(number(1)).Rev
	b.lease(b.now, 1)
	b.settle(ref, sent)
	b.reopen()
	require.True(b, b.load(number(1)).Greeted)
	require.Equal(b, before, b.load(number(1)).Rev, "no turn becomes stale by it")
	require.NoError(b, b.store.Commit(b.ctx, b.text(number(1), message(1))))
	require.True(b, b.load(number(1)).Greeted)
}
