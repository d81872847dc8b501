package gateway_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

func TestCases(t *testing.T) {
	l := newLine(t)
	key := gateway.NewKey(start, 7)
	c, rev, err := gateway.GetCase(l.ctx, l.store, key)
	require.NoError(t, err)
	require.Equal(t, gateway.Case{Entry: key}, c, "nobody has touched it")
	require.True(t, c.State.Open())
	c.State, c.By, c.At, c.Note = gateway.CaseCalled, "amina", start, "  told to wait "
	require.NoError(t, gateway.PutCase(l.ctx, l.store, c, rev))
	require.ErrorIs(t, gateway.PutCase(l.ctx, l.store, c, rev), gateway.ErrConflict, "another was quicker")
	c, rev, err = gateway.GetCase(l.ctx, l.store, key)
	require.NoError(t, err)
	require.Equal(t, uint64(1), rev)
	require.Equal(t, gateway.Case{Entry: key, State: gateway.CaseCalled, By: "amina", At: start, Note: "told to wait"}, c)
	require.False(t, c.State.Open())
	var all []gateway.Case
	require.NoError(t, gateway.EachCase(l.ctx, l.store, func(c gateway.Case, _ uint64) error {
		all = append(all, c)
		return nil
	}))
	require.Equal(t, []gateway.Case{c}, all)
	require.NoError(t, l.store.Put(l.ctx, gateway.CaseKind, "no key", c, 0))
	require.ErrorIs(t, gateway.EachCase(l.ctx, l.store, func(gateway.Case, uint64) error { return nil }), gateway.ErrNotRef)
	require.Equal(t, "open", gateway.CaseState(0).String())
	require.Equal(t, "acknowledged", gateway.CaseAcknowledged.String())
}

// The journal keeps what a turn adds to the record, and what it corrects there.
func TestBatchesAreJournalled(t *testing.T) {
	l := newLine(t)
	first := dialog.Batch{At: start, Waste: "maize-cob", CharKg: 7, Name: "A"}
	second := dialog.Batch{At: start.Add(time.Hour), Waste: "maize-cob", CharKg: 9, Name: "B"}
	corrected := second
	corrected.CharKg = 6
	for _, change := range []func(record []dialog.Batch) []dialog.Batch{
		func(record []dialog.Batch) []dialog.Batch { return append(record, first) },
		func(record []dialog.Batch) []dialog.Batch { return append(record, second) },
		func(record []dialog.Batch) []dialog.Batch { return append(record[:1], corrected) },
		func(record []dialog.Batch) []dialog.Batch { return record },
	} {
		l.step = func(s dialog.State, _ dialog.Event, _ dialog.World) dialog.Turn {
			s.Batches = change(slices.Clone(s.Batches))
			return dialog.Turn{State: s, Replies: []dialog.Reply{answer("kept")}}
		}
		l.receive(l.inbound("none", "7kg"))
		l.restart()
	}
	var got [][]dialog.Batch
	for _, e := range l.entries() {
		got = append(got, e.Batches)
	}
	require.Equal(t, []dialog.Batch{first}, got[0])
	require.Equal(t, []dialog.Batch{second}, got[1])
	require.Equal(t, []dialog.Batch{corrected}, got[2])
	require.Empty(t, got[3])
}
