package storetest

import (
	"fmt"
	"slices"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

func (b *bench) report(r gateway.Report) error {
	r.At = b.now
	return b.store.Report(b.ctx, r)
}

// told returns what the journal holds of reports, in order.
func (b *bench) told() (list []gateway.Delivery) {
	for _, e := range b.entries() {
		if e.Kind == gateway.Reported {
			list = append(list, e.Delivery)
		}
	}
	return list
}

func testReports(b *bench) {
	ref := b.say(number(1), reply("1a", dialog.Answer))[0]
	b.leases(b.now, "1a")
	b.settle(ref, sent)
	want := []gateway.Delivery{}
	for _, r := range []struct {
		state gateway.Delivery
		news  bool
	}{
		{gateway.ReportQueued, true},
		{gateway.ReportAccepted, true},
		{gateway.ReportSubmitted, false},
		{gateway.ReportUnknown, true},
		{gateway.ReportFailed, false},
		{gateway.ReportDelivered, true},
		{gateway.ReportDelivered, false},
		{gateway.ReportRejected, false},
	} {
		err := b.report(gateway.Report{Channel: "sms", Ref: ref, State: r.state, Reason: "to " + number(1).Digits()})
		if want = append(want, r.state); !r.news {
			want = want[:len(want)-1]
			require.ErrorIs(b, err, gateway.ErrSeen, r.state)
		} else {
			require.NoError(b, err, r.state)
		}
		b.reopen()
		require.Equal(b, want, b.told(), "journalled, and never lowered")
	}
	last := b.entries()[len(b.entries())-1]
	require.Equal(b, gateway.Entry{
		Key: last.Key, Kind: gateway.Reported, At: b.now, Person: b.load(number(1)).Person, Channel: "sms",
		Ref: ref, Delivery: gateway.ReportDelivered, Why: "to " + number(1).String(),
	}, last, "without the number")
}

func testReportUnknownRef(b *bench) {
	delivered := gateway.Report{Channel: "sms", State: gateway.ReportDelivered}
	for _, r := range []string{"", "somebody else's", gateway.NewKey(b.now, 77).Ref(0)} {
		delivered.Ref = r
		require.ErrorIs(b, b.report(delivered), gateway.ErrNotFound)
	}
	delivered.Ref = b.say(number(1), reply("never sent", dialog.Answer))[0]
	b.lease(b.now, 1)
	b.settle(delivered.Ref, dropped)
	require.ErrorIs(b, b.report(delivered), gateway.ErrNotFound, "what was never given to a gateway")
	require.Empty(b, b.told())
}

// testReportFirst is a report that overtakes the answer to the request that
// sent its message.
func testReportFirst(b *bench) {
	ref := b.say(number(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer))[0]
	b.leases(b.now, "1a")
	require.NoError(b, b.report(gateway.Report{Ref: ref, State: gateway.ReportDelivered}))
	require.Empty(b, b.lease(b.now, 10), "it is still in flight")
	b.settle(ref, sent)
	require.ErrorIs(b, b.report(gateway.Report{Ref: ref, State: gateway.ReportAccepted}), gateway.ErrSeen)
	b.leases(b.now, "1b")
	require.Equal(b, []gateway.Delivery{gateway.ReportDelivered}, b.told())
}

// testReportSettles is a message whose request was broken off: the report says
// that the gateway has it, so it is not sent again.
func testReportSettles(b *bench) {
	for i, tt := range []struct {
		state   gateway.Delivery
		outcome gateway.Outcome
		lapses  int
	}{
		{gateway.ReportAccepted, gateway.Sent, 0},
		{gateway.ReportDelivered, gateway.Sent, 0},
		{gateway.ReportRejected, gateway.Dropped, 1},
		{gateway.ReportUnknown, gateway.Unknown, 0},
	} {
		for j, early := range []bool{true, false} {
			n := number(10*i + j)
			ref := b.say(n, reply(fmt.Sprint(n), dialog.Safety))[0]
			b.lease(b.now, 1)
			report := func() { require.NoError(b, b.report(gateway.Report{Ref: ref, State: tt.state})) }
			if early {
				report()
			}
			b.settle(ref, failed(b.now.Add(30*time.Second)))
			if !early {
				report()
			}
			b.reopen()
			require.Empty(b, b.lease(b.now.Add(time.Hour), 10))
			settled := slices.IndexFunc(b.entries(), func(e gateway.Entry) bool { return e.Ref == ref && e.Outcome == tt.outcome })
			require.GreaterOrEqual(b, settled, 0, "%v early %v", tt.state, early)
			due := b.due(b.now)
			require.Len(b, due, tt.lapses, "%v early %v", tt.state, early)
			for _, a := range due {
				require.NoError(b, b.ring(a))
			}
		}
	}
}

func testReportByID(b *bench) {
	ref := b.say(number(1), reply("1a", dialog.Answer))[0]
	b.lease(b.now, 1)
	taken := sent
	taken.Provider = "id-7"
	b.settle(ref, taken)
	b.reopen()
	r := gateway.Report{Channel: "another channel", Provider: "id-7", State: gateway.ReportDelivered}
	require.ErrorIs(b, b.report(r), gateway.ErrNotFound, "an id is the channel's")
	r.Channel = "sms"
	require.NoError(b, b.report(r))
	r.Ref = ref
	require.ErrorIs(b, b.report(r), gateway.ErrSeen)
}

// testReportEarly is a report that names the gateway's id before the line has
// learned it.
func testReportEarly(b *bench) {
	taken := sent
	taken.Provider = "id-7"
	early := gateway.Report{Channel: "sms", Provider: "id-7", State: gateway.ReportAccepted}
	hold := func(state gateway.Delivery) {
		early.State = state
		require.ErrorIs(b, b.report(early), gateway.ErrNotFound)
	}
	ref := b.say(number(1), reply("1a", dialog.Answer))[0]
	b.lease(b.now, 1)
	hold(gateway.ReportDelivered)
	hold(gateway.ReportAccepted)
	early.Channel, early.OptedOut = "another channel", true
	hold(gateway.ReportDelivered)
	early.Channel, early.OptedOut = "sms", false
	b.reopen()
	b.lease(b.now, 1)
	b.now = b.now.Add(9 * time.Minute)
	b.settle(ref, taken)
	require.Equal(b, []gateway.Delivery{gateway.ReportDelivered}, b.told())
	require.ErrorIs(b, b.report(early), gateway.ErrSeen)
	require.Empty(b, b.due(b.now))

	early.Provider, early.OptedOut, taken.Provider = "id-8", true, "id-8"
	ref = b.say(number(2), reply("2a", dialog.Answer))[0]
	b.lease(b.now, 1)
	hold(gateway.ReportRejected)
	b.settle(ref, taken)
	require.Len(b, b.due(b.now), 1, "a gateway's opt-out is heard whenever it comes")

	early.Provider, taken.Provider = "id-9", "id-9"
	ref = b.say(number(3), reply("3a", dialog.Answer))[0]
	hold(gateway.ReportRejected)
	b.now = b.now.Add(11 * time.Minute)
	for i := range 1200 { // strays of another sender do not grow for ever
		early.Provider = fmt.Sprint("stray ", i)
		hold(gateway.ReportDelivered)
	}
	b.lease(b.now, 1)
	b.settle(ref, taken)
	require.Len(b, b.told(), 2, "an id that comes again so much later is another message's")
}

func testReportLate(b *bench) {
	ref := b.say(number(1), reply("1a", dialog.Answer))[0]
	b.lease(b.now, 1)
	taken := sent
	taken.Provider = "id-7"
	b.settle(ref, taken)
	b.now = b.now.Add(15 * 24 * time.Hour)
	b.settle(b.say(number(2), reply("2a", dialog.Answer))[0], sent)
	late := gateway.Report{Channel: "sms", Ref: ref, State: gateway.ReportDelivered}
	require.ErrorIs(b, b.report(late), gateway.ErrNotFound)
	late.Ref, late.Provider = "", "id-7"
	require.ErrorIs(b, b.report(late), gateway.ErrNotFound)
}

func testReportOptOut(b *bench) {
	refs := b.say(number(1), reply("1a", dialog.Answer), reply("1b", dialog.Answer))
	b.lease(b.now, 1)
	b.settle(refs[0], sent)
	rejected := gateway.Report{Ref: refs[0], State: gateway.ReportRejected, OptedOut: true}
	require.NoError(b, b.report(rejected))
	optOut := []gateway.Alarm{{Number: number(1), ID: "opted-out", At: b.now, Due: b.now, Errand: &gateway.Errand{OptOut: true}}}
	b.reopen()
	require.Equal(b, optOut, b.due(b.now))
	require.NoError(b, b.ring(optOut[0]))
	require.ErrorIs(b, b.report(rejected), gateway.ErrSeen)
	require.Empty(b, b.due(b.now), "brought again it is not heard again")
	b.lease(b.now, 1)
	refused := dropped
	refused.OptedOut = true
	b.settle(refs[1], refused)
	require.Equal(b, optOut, b.due(b.now), "also as the answer to a request")

	read := b.say(number(2), reply("2a", dialog.Answer))[0]
	b.lease(b.now, 1)
	b.settle(read, sent)
	require.NoError(b, b.report(gateway.Report{Ref: read, State: gateway.ReportDelivered}))
	rejected.Ref = read
	require.NoError(b, b.report(rejected), "also after the message arrived")
	require.Len(b, b.due(b.now), 2)
	require.ErrorIs(b, b.report(rejected), gateway.ErrSeen)
}

func testReportErased(b *bench) {
	n := number(1)
	ref := b.say(n, reply("1a", dialog.Answer))[0]
	b.lease(b.now, 1)
	b.settle(ref, sent)
	change := b.text(n, message(1), reply("forgotten", dialog.Answer))
	change.Erase = &dialog.Erase{}
	require.NoError(b, b.store.Commit(b.ctx, change))
	farewell := b.lease(b.now, 1)[0]
	b.settle(farewell.Ref, sent)
	for _, ref := range []string{ref, farewell.Ref} {
		require.ErrorIs(b, b.report(gateway.Report{Ref: ref, State: gateway.ReportDelivered}), gateway.ErrNotFound)
	}
}
