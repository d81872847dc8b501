// Package storetest is the contract of gateway.Store as tests. A store that
// passes can carry the line.
package storetest

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// Opener opens the store of a folder, which may hold one already.
type Opener func(t require.TestingT, dir string) gateway.Store

// Run tests a store.
func Run(t *testing.T, open Opener) {
	for name, test := range map[string]func(*bench){
		"a turn is kept whole":                    testTurn,
		"a stale revision is a conflict":          testConflict,
		"A B A answers A again":                   testRepeat,
		"forty texts later":                       testManyTexts,
		"a retry after 71 hours":                  testLateRetry,
		"a change without a number":               testForeign,
		"parts of a long text":                    testParts,
		"a part again":                            testPartAgain,
		"more parts than are held":                testPartsFull,
		"parts are erased":                        testPartsErased,
		"one bad change among many":               testIsolation,
		"every acknowledged change is there":      testConcurrent,
		"an ended context":                        testCancelled,
		"a closed store":                          testClosed,
		"everybody in number order":               testEach,
		"a person by their key":                   testPerson,
		"alarms ring in order":                    testAlarms,
		"a deferred alarm":                        testDefer,
		"an alarm for another number":             testErrand,
		"one message in flight per person":        testFlight,
		"the most urgent first":                   testUrgency,
		"a message that failed holds the others":  testFailed,
		"first aid of one turn keeps its order":   testFirstAidInOrder,
		"a message that sleeps holds nobody":      testAsleep,
		"a hold that runs out":                    testHold,
		"what becomes of a message is journalled": testSettled,
		"a lapse wakes the conversation":          testLapse,
		"what is spent is spent once":             testSpend,
		"reports only advance":                    testReports,
		"a report on no message of ours":          testReportUnknownRef,
		"a report before the submit result":       testReportFirst,
		"a report settles what was unsure":        testReportSettles,
		"a report by the gateway's id":            testReportByID,
		"a report before its id is known":         testReportEarly,
		"a report too late":                       testReportLate,
		"a report of an opt-out":                  testReportOptOut,
		"a report after erasing":                  testReportErased,
		"opting out withdraws":                    testWithdraw,
		"opting out while a message flies":        testWithdrawCrash,
		"opting out and returning":                testOptOut,
		"erasing":                                 testErase,
		"an opt-out outlives erasing":             testEraseOptOut,
		"the journal in order":                    testLog,
		"the desk":                                testDesk,
		"a turn writes to the desk":               testDocuments,
		"a list of references":                    testEnlist,
		"a reference becomes a message once":      testBulletin,
		"forty texts between runs of a notice":    testBulletinAgain,
		"a crash while a bulletin is sent":        testTrying,
		"a paused notice":                         testPause,
		"a notice for one who is to be asked":     testRelease,
		"an answer while a notice is in flight":   testReleaseInFlight,
		"a notice to one who is forgotten":        testNoticeErased,
		"what becomes of a notice is counted":     testTally,
		"who was greeted":                         testGreeted,
		"random operations against a map":         testRandom,
	} {
		t.Run(name, func(t *testing.T) { test(newBench(t, t.TempDir(), open)) })
	}
}

// start is the time of every test, a Monday morning in Nairobi.
var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// bench is a store under test.
type bench struct {
	require.TestingT
	ctx   context.Context
	store gateway.Store
	dir   string
	open  Opener
	now   time.Time
	texts int
}

func newBench(t require.TestingT, dir string, open Opener) *bench {
	b := &bench{TestingT: t, ctx: context.Background(), dir: dir, open: open, now: start}
	b.store = open(t, dir)
	if c, ok := t.(interface{ Cleanup(func()) }); ok {
		c.Cleanup(func() { require.NoError(t, b.store.Close()) })
	}
	return b
}

// reopen closes the store and opens it again: everything durable must be there.
func (b *bench) reopen() {
	require.NoError(b, b.store.Close())
	b.store = b.open(b, b.dir)
}

// number returns one of many invented numbers.
func number(i int) gateway.Number {
	n, err := gateway.NumberOf(fmt.Sprintf("999%09d", i))
	if err != nil {
		panic(err)
	}
	return n
}

func message(i int) gateway.MessageID {
	return gateway.NewMessageID("test", "sender", fmt.Sprint(i))
}

