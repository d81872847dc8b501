package storetest

import (
	"fmt"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// part is one of three parts of a long text of a person.
func (b *bench) part(n gateway.Number, ref, seq int) gateway.Inbound {
	return gateway.Inbound{
		ID: message(100*ref + seq), Provider: fmt.Sprint("p", seq), Channel: "sms", Sender: "+" + n.Digits(), From: n, To: "2020",
		Via: dialog.SMS, SentAt: b.now.Add(-time.Minute), At: b.now,
		Part: &gateway.Part{Ref: ref, Width: 8, Total: 3, Seq: seq, Octets: []byte{0, 0xd8, byte(seq)}, Charset: "utf-16be"},
	}
}

func overdue(in gateway.Inbound) gateway.Alarm {
	return gateway.Alarm{
		Number: in.From, ID: dialog.TimerID("parts:" + in.PartsName()), At: in.At.Add(time.Minute),
		Errand: &gateway.Errand{Parts: in.PartsName()},
	}
}

func (b *bench) hold(in gateway.Inbound) []gateway.Inbound {
	all, err := b.store.Hold(b.ctx, in, overdue(in))
	require.NoError(b, err)
	return all
}

func (b *bench) held(in gateway.Inbound) []gateway.Inbound {
	all, err := b.store.Held(b.ctx, in.From, in.PartsName())
	require.NoError(b, err)
	return all
}

// answerParts commits the answer to a text in parts.
func (b *bench) answerParts(all ...gateway.Inbound) {
	change := b.text(all[0].From, all[0].ID, reply("whole", dialog.Answer))
	for _, in := range all {
		change.Source.Parts = append(change.Source.Parts, in.ID)
	}
	change.Clear = []gateway.Alarm{overdue(all[0])}
	require.NoError(b, b.store.Commit(b.ctx, change))
}

func testParts(b *bench) {
	n := number(1)
	third := b.part(n, 7, 3)
	require.Equal(b, []gateway.Inbound{third}, b.hold(third))
	b.reopen()
	b.now = b.now.Add(time.Second)
	first, other, stranger := b.part(n, 7, 1), b.part(n, 8, 1), b.part(number(2), 7, 2)
	require.Equal(b, []gateway.Inbound{first, third}, b.hold(first), "in order, whenever they came")
	require.Equal(b, []gateway.Inbound{other}, b.hold(other), "of another reference")
	require.Equal(b, []gateway.Inbound{stranger}, b.hold(stranger), "of another person")
	due := b.due(start.Add(time.Minute))
	require.Len(b, due, 1, "the first part sets the alarm")
	require.Equal(b, gateway.Errand{Parts: first.PartsName()}, *due[0].Errand)
	require.Zero(b, b.load(n).Rev, "a part is no turn")
	require.Empty(b, b.entries())

	second := b.part(n, 7, 2)
	all := b.hold(second)
	require.Equal(b, []gateway.Inbound{first, second, third}, all)
	b.answerParts(third, first, second)
	b.reopen()
	require.Empty(b, b.held(first))
	require.Equal(b, []gateway.Inbound{other}, b.held(other))
	require.Equal(b, []gateway.Inbound{stranger}, b.held(stranger))
	require.Len(b, b.due(start.Add(time.Hour)), 2)
	for _, in := range all {
		_, err := b.store.Hold(b.ctx, in, overdue(in))
		require.ErrorIs(b, err, gateway.ErrSeen)
		require.Equal(b, "whole", b.recall(n, in.ID).Replies[0].Text, "each part has the answer to the whole")
	}
	require.ErrorIs(b, b.store.Commit(b.ctx, b.text(n, first.ID)), gateway.ErrSeen)
}

func testPartAgain(b *bench) {
	in := b.part(number(1), 0, 1)
	b.hold(in)
	again := in
	again.At = again.At.Add(time.Second)
	require.Equal(b, []gateway.Inbound{in}, b.hold(again), "it stays as it came first")
	b.now = b.now.Add(2 * time.Second)
	rival := b.part(number(1), 0, 1)
	rival.ID, rival.Part.Octets = message(9), []byte("another text")
	require.ElementsMatch(b, []gateway.Inbound{in, rival}, b.hold(rival), "nothing is written over")
	b.answerParts(rival)
	require.Equal(b, []gateway.Inbound{in}, b.held(in))
}

// testPartsFull: of one text and of one number only so many parts are held.
func testPartsFull(b *bench) {
	n := number(1)
	rival := func(ref, i int) gateway.Inbound {
		in := b.part(n, ref, 1)
		in.ID = message(1000*ref + i)
		return in
	}
	full := func(ref, i, want int) {
		in := rival(ref, i)
		_, err := b.store.Hold(b.ctx, in, overdue(in))
		require.ErrorIs(b, err, gateway.ErrFull)
		require.Len(b, b.held(in), want)
	}
	total := 0
	for ref := 1; total < gateway.MaxHeld; ref++ {
		for i := range min(3+gateway.MaxRivals, gateway.MaxHeld-total) {
			require.Len(b, b.hold(rival(ref, i)), i+1)
			total++
		}
		if total < gateway.MaxHeld {
			full(ref, 99, 3+gateway.MaxRivals)
		}
		b.hold(rival(ref, 0)) // again
	}
	full(999, 1, 0)
	other := rival(999, 1)
	other.From, other.Sender = number(2), "+"+number(2).Digits()
	b.hold(other)
}

func testPartsErased(b *bench) {
	in := b.part(number(1), 0, 1)
	b.hold(in)
	change := b.text(in.From, message(1))
	change.Erase = &dialog.Erase{}
	require.NoError(b, b.store.Commit(b.ctx, change))
	require.Empty(b, b.held(in))
	require.Empty(b, b.due(start.Add(time.Hour)))
}
