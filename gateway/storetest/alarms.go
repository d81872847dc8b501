package storetest

import (
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

func (b *bench) due(now time.Time) []gateway.Alarm {
	due, err := b.store.DueAlarms(b.ctx, now, 1<<20)
	require.NoError(b, err)
	return due
}

// set commits a text that sets and clears alarms.
func (b *bench) set(n gateway.Number, set, clear []gateway.Alarm) {
	change := b.text(n, message(b.texts+1_000_000))
	change.Set, change.Clear = set, clear
	require.NoError(b, b.store.Commit(b.ctx, change))
}

// ring commits the answer to an alarm.
func (b *bench) ring(a gateway.Alarm) error {
	e := gateway.Entry{Kind: gateway.Rang, At: b.now}
	return b.store.Commit(b.ctx, gateway.Change{Conversation: b.load(a.Number), Source: gateway.Source{Alarm: &a}, Entry: &e})
}

func alarm(n gateway.Number, id dialog.TimerID, at time.Time) gateway.Alarm {
	return gateway.Alarm{Number: n, ID: id, At: at}
}

func ids(alarms []gateway.Alarm) (list []string) {
	for _, a := range alarms {
		list = append(list, string(a.ID))
	}
	return list
}

func testAlarms(b *bench) {
	n, hour := number(1), b.now.Add(time.Hour)
	second := alarm(n, "second", hour.Add(time.Minute))
	b.set(n, []gateway.Alarm{second, alarm(n, "first", hour)}, nil)
	b.set(number(2), []gateway.Alarm{alarm(number(2), "between", hour.Add(time.Second))}, nil)
	b.reopen()
	require.Empty(b, b.due(hour.Add(-time.Millisecond)))
	require.Equal(b, []string{"first"}, ids(b.due(hour)))
	due := b.due(hour.Add(time.Hour))
	require.Equal(b, []string{"first", "between", "second"}, ids(due))
	require.Equal(b, gateway.Alarm{Number: n, ID: "first", At: hour, Due: hour}, due[0])
	some, err := b.store.DueAlarms(b.ctx, hour.Add(time.Hour), 2)
	require.NoError(b, err)
	require.Equal(b, due[:2], some)

	moved := alarm(n, "second", hour.Add(2*time.Hour))
	b.set(n, []gateway.Alarm{moved}, []gateway.Alarm{second})
	require.ErrorIs(b, b.ring(second), gateway.ErrSeen, "an alarm that was replaced does not ring")
	require.NoError(b, b.ring(due[0]))
	require.ErrorIs(b, b.ring(due[0]), gateway.ErrSeen)
	require.Equal(b, []string{"between", "second"}, ids(b.due(hour.Add(3*time.Hour))))
}

func testDefer(b *bench) {
	n := number(1)
	a := alarm(n, "vents", b.now)
	b.set(n, []gateway.Alarm{a}, nil)
	for tries, wait := range []time.Duration{time.Minute, time.Hour} {
		to := b.now.Add(wait)
		require.NoError(b, b.store.Defer(b.ctx, a, to))
		b.reopen()
		require.Empty(b, b.due(to.Add(-time.Millisecond)))
		require.Equal(b, []gateway.Alarm{{Number: n, ID: "vents", At: a.At, Due: to, Tries: tries + 1}}, b.due(to))
	}
	other := alarm(n, "vents", b.now.Add(time.Hour))
	require.ErrorIs(b, b.store.Defer(b.ctx, other, b.now), gateway.ErrNotFound, "where the deferred one lies is another alarm")
	require.ErrorIs(b, b.ring(other), gateway.ErrSeen)
	b.set(n, []gateway.Alarm{alarm(n, "vents", b.now.Add(2*time.Hour))}, []gateway.Alarm{a})
	require.Empty(b, b.due(b.now.Add(time.Hour)), "clearing finds a deferred alarm")
	require.ErrorIs(b, b.store.Defer(b.ctx, a, b.now), gateway.ErrNotFound)
	require.Len(b, b.due(b.now.Add(2*time.Hour)), 1)
}

func testErrand(b *bench) {
	person, duty := number(1), number(2)
	a := alarm(duty, "alert:1", b.now)
	a.Errand = &gateway.Errand{Alert: &dialog.Alert{ID: "1", Kind: "gas", Place: "hill", At: b.now, Number: "+999", Attempt: 1}}
	b.set(person, []gateway.Alarm{a}, nil)
	b.reopen()
	due := b.due(b.now)
	a.Due = b.now
	require.Equal(b, []gateway.Alarm{a}, due)
	require.NoError(b, b.ring(due[0]), "of a number never met")
	require.Empty(b, b.due(b.now))
	require.Equal(b, uint64(1), b.load(duty).Rev)
}