func (b *bench) load(n gateway.Number) gateway.Conversation {
	c, err := b.store.Load(b.ctx, n)
	require.NoError(b, err)
	return c
}

// text returns the change that answers a text, before it is committed.
func (b *bench) text(n gateway.Number, id gateway.MessageID, replies ...dialog.Reply) gateway.Change {
	c := b.load(n)
	b.texts++
	c.Channel = "sms"
	c.Person = gateway.PersonKey{byte(b.texts), 1}
	c.State.Serial++
	entry := gateway.Entry{Kind: gateway.Heard, At: b.now, Person: c.Person, Message: id, Text: fmt.Sprintf("text %d", b.texts)}
	change := gateway.Change{Conversation: c, Source: gateway.Source{Inbound: id}, Entry: &entry}
	for i, r := range replies {
		entry.Replies = append(entry.Replies, gateway.Said{Key: r.Key, Text: r.Text, Urgency: r.Urgency, Out: true})
		change.Out = append(change.Out, gateway.Outbound{
			Index: i, Channel: "sms", To: n, Key: r.Key, Text: r.Text, Segments: 1, Urgency: r.Urgency,
			Person: c.Person, NotBefore: b.now, Expires: b.now.Add(time.Hour),
		})
	}
	return change
}

// say commits a text and returns the references of its replies.
func (b *bench) say(n gateway.Number, replies ...dialog.Reply) (refs []string) {
	id := message(b.texts + 1_000_000)
	require.NoError(b, b.store.Commit(b.ctx, b.text(n, id, replies...)))
	e := b.recall(n, id)
	for i := range replies {
		refs = append(refs, e.Key.Ref(i))
	}
	return refs
}

func (b *bench) recall(n gateway.Number, id gateway.MessageID) gateway.Entry {
	e, err := b.store.Recall(b.ctx, n, id)
	require.NoError(b, err)
	return e
}

func reply(text string, u dialog.Urgency) dialog.Reply {
	return dialog.Reply{Key: "test." + text, Text: text, Urgency: u}
}

func testTurn(b *bench) {
	n := number(1)
	require.Equal(b, gateway.Conversation{Number: n}, b.load(n), "a number never met")
	change := b.text(n, message(1), reply("hello", dialog.Answer))
	timer := dialog.Timer{ID: "a/vents", At: b.now.Add(2 * time.Hour), Kind: "vents"}
	change.Conversation.State.Timers = []dialog.Timer{timer}
	change.Conversation.Shown = gateway.Shown{More: true}
	change.Conversation.Session = gateway.Session{
		Channel: "ussd", ID: "s1", Began: b.now, At: b.now.Add(time.Second), Entered: 3, Answer: message(8),
		Turned: []gateway.Turned{{ID: message(7), Answer: message(6), At: 2}}, Blank: true, Over: true,
	}
	change.Conversation.Traffic = gateway.Traffic{Full: b.now.Add(time.Hour), Same: []gateway.Same{{Words: message(12), Since: b.now, Count: 2}}}
	change.Conversation.Recents = []gateway.Recent{{ID: message(9), At: b.now, Text: message(10), Open: "recipe.drums", Sent: b.now.Add(-time.Second)}, {ID: message(11), At: b.now}}
	change.Set = []gateway.Alarm{{Number: n, ID: timer.ID, At: timer.At}}
	require.NoError(b, b.store.Commit(b.ctx, change))
	for range 2 {
		got, want := b.load(n), change.Conversation
		require.Equal(b, uint64(1), got.Rev)
		require.Equal(b, want.State.Encode(), got.State.Encode())
		got.State, want.State, want.Rev = dialog.State{}, dialog.State{}, 1
		require.Equal(b, want, got)
		e := b.recall(n, message(1))
		require.Equal(b, "text 1", e.Text)
		require.Equal(b, b.now, e.At)
		require.Equal(b, change.Entry.Replies, e.Replies)
		out := b.lease(b.now, 10)
		require.Len(b, out, 1)
		want1 := change.Out[0]
		want1.Ref = e.Key.Ref(0)
		require.Equal(b, want1, out[0])
		key, index, err := gateway.ParseRef(out[0].Ref)
		require.NoError(b, err)
		require.Equal(b, e.Key, key, "a reference names its entry")
		require.Zero(b, index)
		require.Len(b, b.due(timer.At), 1)
		b.reopen()
	}
}

