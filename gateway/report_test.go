package gateway_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cobline/dialog"
	"cobline/gateway"
)

var deliveries = rapid.SampledFrom([]gateway.Delivery{
	gateway.ReportQueued, gateway.ReportSubmitted, gateway.ReportAccepted, gateway.ReportDelivered,
	gateway.ReportFailed, gateway.ReportExpired, gateway.ReportRejected, gateway.ReportUnknown,
})

// TestDeliveryAdvances: whatever the order of reports, what is known only
// rises, and the first final state stands unless it was unknown.
func TestDeliveryAdvances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var known, final gateway.Delivery
		for _, d := range rapid.SliceOf(deliveries).Draw(t, "reports") {
			require.False(t, d.Advances(d))
			before := known
			if d.Advances(known) {
				known = d
			}
			require.False(t, before.Final() && !known.Final())
			if d.Final() && (final == 0 || final == gateway.ReportUnknown && d == gateway.ReportDelivered) {
				final = d
			}
			require.GreaterOrEqual(t, max(known, before), before)
			if final != 0 {
				require.Equal(t, final, known)
			}
		}
	})
}

// sent takes the next message out of the outbox and returns its reference.
func (l *line) sent(channel string) string {
	all := l.waiting(channel)
	require.Len(l, all, 1)
	return all[0].Ref
}

func TestReport(t *testing.T) {
	l := newLine(t)
	l.receive(l.inbound("none", "hello"))
	r := gateway.Report{
		Channel: "none", Ref: l.sent("none"), State: gateway.ReportFailed,
		Reason: "absent\x00 " + strings.Repeat("é", 100), At: l.now,
	}
	for range 2 {
		require.NoError(t, l.service.Report(l.ctx, r), "no news is no error")
	}
	e := l.entries()
	require.Len(t, e, 3)
	require.Equal(t, "absent "+strings.Repeat("é", 73), e[2].Why)
	r.Ref = gateway.NewKey(l.now, 9).Ref(0)
	require.ErrorIs(t, l.service.Report(l.ctx, r), gateway.ErrNotFound)
}

// A gateway's own opt-out is one: what waits is withdrawn, and nothing is said.
func TestC19GatewayOptsOut(t *testing.T) {
	l := newLine(t)
	l.step = says(answer("a"), dialog.Reply{Key: "b", Text: "b", Urgency: dialog.Reminder})
	l.receive(l.inbound("none", "hello"))
	m, err := l.store.Lease(l.ctx, "none", l.now, 0, 1)
	require.NoError(t, err)
	require.NoError(t, l.store.Settle(l.ctx, m[0].Ref, gateway.Settlement{Outcome: gateway.Sent, At: l.now}))
	require.NoError(t, l.service.Report(l.ctx, gateway.Report{
		Channel: "none", Ref: m[0].Ref, State: gateway.ReportRejected, OptedOut: true, At: l.now,
	}))
	l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		require.Equal(t, dialog.Said{Text: "STOP", Via: dialog.SMS}, ev)
		s.Stopped = true
		return dialog.Turn{State: s, Replies: []dialog.Reply{answer("stopped")}}
	}
	l.ring()
	require.True(t, l.load(1).State.Stopped)
	require.Empty(t, l.out("none"), "the reminder is withdrawn and no confirmation sent")
	var kinds []string
	for _, e := range l.entries() {
		kinds = append(kinds, e.Kind.String())
	}
	require.Equal(t, []string{"heard", "settled", "reported", "opted out", "settled"}, kinds)
	require.Empty(t, l.due())
}
