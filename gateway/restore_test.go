package gateway_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
	"cobline/locales"
)

// TestC30StaleAlarmsAreDropped: of a store that was put back, what should have
// rung before is listed and dropped, and said in the journal; what is still to
// come, and an opt-out, stay. What waits is counted; of notices on their way
// nobody knows whom they reached.
func TestC30StaleAlarmsAreDropped(t *testing.T) {
	duty := number(t, 9)
	l := newLine(t, func(o *gateway.Options) {
		o.Duty = func(string) []gateway.Number { return []gateway.Number{duty} }
	})
	notices := gateway.NewNotices(l.store, l.service)
	l.step = func(s dialog.State, _ dialog.Event, w dialog.World) dialog.Turn {
		s.Profile.Consent = "list"
		s.Seen = w.Now
		s.Timers = []dialog.Timer{
			{ID: "smoke/A", At: w.Now.Add(20 * time.Minute), Kind: "smoke", Drum: "A"},
			{ID: "open/A", At: w.Now.Add(20 * time.Hour), Kind: "open", Drum: "A"},
		}
		return dialog.Turn{State: s, Replies: []dialog.Reply{
			{Key: "a", Text: "a", Urgency: dialog.Answer}, {Key: "b", Text: "b", Urgency: dialog.Reminder},
		}, Effects: []dialog.Effect{dialog.TellDuty{AlertID: "1", Kind: "gas", Attempt: 1}}}
	}
	l.receive(l.inbound("none", "LIT"))
	running := l.notice("running", number(t, 1))
	over := l.notice("over")
	over.Message.Expires = l.now.Add(time.Minute)
	over.Listed = true
	require.NoError(t, l.store.Enlist(l.ctx, over, 1, nil, l.now))
	// A gateway's word that the person wants no more, not heard of yet.
	out, err := l.store.Lease(l.ctx, "none", l.now, time.Minute, 10)
	require.NoError(t, err)
	require.NoError(t, l.store.Report(l.ctx, gateway.Report{Channel: "none", Ref: out[0].Ref, State: gateway.ReportAccepted, OptedOut: true, At: l.now}))

	since := l.now.Add(2 * time.Hour)
	l.pass(3 * time.Hour)
	l.notice("started since")
	l.pass(-3 * time.Hour)
	r, err := notices.AfterRestore(l.ctx, l.store, since)
	require.NoError(t, err)
	var stale []string
	for _, s := range r.Stale {
		stale = append(stale, s.Number+" "+s.What)
	}
	require.Equal(t, []string{"+999…09 emergency gas", "+999…01 timer smoke/A"}, stale)
	require.Equal(t, map[string]int{"answer": 1, "reminder": 1}, r.Waiting)
	require.Equal(t, 1, r.Bulletins)
	require.Equal(t, []string{running.Message.ID}, r.Notices)
	require.Len(t, l.load(1).State.Timers, 2, "nothing is dropped by looking")

	l.now = since.Add(time.Minute)
	require.NoError(t, notices.Confirm(l.ctx, l.store, r, l.now))
	require.Len(t, l.load(1).State.Timers, 1)
	due := l.due()
	require.Len(t, due, 1)
	require.True(t, due[0].Errand.OptOut)
	missed := 0
	for _, e := range l.entries() {
		if e.Kind == gateway.Missed {
			require.NotZero(t, e.Person, "also of a duty phone that never wrote")
			missed++
		}
	}
	require.Equal(t, 2, missed)
	tally, err := l.store.Tally(l.ctx, running.Message.ID)
	require.NoError(t, err)
	require.Equal(t, gateway.Tally{Enlisted: 1, Unknown: 1}, tally)
	all, err := notices.List(l.ctx)
	require.NoError(t, err)
	for _, s := range all {
		require.Equal(t, s.Notice.Message.ID == running.Message.ID, s.Notice.Progress == gateway.Cancelled)
	}
	again, err := notices.AfterRestore(l.ctx, l.store, since)
	require.NoError(t, err)
	require.Empty(t, again.Stale)
	require.Zero(t, again.Bulletins)
}

// notice puts a notice on the desk, with references for some numbers.
func (l *line) notice(id string, to ...gateway.Number) gateway.Notice {
	n := gateway.Notice{
		Message: dialog.Notice{ID: id, Texts: map[locales.Lang]string{"en": "hi"}, Expires: l.now.Add(24 * time.Hour)},
		At:      l.now, Progress: gateway.Running,
	}
	var refs []gateway.Outbound
	for _, number := range to {
		refs = append(refs, gateway.Outbound{
			Channel: "none", To: number, Urgency: dialog.Bulletin, Key: dialog.NoticeKey, NotBefore: l.now,
			Expires: n.Message.Expires, Notice: id, Segments: 1,
		})
	}
	require.NoError(l, l.store.Enlist(l.ctx, n, 0, refs, l.now))
	return n
}