func testConflict(b *bench) {
	n := number(1)
	first, second := b.text(n, message(1)), b.text(n, message(2))
	require.NoError(b, b.store.Commit(b.ctx, first))
	require.ErrorIs(b, b.store.Commit(b.ctx, second), gateway.ErrConflict)
	require.ErrorIs(b, b.store.Commit(b.ctx, first), gateway.ErrSeen, "seen comes before conflict")
	require.Equal(b, uint64(1), b.load(n).Rev)
	_, err := b.store.Recall(b.ctx, n, message(2))
	require.ErrorIs(b, err, gateway.ErrNotFound)
	require.Len(b, b.entries(), 1)
}

func testRepeat(b *bench) {
	n := number(1)
	for _, id := range []int{1, 2} {
		require.NoError(b, b.store.Commit(b.ctx, b.text(n, message(id), reply(fmt.Sprint(id), dialog.Answer))))
	}
	before := b.load(n)
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, message(1))), gateway.ErrSeen)
	require.Equal(b, "1", b.recall(n, message(1)).Replies[0].Text)
	require.Equal(b, "2", b.recall(n, message(2)).Replies[0].Text)
	require.Equal(b, before, b.load(n))
	require.Len(b, b.entries(), 2)
}

func testManyTexts(b *bench) {
	n := number(1)
	for i := range 41 {
		require.NoError(b, b.store.Commit(b.ctx, b.text(n, message(i))))
	}
	b.reopen()
	for i := range 41 {
		require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, message(i))), gateway.ErrSeen, i)
		require.Equal(b, fmt.Sprintf("text %d", i+1), b.recall(n, message(i)).Text)
	}
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(number(2), message(0))), nil, "another person's id is another id")
}

func testLateRetry(b *bench) {
	n := number(1)
	require.NoError(b, b.store.Commit(b.ctx, b.text(n, message(0))))
	for i := range 40 {
		b.now = b.now.Add(71 * time.Hour / 40)
		require.NoError(b, b.store.Commit(b.ctx, b.text(n, message(i+1))))
	}
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, message(0))), gateway.ErrSeen)
	require.Equal(b, "text 1", b.recall(n, message(0)).Text)
	for i := range 40 {
		b.now = b.now.Add(100 * time.Hour)
		require.NoError(b, b.store.Commit(b.ctx, b.text(n, message(i+100))))
	}
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, message(139))), gateway.ErrSeen)
}

func testForeign(b *bench) {
	e := gateway.Entry{Kind: gateway.Foreign, At: b.now, Sender: "32100", Text: "your balance"}
	require.NoError(b, b.store.Commit(b.ctx, gateway.Change{Entry: &e}))
	got := b.entries()
	require.Len(b, got, 1)
	require.Equal(b, "32100", got[0].Sender)
	require.NoError(b, b.store.Each(b.ctx, gateway.Number{}, func(gateway.Conversation) error {
		require.Fail(b, "a short code has no conversation")
		return nil
	}))
}

func testIsolation(b *bench) {
	const n, oversize, stale, unnamed = 64, 13, 29, 41
	changes := make([]gateway.Change, n)
	for i := range changes {
		changes[i] = b.text(number(i), message(i), reply("hello", dialog.Answer))
	}
	long := dialog.TimerID(strings.Repeat("x", 1<<16))
	changes[oversize].Set = []gateway.Alarm{{Number: number(oversize), ID: long, At: b.now}}
	changes[stale].Conversation.Rev = 7
	changes[unnamed].Out[0].Index = -1
	errs := b.together(changes)
	for i, err := range errs {
		switch i {
		case oversize, unnamed:
			require.Error(b, err)
			require.NotErrorIs(b, err, gateway.ErrConflict)
		case stale:
			require.ErrorIs(b, err, gateway.ErrConflict)
		default:
			require.NoError(b, err, i)
		}
	}
	b.reopen()
	require.Len(b, b.entries(), n-3)
	require.Len(b, b.lease(b.now, 100), n-3)
	for i := range changes {
		bad := i == oversize || i == stale || i == unnamed
		require.Equal(b, bad, b.load(number(i)).Rev == 0, i)
	}
}

