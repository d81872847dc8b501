package gateway_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

// runs runs the alarm loop of a line in a bubble of time for a while.
func runs(t *testing.T, d time.Duration, prepare func(l *line), more ...func(*gateway.Options)) *line {
	var l *line
	synctest.Test(t, func(t *testing.T) {
		l = newLine(t, append(more, func(o *gateway.Options) { o.Log = slog.New(slog.NewTextHandler(io.Discard, nil)) })...)
		l.now = time.Now()
		prepare(l)
		ctx, cancel := context.WithTimeout(l.ctx, d)
		defer cancel()
		require.NoError(t, gateway.RunAlarms(ctx, l.store, l.service), "the end of its context is no error")
	})
	return l
}

// rung notes when timers rang, from the start of the bubble.
type rung struct {
	start time.Time
	at    []time.Duration
	kinds []string
}

func (r *rung) dialogue(timers ...dialog.Timer) stepper {
	return func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
		turn := count(s, ev, w)
		switch ev := ev.(type) {
		case dialog.Said:
			turn.State.Timers = timers
		case dialog.Due:
			r.at, r.kinds = append(r.at, time.Since(r.start)), append(r.kinds, ev.Timer.Kind)
		}
		return turn
	}
}

func TestAlarmsRingInOrder(t *testing.T) {
	var r rung
	runs(t, 3*time.Hour, func(l *line) {
		r.start = l.now
		l.step = r.dialogue(
			dialog.Timer{ID: "c", At: l.now.Add(2 * time.Hour), Kind: "last"},
			dialog.Timer{ID: "a", At: l.now.Add(time.Hour + 1500*time.Millisecond), Kind: "second"},
			dialog.Timer{ID: "b", At: l.now.Add(time.Hour), Kind: "first"},
		)
		l.receive(l.inbound("all", "a"))
	})
	require.Equal(t, []string{"first", "second", "last"}, r.kinds)
	require.Equal(t, []time.Duration{time.Hour, time.Hour + time.Second, 2 * time.Hour}, r.at)
}

func TestRingThatFailsIsDeferred(t *testing.T) {
	var tries []time.Duration
	runs(t, 20*time.Hour, func(l *line) {
		begin := l.now
		l.step = timer("a", 0)
		l.receive(l.inbound("all", "a"))
		l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
			tries = append(tries, time.Since(begin))
			panic("a fault in the dialogue")
		}
	})
	require.Equal(t, []time.Duration{
		0, time.Minute, 6 * time.Minute, 36 * time.Minute,
		6*time.Hour + 36*time.Minute, 12*time.Hour + 36*time.Minute, 18*time.Hour + 36*time.Minute,
	}, tries)
}

// A clock that was years ahead has left its mark in the store. Hours must still
// be hours.
func TestAlarmsAfterAClockThatWasAhead(t *testing.T) {
	var r rung
	runs(t, 3*time.Hour, func(l *line) {
		r.start = l.now
		l.step = func(s dialog.State, ev dialog.Event, w dialog.World) dialog.Turn {
			return r.dialogue(dialog.Timer{ID: "a", At: w.Now.Add(2 * time.Hour), Kind: "vents"})(s, ev, w)
		}
		l.receive(l.inbound("all", "covered"))
	}, func(o *gateway.Options) { o.Watch = gateway.NewWatch(time.Now().AddDate(3, 0, 0)) })
	require.Equal(t, []time.Duration{2 * time.Hour}, r.at)
}

func TestAlarmLoopEndsWithItsStore(t *testing.T) {
	l := newLine(t, func(o *gateway.Options) { o.Log = slog.New(slog.NewTextHandler(io.Discard, nil)) })
	broken := errors.New("disk full")
	l.step = timer("a", 0)
	l.now = time.Now()
	l.receive(l.inbound("all", "a"))
	l.step = func(dialog.State, dialog.Event, dialog.World) dialog.Turn { panic("a fault in the dialogue") }
	require.ErrorIs(t, gateway.RunAlarms(l.ctx, deferless{l.store, broken}, l.service), broken)
}

// deferless is a store that cannot be written.
type deferless struct {
	gateway.Alarms
	err error
}

func (d deferless) Defer(context.Context, gateway.Alarm, time.Time) error { return d.err }