// together commits changes at the same time.
func (b *bench) together(changes []gateway.Change) []error {
	errs := make([]error, len(changes))
	var wg sync.WaitGroup
	for i, c := range changes {
		wg.Go(func() { errs[i] = b.store.Commit(b.ctx, c) })
	}
	wg.Wait()
	return errs
}

func testConcurrent(b *bench) {
	const people, each = 20, 10
	errs := make([]error, people)
	var wg sync.WaitGroup
	for i := range people {
		wg.Go(func() {
			for j := 0; j < each && errs[i] == nil; j++ {
				var c gateway.Conversation
				if c, errs[i] = b.store.Load(b.ctx, number(i)); errs[i] == nil {
					e := gateway.Entry{Kind: gateway.Heard, At: start}
					errs[i] = b.store.Commit(b.ctx, gateway.Change{
						Conversation: c, Source: gateway.Source{Inbound: message(j)}, Entry: &e,
					})
				}
			}
		})
	}
	wg.Wait()
	b.reopen()
	require.Len(b, b.entries(), people*each)
	for i := range people {
		require.NoError(b, errs[i])
		require.Equal(b, uint64(each), b.load(number(i)).Rev)
	}
}

func testCancelled(b *bench) {
	change := b.text(number(1), message(1))
	ctx, cancel := context.WithCancel(b.ctx)
	cancel()
	require.ErrorIs(b, b.store.Commit(ctx, change), context.Canceled)
	_, err := b.store.Load(ctx, number(1))
	require.ErrorIs(b, err, context.Canceled)
	require.Zero(b, b.load(number(1)).Rev)
}

func testClosed(b *bench) {
	change := b.text(number(1), message(1))
	require.NoError(b, b.store.Close())
	require.Error(b, b.store.Commit(b.ctx, change))
	_, err := b.store.Load(b.ctx, number(1))
	require.Error(b, err)
	require.NoError(b, b.store.Close(), "closing twice")
	b.store = b.open(b, b.dir)
}

func testEach(b *bench) {
	const n = 450
	for i := range n {
		require.NoError(b, b.store.Commit(b.ctx, b.text(number(i), message(i))))
	}
	var got []gateway.Number
	require.NoError(b, b.store.Each(b.ctx, gateway.Number{}, func(c gateway.Conversation) error {
		got = append(got, c.Number)
		require.Equal(b, uint64(1), b.load(c.Number).Rev, "the store can be used meanwhile")
		return nil
	}))
	require.Len(b, got, n)
	for i, want := range got {
		require.Equal(b, number(i), want)
	}
	var rest int
	stop := fmt.Errorf("enough")
	require.ErrorIs(b, b.store.Each(b.ctx, number(n-11), func(gateway.Conversation) error {
		if rest++; rest == 10 {
			return stop
		}
		return nil
	}), stop)
}

func testPerson(b *bench) {
	change := b.text(number(1), message(1))
	change.Conversation.State.Place = "kisimani"
	require.NoError(b, b.store.Commit(b.ctx, change))
	b.reopen()
	c := b.load(number(1))
	found, err := b.store.Person(b.ctx, c.Person)
	require.NoError(b, err)
	require.Equal(b, c, found)
	require.Equal(b, "kisimani", found.State.Place)
	_, err = b.store.Person(b.ctx, gateway.PersonKey{99})
	require.ErrorIs(b, err, gateway.ErrNotFound)
	forget := b.text(number(1), message(2))
	forget.Conversation.Person, forget.Erase = c.Person, &dialog.Erase{}
	require.NoError(b, b.store.Commit(b.ctx, forget))
	_, err = b.store.Person(b.ctx, c.Person)
	require.ErrorIs(b, err, gateway.ErrNotFound, "they were forgotten")
	b.say(number(1), reply("welcome", dialog.Answer))
	found, err = b.store.Person(b.ctx, b.load(number(1)).Person)
	require.NoError(b, err)
	require.Equal(b, number(1), found.Number)
}

func (b *bench) entries() (all []gateway.Entry) {
	all, err := b.store.After(b.ctx, gateway.Key{}, 1<<20)
	require.NoError(b, err)
	return all
}

func testLog(b *bench) {
	last, err := b.store.Last(b.ctx)
	require.NoError(b, err)
	require.True(b, last.IsZero())
	const n = 450
	for i := range n {
		if i == n/2 {
			b.now = b.now.Add(-time.Hour) // a clock that was set back
		}
		require.NoError(b, b.store.Commit(b.ctx, b.text(number(i%3), message(i))))
	}
	all := b.entries()
	require.Len(b, all, n)
	for i, e := range all {
		require.Equal(b, fmt.Sprintf("text %d", i+1), e.Text)
	}
	page, err := b.store.After(b.ctx, all[99].Key, 250)
	require.NoError(b, err)
	require.Equal(b, all[100:350], page)
	last, err = b.store.Last(b.ctx)
	require.NoError(b, err)
	require.Equal(b, all[n-1].Key, last)
	require.Equal(b, all[n-4].Key, all[n-1].Previous, "entries of a person are linked")
}

func testDesk(b *bench) {
	type officer struct {
		Name string `cbor:"1,keyasint"`
	}
	get := func(id string) (o officer, rev uint64) {
		rev, err := b.store.Get(b.ctx, "officer", id, &o)
		require.NoError(b, err)
		return o, rev
	}
	_, err := b.store.Get(b.ctx, "officer", "a", &officer{})
	require.ErrorIs(b, err, gateway.ErrNotFound)
	for _, id := range []string{"c", "a", "b"} {
		require.NoError(b, b.store.Put(b.ctx, "officer", id, officer{"name " + id}, 0))
	}
	require.NoError(b, b.store.Put(b.ctx, "officers", "z", officer{"another kind"}, 0))
	require.ErrorIs(b, b.store.Put(b.ctx, "officer", "a", officer{}, 0), gateway.ErrConflict)
	require.NoError(b, b.store.Put(b.ctx, "officer", "a", officer{"new"}, 1))
	require.ErrorIs(b, b.store.Put(b.ctx, "officer", "a", officer{"old"}, 1), gateway.ErrConflict)
	b.reopen()
	o, rev := get("a")
	require.Equal(b, officer{"new"}, o)
	require.Equal(b, uint64(2), rev)
	list := func(after string, max int) (got []string) {
		require.NoError(b, b.store.List(b.ctx, "officer", after, max, func(id string, rev uint64, decode func(any) error) error {
			var o officer
			require.NoError(b, decode(&o))
			got = append(got, id+"="+o.Name)
			return nil
		}))
		return got
	}
	require.Equal(b, []string{"a=new", "b=name b", "c=name c"}, list("", 10))
	require.Equal(b, []string{"b=name b"}, list("a", 1))
	require.NoError(b, b.store.Put(b.ctx, "officer", "a", nil, 2))
	require.Equal(b, []string{"b=name b", "c=name c"}, list("", 10))
}

// testDocuments: what a turn writes to the Desk is there if and only if the turn
// is.
func testDocuments(b *bench) {
	type phone struct {
		Wrong int `cbor:"1,keyasint"`
	}
	wrong := func() (p phone, rev uint64) {
		rev, err := b.store.Get(b.ctx, "phone", "a", &p)
		require.NoError(b, err)
		return p, rev
	}
	n := number(1)
	write := func(id int, v any, rev uint64) error {
		change := b.text(n, message(id))
		change.Documents = []gateway.Document{{Kind: "phone", ID: "a", Value: v, Rev: rev}, {Kind: "record", ID: fmt.Sprint(id), Value: phone{}}}
		return b.store.Commit(b.ctx, change)
	}
	require.NoError(b, write(1, phone{1}, 0))
	require.ErrorIs(b, write(1, phone{2}, 1), gateway.ErrSeen, "a turn is taken once, and so is what it writes")
	require.NoError(b, b.store.Put(b.ctx, "phone", "a", phone{5}, 1))
	require.ErrorIs(b, write(2, phone{2}, 1), gateway.ErrConflict)
	_, err := b.store.Get(b.ctx, "record", "2", &phone{})
	require.ErrorIs(b, err, gateway.ErrNotFound, "nothing of a change that was refused")
	require.Equal(b, uint64(1), b.load(n).Rev)
	require.NoError(b, write(3, phone{6}, 2))
	b.reopen()
	p, rev := wrong()
	require.Equal(b, phone{6}, p)
	require.Equal(b, uint64(3), rev)
	require.NoError(b, write(4, nil, 3))
	_, err = b.store.Get(b.ctx, "phone", "a", &p)
	require.ErrorIs(b, err, gateway.ErrNotFound)
}
